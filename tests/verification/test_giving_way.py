"""Bone that yields, loaded to its limit, repeatedly, and unloaded: scaling, limits, permanent set."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from stillroot.answers.answer import check
from stillroot.answers.chain import Chain, loads_of
from stillroot.errors import GivesWay
from stillroot.inputs.case import Case
from stillroot.mechanics.loading import Loading, load, loaded
from stillroot.mechanics.motion import head_movement, micromotion
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.stress import seated_displacement, stress_in_plane, taken_in_plane
from stillroot.mechanics.yield_surface import YieldSurface

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult

PRESS_N = 15.0
BASE: dict[str, Any] = {
    "title": "a smooth implant in soft bone, invented",
    "implant": {"diameter_mm": 4.0, "length_mm": 6.0, "thread": {"form": "none"}},
    "bone": {"cortical_thickness_mm": 0.0, "trabecular_modulus_mpa": 100.0},
    "interface": {"interference_um": 0.0},
    "numerics": {"element_mm": 0.8, "harmonics": 3, "far_mm": 20.0},
}


def case_of(
    factor: float = 1.0, load_factor: float = 1.0, hardening: float = 0.03, cycles: int = 1
) -> Case:
    pressed = {"name": "press", "axial_n": PRESS_N, "lateral_n": 0.2 * PRESS_N, "cycles": cycles}
    for key in ("axial_n", "lateral_n"):
        pressed[key] *= load_factor
    bone = {**BASE["bone"], "strength": {"factor": factor, "hardening": hardening}}
    return Case.from_dict({**BASE, "bone": bone, "loads": [pressed]})


@cache
def path_of(case: Case, off: bool = False) -> Loading:
    placed = Chain().placed(case)
    ((name, resultant),) = loads_of(case)
    path = [resultant, resultant.scaled(0.0)] if off else [resultant]
    return loaded(placed.seated, path, name=name)


def peak_um(case: Case) -> float:
    return micromotion(Chain().placed(case).seated, path_of(case).last).peak.total_um


def test_strength_and_load_scaled_alike_scale_the_motion() -> None:
    # Without interference (4) to (23) are homogeneous in strength, load and displacement.
    assert peak_um(case_of(2.0, 2.0)) == pytest.approx(2 * peak_um(case_of()), rel=1e-4)


def test_the_load_at_which_the_implant_gives_way_is_the_same_however_large_a_load_is_stated() -> None:
    large, larger = (path_of(case_of(load_factor=f, hardening=0.0)) for f in (6.0, 9.0))
    assert large.gives_way_at is not None
    assert larger.gives_way_at is not None
    assert 6 * large.gives_way_at == pytest.approx(9 * larger.gives_way_at, rel=0.05)


def test_a_load_below_that_is_borne_and_one_above_it_is_an_error() -> None:
    limit = path_of(case_of(load_factor=6.0, hardening=0.0)).gives_way_at
    assert limit is not None
    below = path_of(case_of(load_factor=0.9 * 6 * limit, hardening=0.0))
    assert below.gives_way_at is None
    above = case_of(load_factor=1.2 * 6 * limit, hardening=0.0)
    ((name, resultant),) = loads_of(above)
    with pytest.raises(GivesWay, match="the implant gives way at") as raised:
        load(Chain().placed(above).seated, [resultant], name=name)
    assert raised.value.share == pytest.approx(1 / 1.2, rel=0.05)


def test_the_weaker_the_bone_the_farther_it_moves_and_the_more_remains() -> None:
    moved, left = [], []
    for factor in (4.0, 1.0, 0.7):
        case = case_of(factor)
        seated = Chain().placed(case).seated
        loading = path_of(case, off=True)
        moved.append(micromotion(seated, loading.end_of(0)).peak.total_um)
        left.append(head_movement(seated, loading.last, Resultant(height_mm=6.0)).total_um)
    assert moved == sorted(moved)
    assert left == sorted(left)
    assert left[-1] > 2 * left[0]


@cache
def repeated() -> CheckResult:
    return check(case_of(cycles=4))


def test_each_cycle_adds_less_to_the_set_than_the_one_before() -> None:
    (answer,) = repeated().loads
    left = [cycle.remaining_head_um for cycle in answer.cycles]
    added = [b - a for a, b in pairwise(left)]
    assert len(answer.cycles) == 4
    assert added == sorted(added, reverse=True)
    assert answer.growth_dies_out


def test_the_first_cycle_is_the_answer_and_the_curve_ends_at_it() -> None:
    (answer,) = repeated().loads
    assert answer.cycles[0].peak_um == answer.peak.total_um
    yields, linear = answer.curves
    within = answer.error.total_um / answer.peak.total_um
    assert yields.peak_um[-1] == pytest.approx(answer.peak.total_um, rel=max(0.02, within))
    assert yields.shares[0] == 0
    assert yields.shares[-1] == 1
    assert (yields.head_um[1:] > 0.999 * linear.head_um[1:]).all()


def test_no_stress_of_bone_that_yields_lies_beyond_its_strength() -> None:
    # The mean of stresses inside a convex surface lies inside it.
    case = case_of(hardening=0.0)
    turned_in = {**case.to_dict(), "interface": {"interference_um": 60.0}}
    seated = Chain().placed(Case.from_dict(turned_in)).seated
    bone, body = seated.site.bone, seated.site.pair.bone
    assert bone is not None
    modulus = np.full(body.basis.nelems, 100.0)
    u, taken = seated_displacement(seated).bone, taken_in_plane(seated, seated.state)
    relative = [
        stress_in_plane(body.basis, u, modulus, case.bone.poisson, less).transpose(2, 1, 0)
        / modulus[:, None]
        for less in (taken, 0.0)
    ]
    uniform = YieldSurface(
        compression=bone.surface.compression[:1],
        tension=bone.surface.tension[:1],
        interaction=bone.surface.interaction,
        hardening=0.0,
        poisson=case.bone.poisson,
    )
    told, elastic = (float(uniform.excess(stress).max()) for stress in relative)
    assert told < 0.02
    assert elastic > 1.0

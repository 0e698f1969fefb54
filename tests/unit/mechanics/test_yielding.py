"""Contact and yield together: the fixed point is found, and it is one."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.mechanics.yielding import _accelerated
from validation.randolph_houlsby_1984.compute import K, pile
from validation.yielding_ground import Soil, ground, plane, section_round

if TYPE_CHECKING:
    from stillroot.mechanics.contact import ContactState, Problem
    from stillroot.mechanics.yielding_bone import YieldingBone
    from validation.yielding_ground import Ground

RNG = np.random.default_rng(22)


@cache
def pushed(*motions: float) -> tuple[Ground, tuple[float, ...], ContactState]:
    """Push a rough pile through ground of strength `K` to motions relative to its radius and that."""
    bed = pile(3, 0.1, 1.6, smooth=False)
    forces, state = bed.pushed("lateral", [K * motion for motion in motions])
    return bed, forces, state


def parts(bed: Ground, state: ContactState) -> tuple[Problem, YieldingBone]:
    assert state.bone is not None
    return bed.problem, bed.bone


def test_the_state_is_in_equilibrium_at_the_wall_and_obeys_the_law_in_the_bone() -> None:
    bed, _, state = pushed(2.0, 4.0, 8.0)
    before = pushed(2.0, 4.0)[2]
    problem, bone = parts(bed, state)
    assert state.bone is not None
    assert before.bone is not None
    load = problem.series.forces(bed.rigid("lateral")) * 8 * K
    left = load - problem.series.forces(state.elastic_w) - bed.forces(state)  # (21)
    left[:, :, :, 2] = 0.0  # plane strain: held along the axis
    assert np.abs(left).max() < 1e-4 * np.abs(load).max()
    trial = bone.surface.stress(bone.strain(bed.fourier, state.bone.u))
    assert np.any(bone.surface.excess(trial - before.bone.taken) > 0)
    assert bone.surface.excess(trial - state.bone.taken).max() < 1e-2  # no stress beyond (17)
    again = bone.surface.returned(trial, before.bone.taken)
    assert np.abs(again - state.bone.taken).max() < 1e-3 * np.abs(state.bone.taken).max()


def test_the_ground_moves_with_what_its_plastic_strain_and_its_wall_do_to_it() -> None:
    bed, _, state = pushed(2.0, 4.0)
    assert state.bone is not None
    of_plastic = bed.bone.moved(bed.bone.force(bed.fourier, state.bone.taken))
    u = of_plastic + bed.bone.under(bed.forces(state))
    assert state.bone.u == pytest.approx(u, abs=1e-9 * np.abs(u).max())
    assert state.bone.u_0 == pytest.approx(of_plastic[:, :, bed.bone.wall], abs=1e-15)


def test_small_steps_of_a_long_path_are_found_on_a_layer_as_hard_as_any() -> None:
    """A tube swollen to 0.8 of first yield, Lamé's pressure, and on to 20: 2k ln(b/a).

    A layer a thousand times as stiff as the ground makes much of a small error of w.
    """
    soil, r = Soil(k=K, poisson=0.49), np.append(0.5, np.linspace(1, 2, 17))
    tube = ground(section_round(r, np.array([0, 0.1]), lambda x, _: x < 1), soil, plane, 0)
    at_yield = K / (2 * soil.shear_modulus)
    first, *_, last = tube.swollen([at_yield * part for part in (0.8, 1.5, 2.5, 4, 6, 10, 20)])
    lame = 2 * soil.shear_modulus * tube.grown(first) * 3 / (4 + (1 - 2 * soil.poisson))
    assert tube.pressure(first) == pytest.approx(lame, rel=1e-3)
    assert tube.pressure(last) == pytest.approx(2 * K * np.log(2), rel=1e-3)


def test_a_linear_map_is_solved_in_as_many_steps_as_it_has_dimensions() -> None:
    """(22) is then GMRES: with the differences of k iterations, k unknowns are exact."""
    a = 0.3 * RNG.normal(size=(4, 4))
    b = RNG.normal(size=4)
    exact = np.linalg.solve(np.eye(4) - a, b)
    u, last, changes = np.zeros(4), None, []
    for _ in range(6):
        r = a @ u + b - u
        if last is not None:
            changes.append((u - last[0], r - last[1]))
        last = u, r
        u = u + r - _accelerated(r, changes)
    assert u == pytest.approx(exact, rel=1e-6)
    assert np.linalg.norm(np.linalg.matrix_power(a, 6) @ exact) > 1e-3 * np.linalg.norm(exact)

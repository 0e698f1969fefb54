"""Plastic strain as a load on the bone: conjugate to the strains, the same in every frame."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.answers.chain import site_of
from stillroot.inputs.case import Case
from stillroot.mechanics.fourier import Fourier

if TYPE_CHECKING:
    from stillroot.mechanics.yielding_bone import YieldingBone

HIGHEST = 3
RNG = np.random.default_rng(20)


@cache
def bone() -> YieldingBone:
    """Two layers of bone round a small smooth implant, coarse."""
    case = Case.from_dict(
        {
            "title": "bone round an implant, invented",
            "implant": {"diameter_mm": 4.0, "length_mm": 6.0, "thread": {"form": "none"}},
            "bone": {
                "law": "yields",
                "cortical_thickness_mm": 2.0,
                "trabecular_modulus_mpa": 500.0,
                "radius_mm": 6.0,
                "depth_mm": 9.0,
            },
            "interface": {"friction": 0.4, "interference_um": 5.0},
            "loads": [{"name": "lateral", "lateral_n": 20.0}],
            "numerics": {"element_mm": 1.0, "harmonics": HIGHEST},
        }
    )
    found = site_of(case).bone
    assert found is not None
    return found


def turned(u: np.ndarray) -> np.ndarray:
    """Turn a field (1, h, n, 3) of the first family by 90°, which takes both families."""
    n = np.arange(u.shape[1])[:, None, None] * np.pi / 2
    return np.concatenate([u * np.cos(n), u * np.sin(n)])


@pytest.mark.parametrize("twin", [False, True], ids=["symmetric", "twin"])
def test_forces_do_the_work_that_stresses_do_on_strains(twin: bool) -> None:
    """Virtual work: f_p · u = ∫ s_p : ε(u) of any u and any s_p, to rounding."""
    fourier = Fourier(HIGHEST, twin=twin)
    u = RNG.normal(size=(*fourier.shape, bone().count, 3))
    taken = RNG.normal(size=(6, len(bone().volume), len(fourier.angles)))
    inside = np.sum(taken * bone().strain(fourier, u), axis=(0, 2)) @ bone().weight
    assert np.sum(bone().force(fourier, taken) * u) == pytest.approx(
        inside * fourier.angle_weight, rel=1e-11
    )


def test_a_field_turned_by_a_right_angle_has_its_strains_turned() -> None:
    fourier = Fourier(HIGHEST, twin=True)
    u = RNG.normal(size=(1, HIGHEST + 1, bone().count, 3))
    first = np.concatenate([u, np.zeros_like(u)])
    quarter = len(fourier.angles) // 4
    there = bone().strain(fourier, turned(u))
    assert there == pytest.approx(np.roll(bone().strain(fourier, first), quarter, axis=-1), abs=1e-9)


def test_plastic_strain_turned_by_a_right_angle_moves_the_bone_as_before_but_turned() -> None:
    fourier = Fourier(HIGHEST, twin=True)
    u = RNG.normal(size=(1, HIGHEST + 1, bone().count, 3))
    taken = bone().strain(fourier, np.concatenate([u, np.zeros_like(u)]))  # any of the first family
    moved = bone().moved(bone().force(fourier, taken))
    again = bone().moved(bone().force(fourier, np.roll(taken, len(fourier.angles) // 4, axis=-1)))
    size = np.abs(moved).max()
    assert moved[1] / size == pytest.approx(0.0, abs=1e-12)
    assert again / size == pytest.approx(turned(moved[:1]) / size, abs=1e-12)


def test_half_the_circle_is_enough_of_what_is_symmetric() -> None:
    u = RNG.normal(size=(1, HIGHEST + 1, bone().count, 3))
    half, whole = Fourier(HIGHEST, twin=False), Fourier(HIGHEST, twin=True)
    force = bone().force(half, bone().strain(half, u))
    both = bone().force(whole, bone().strain(whole, np.concatenate([u, np.zeros_like(u)])))
    assert force[0] == pytest.approx(both[0], rel=1e-10, abs=1e-10 * np.abs(force).max())


def test_plastic_strain_that_fits_together_gives_the_bone_its_shape_and_no_stress() -> None:
    """u → ε_p = ε(u) → f_p → u again, of u that the far support allows, in both layers of the bone.

    Not to rounding: stiffness and f_p are integrated by rules of a different order (1/r terms).
    """
    fourier = Fourier(HIGHEST, twin=False)
    force = RNG.normal(size=(*fourier.shape, bone().count, 3))
    force[0, 0, :, 1] = 0.0  # sin 0: no torsion in the first family
    u = bone().moved(force)
    taken = bone().surface.stress(bone().strain(fourier, u))
    again = bone().moved(bone().force(fourier, taken))
    assert np.linalg.norm(again - u) < 1e-3 * np.linalg.norm(u)

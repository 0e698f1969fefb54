"""A rigid disc on, and a rigid cylinder in, an elastic half-space: properties besides published figures.

Those, in all six directions, are in validation/half_space_discs, doherty_2005 and randolph_1981.
"""

from __future__ import annotations

import numpy as np
import pytest

from validation.half_space import FAR, FINE, buried_stiffness, disc_stiffness, footing


def test_disc_cannot_be_checked_without_the_extrapolation() -> None:
    """A support at forty radii still stiffens the disc by more than 1.5 %."""
    held = footing("disc", 0.0, FAR, 0.3, **FINE).rigid("axial", given="w")[0, 0]
    assert held > 1.015 * disc_stiffness("axial", "w", 0.3)


@pytest.mark.parametrize(("mode", "smooth"), [("lateral", "uv"), ("tilt", "w")])
def test_gluing_the_disc_stiffens_it(mode: str, smooth: str) -> None:
    """It is constrained in more directions; by less than 10 %, a bound of ours."""
    glued, free = disc_stiffness(mode, "uvw", 0.3), disc_stiffness(mode, smooth, 0.3)
    assert 1.0025 * free < glued < 1.1 * free


def test_solid_cylinder_is_stiffer_than_a_skirt_with_ground_inside() -> None:
    """By up to 9 %, and ever less with length: the ground inside then lies further from the load."""
    excess = np.array(
        [
            np.diag(buried_stiffness("cylinder", depth)) / np.diag(buried_stiffness("caisson", depth))
            for depth in (1.0, 2.0, 4.0)
        ]
    )
    assert np.all(excess > 1.0)
    assert np.all(excess < 1.09)
    assert np.all(np.diff(excess, axis=0) < 0)

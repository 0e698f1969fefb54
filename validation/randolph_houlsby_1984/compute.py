"""Most force that the ground bears on a rigid pile pushed sideways: Randolph & Houlsby 1984.

Plane strain, all harmonics: on the way the ground yields on one side and then flows round the pile. The
motion is prescribed, in steps that grow, and the force is read at the last.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from validation.benches import Floats, graded
from validation.suite import Curve
from validation.yielding_ground import Ground, Soil, ground, plane, section_round

K, RIM, THICK = 1e-3, 10.0, 0.2
"""Strength in shear over the modulus; outer radius and thickness of the slice over the pile's radius."""
SOIL = Soil(k=K, poisson=0.49, hardening=1e-5)
"""A trace of hardening, one hundredth of `K`, which lets the iteration end: it adds about 0.1 %."""
MOTIONS = K * np.geomspace(2, 40, 40)
"""Over the pile's radius: the last step, of 8 %, raises the force by less than 0.1 %."""
FINE = (14, 0.015, 1.12)
COARSE = (6, 0.03, 1.25)
"""Highest harmonic, first element at the wall over the radius, growth of the elements."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return the force per length over the strength in shear and the diameter."""
    return {key: float(pushed(key.startswith("smooth"), key.endswith("coarse"))[-1]) for key in keys}


@cache
def pushed(smooth: bool, coarse: bool) -> Floats:
    """Return the force over k D per length at each of the motions."""
    forces, _ = pile(*(COARSE if coarse else FINE), smooth=smooth).pushed("lateral", MOTIONS.tolist())
    return np.array(forces) / (K * 2 * THICK)


def pile(highest: int, first: float, growth: float, *, smooth: bool) -> Ground:
    """Return a slice of a pile in ground that is held at its rim."""
    r = np.append(0.5, graded(1, RIM, first, growth))
    section = section_round(r, np.array([0, THICK]), lambda x, _: x < 1)

    def held(x: Floats, z: Floats) -> tuple[np.ndarray, ...]:
        rim = x > RIM - 1e-9
        return rim, rim, plane(x, z)[2]

    return ground(section, SOIL, held, highest, smooth=smooth)


def curve() -> Curve:
    """Return the force against the motion, rough and coarse, beside the limit."""
    return Curve(
        title="Rough pile pushed sideways, harmonics 0 to 6",
        x_label="motion over radius, over strength over modulus",
        y_label="force over s_u D",
        published=[(0.0, 11.94), (30.0, 11.94)],
        computed=list(
            zip((MOTIONS / K).tolist(), pushed(smooth=False, coarse=True).tolist(), strict=True)
        ),
    )

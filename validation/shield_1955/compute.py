"""Most force on a rigid disc pressed into ground: Shield 1955, Eason & Shield 1960.

Harmonic 0. The motion is prescribed, in steps that grow, and the force is read at the last.
"""

from __future__ import annotations

import numpy as np

from validation.benches import Floats, graded, joined
from validation.yielding_ground import Ground, Soil, ground, section_round

K, REACH = 1e-3, 4.0
"""Strength in shear over the modulus; the ground's outer radius and its depth over the disc's radius."""
MOTIONS = -K * np.geomspace(2, 60, 24)
"""Over the radius: from the last but one to the last the force grows by less than 0.1 %."""
COARSE, FINE = (0.05, 1.3), (0.025, 1.2)
"""First element at the edge over the radius, and growth of the elements."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return the mean pressure over the strength in shear."""
    return {key: pressure(*(COARSE if key.endswith("coarse") else FINE), key) for key in keys}


def pressure(first: float, growth: float, wall: str) -> float:
    forces, _ = disc(first, growth, smooth=wall.startswith("smooth")).pushed("axial", MOTIONS.tolist())
    return -forces[-1] / (np.pi * K)


def disc(first: float, growth: float, *, smooth: bool) -> Ground:
    """Return a disc on ground that is held at its side and its base."""
    r = joined(graded(1, 0, first, growth), graded(1, REACH, first, growth))
    z = np.sort(np.append(graded(0, -REACH, first, growth), 0.2))
    section = section_round(r, z, lambda _, y: y > 0, lambda x, y: (x < 1) | (y < 0))

    def held(x: Floats, y: Floats) -> tuple[np.ndarray, ...]:
        far = (x > REACH - 1e-9) | (y < -REACH + 1e-9)
        return far, far, far

    return ground(section, Soil(k=K, poisson=0.49), held, 0, smooth=smooth)

"""A round hole in a wide plate that is pulled: Kirsch 1898.

Far away σ_xx = 1, so σ_r = (1 + cos 2θ)/2 and τ_rθ = -(sin 2θ)/2: harmonics 0 and 2, each solved alone
in plane strain and added up. The edge of the hole is free, so the stress along it follows from ε_θθ of
equation (1) in docs/theory.md: σ_θθ = E ε_θθ/(1-ν²).
"""

from __future__ import annotations

import numpy as np

from validation.benches import graded
from validation.solids import at_radius, in_plane, slab
from validation.suite import Curve

POISSON = 0.3
WIDE, FIRST, GROWTH = 100.0, 0.05, 1.2
"""Outer radius, first step of the grid, in radii of the hole; growth of the steps."""


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return the stress along the hole's edge at the angles (degrees) of the keys."""
    return {key: float(edge_stress(float(key.removeprefix("edge_")))) for key in keys}


def edge_stress(angle_deg: float) -> float:
    """Return σ_θθ on the edge over the stress far away."""
    basis = slab(graded(1.0, WIDE, FIRST, GROWTH))
    total = 0.0
    for n, far in {0: (0.5, 0.0), 2: (0.5, -0.5)}.items():
        u, v = at_radius(basis, in_plane(basis, n, POISSON, {WIDE: far}), 1.0)
        total += (u + n * v) * np.cos(n * np.radians(angle_deg))
    return float(total / (1 - POISSON**2))


def curve() -> Curve:
    """Return the stress along the edge against the angle from the pull."""
    dense, few = np.linspace(0, 180, 91), np.linspace(0, 180, 13)
    return Curve(
        title="Round hole in a wide plate that is pulled",
        x_label="angle from the pull (degrees)",
        y_label="stress along the edge / stress far away",
        published=[(float(a), float(1 - 2 * np.cos(2 * np.radians(a)))) for a in dense],
        computed=[(float(a), edge_stress(float(a))) for a in few],
    )

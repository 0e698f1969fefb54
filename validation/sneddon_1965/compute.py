"""A rigid flat cylindrical punch, without friction, on an elastic half-space.

p(r) = P/(2πa √(a² - r²)) under it (Sneddon 1965; Johnson, Contact Mechanics, 1985, eq. 3.34), and the
surface beside it goes down by (2/π) asin(a/r) of the punch. Shear modulus and radius a are 1. Pressures
come from the forces at the nodes under the punch.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.condense import body_harmonic, elimination_order, free_rows
from stillroot.mechanics.harmonics import angular_weight
from validation.benches import (
    Floats,
    basis_of,
    far_boundary_removed,
    graded,
    joined,
    mesh_of,
    stiffness_of,
)
from validation.suite import Curve

if TYPE_CHECKING:
    from collections.abc import Iterator

POISSON = 0.3
NEAR, FAR = 20.0, 40.0
BESIDE = 2.0
"""Radius at which the surface beside the punch is looked at."""
FIRST, GROWTH = 1e-3, 1.4
"""Smallest step, at the edge of the punch, and how fast steps grow."""


@dataclass(frozen=True, kw_only=True)
class Pressed:
    """The punch pressed down by 1: radii of the nodes under it (m,), forces at them (m,), and how far
    the surface at `BESIDE` has gone down."""

    radius: Floats
    forces: Floats
    beside: float

    @property
    def force(self) -> float:
        return float(self.forces.sum())

    def edges(self) -> Iterator[tuple[slice, Floats, Floats]]:
        """Yield the nodes of each edge, its shape functions (3, q), and area (q,) at its points."""
        points, weights = np.polynomial.legendre.leggauss(4)
        x = (points + 1) / 2
        shape = np.stack([(1 - x) * (1 - 2 * x), 4 * x * (1 - x), x * (2 * x - 1)])
        for first in range(0, len(self.radius) - 1, 2):
            r = self.radius[first : first + 3]
            yield slice(first, first + 3), shape, np.pi * (r[2] - r[0]) * weights * (r @ shape)

    def pressure(self) -> Floats:
        """Return the pressure at the nodes: quadratic on each edge, with the same nodal forces."""
        mass = np.zeros((len(self.radius), len(self.radius)))
        for at, shape, area in self.edges():
            mass[at, at] += (shape * area) @ shape.T
        return np.linalg.solve(mass, self.forces)

    def share_within(self, radius: float) -> float:
        """Return the share of the force inside a radius that is a corner of the grid."""
        p = self.pressure()
        inside = sum(
            area @ (p[at] @ shape)
            for at, shape, area in self.edges()
            if self.radius[at].max() < radius + 1e-9
        )
        return float(inside) / self.force


@cache
def pressed(radius: float, fineness: int = 1) -> Pressed:
    """Return the punch on a block that is held at `radius`."""
    first, growth = FIRST / fineness, GROWTH ** (1 / fineness)
    under = joined(np.linspace(0, 0.5, 5 * fineness + 1), graded(1, 0.5, first, growth))
    r = joined(under, graded(1, radius, first, growth), np.array([BESIDE]))
    body = basis_of(mesh_of(r, np.sort(graded(0, -radius, first, growth))))
    x, y = body.doflocs
    wall = np.flatnonzero((x < 1 + 1e-12) & (y > -1e-12))
    wall = wall[np.argsort(x[wall])]
    stiffness = stiffness_of(body, POISSON, 2 * (1 + POISSON))
    held = (x > radius - 1e-9) | (y < -radius + 1e-9)
    order = elimination_order(stiffness, wall)
    harmonic = body_harmonic(stiffness, 0, body.doflocs, order, len(wall), held, angular_weight(0))
    component = free_rows(harmonic.to_dofs[:, harmonic.interior :].tocsc()) % 3
    schur, down = harmonic.schur(), component == 2
    motion = -down.astype(float)  # and along the surface whatever leaves no force there
    motion[~down] = np.linalg.solve(schur[np.ix_(~down, ~down)], schur[np.ix_(~down, down)].sum(axis=1))
    field = harmonic.recovered(motion, np.zeros(3 * body.N), harmonic.interior_solver())
    at = int(np.argmin(np.hypot(x - BESIDE, y)))
    return Pressed(radius=x[wall], forces=-(schur @ motion)[down], beside=-float(field[3 * at + 2]))


def settlement_beside() -> float:
    """Return the surface at `BESIDE` over the punch, in an unbounded half-space."""
    near, far = pressed(NEAR), pressed(FAR)
    beside, under = (
        far_boundary_removed(a / near.force, b / far.force, FAR / NEAR, 1)
        for a, b in ((near.beside, far.beside), (1.0, 1.0))
    )
    return float(beside / under)


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Pressures are over the mean one, P/(πa²)."""
    punch = pressed(FAR)
    mean = punch.force / np.pi
    half = int(np.argmin(np.abs(punch.radius - 0.5)))
    values = {
        "pressure_centre": punch.pressure()[0] / mean,
        "pressure_half": punch.pressure()[half] / mean,
        "share_within_half": punch.share_within(0.5),
    }
    if "settlement_beside" in keys:
        values["settlement_beside"] = settlement_beside()
    return {key: float(values[key]) for key in keys}


def curve() -> Curve:
    """Pressure under the punch, up to 0.98 of its radius."""
    punch = pressed(FAR)
    at = np.flatnonzero(punch.radius < 0.98)[::2]
    r, p = punch.radius[at], punch.pressure()[at] * np.pi / punch.force
    shown = np.linspace(0, 0.98, 99)
    return Curve(
        title="Rigid flat punch without friction",
        x_label="radius over that of the punch",
        y_label="pressure over the mean pressure",
        published=[(float(x), float(0.5 / np.sqrt(1 - x**2))) for x in shown],
        computed=[(float(x), float(y)) for x, y in zip(r, p, strict=True)],
    )

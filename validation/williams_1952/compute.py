"""Stress at corners, σ ∝ ρ^(λ-1): Williams 1952 for plane corners, and what the elements find.

A corner of a body of revolution is a plane one when seen from near enough. Three corners are solved:
that of a stepped shaft, stress-free on both sides, and two of a rigid implant glued into bone: at its
tip bone fills 270°, at the crest 90°, with one side free. Grids are graded into the corners, so that
elements shrink as the distance does. λ is taken from the slope of a stress near the bisector of the
corner; where fields are symmetric and antisymmetric about it, one component of stress there belongs to
the one and another to the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.condense import body_harmonic, elimination_order
from stillroot.mechanics.harmonics import HarmonicStiffness, face_loads
from validation.benches import (
    RIGID,
    Floats,
    basis_of,
    field_of,
    graded,
    joined,
    mesh_of,
    stiffness_of,
)
from validation.solids import solved, stress_at
from validation.suite import Curve
from validation.williams_1952.roots import fixed, smallest

if TYPE_CHECKING:
    from skfem import Basis

POISSON = 0.3
RADIUS, DEPTH, BLOCK = 2.0, 10.0, 20.0
"""Implant (and the thinner half of the shaft) [mm]; the block of bone is held where it ends."""
FIRST, GROWTH = 1e-7, 1.6
"""Smallest step of the grids, at a corner, and how fast steps grow."""
REACH = 1e-5, 1e-3
"""Distances from the corner [mm] between which λ is read."""
FARTHER = 1e-4, 1e-2
"""The same for a weaker field, which the stronger one's error drowns nearer to the corner."""
SECTOR_DEG = 15.0
"""Points so far to either side of the bisector are used."""


@dataclass(frozen=True, kw_only=True)
class Corner:
    """A corner at (r, z) and the direction (r, z) of its bisector into the body."""

    r: float
    z: float
    bisector: tuple[float, float]


NOTCH = Corner(r=RADIUS, z=0.0, bisector=(-1, -1))
TIP = Corner(r=RADIUS, z=-DEPTH, bisector=(1, -1))
CREST = Corner(r=RADIUS, z=0.0, bisector=(1, -1))


@dataclass(frozen=True, kw_only=True)
class Solved:
    """A field (3n,) of harmonic n in a body with E = 1."""

    basis: Basis
    n: int
    poisson: float
    field: Floats

    def exponent(self, at: Corner, component: str, reach: tuple[float, float] = REACH) -> float:
        """Return λ: one more than the slope of log |σ| against log ρ.

        `component`: "along" the bisector, "shear" to it, or "round": shear of along and the axis.
        """
        x, y = np.asarray(self.basis.global_coordinates())
        x, y = x - at.r, y - at.z
        e = np.array(at.bisector) / np.hypot(*at.bisector)
        ahead, aside, distance = x * e[0] + y * e[1], y * e[0] - x * e[1], np.hypot(x, y)
        near = (distance > reach[0]) & (distance < reach[1])
        near &= np.abs(np.arctan2(aside, ahead)) < np.deg2rad(SECTOR_DEG)
        elements = np.flatnonzero(near.any(axis=1))
        read = stress_at(self.basis, elements, self.field, self.n, self.poisson)[near[elements]]
        rr, _, zz, rz, round_r, round_z = read.T
        stress = {
            "along": e[0] ** 2 * rr + 2 * e[0] * e[1] * rz + e[1] ** 2 * zz,
            "shear": e[0] * e[1] * (zz - rr) + (e[0] ** 2 - e[1] ** 2) * rz,
            "round": e[0] * round_r + e[1] * round_z,
        }[component]
        return 1 + float(np.polyfit(np.log(distance[near]), np.log(np.abs(stress)), 1)[0])


@cache
def shaft() -> Basis:
    """Return a shaft of twice the radius below z = 0."""
    r = joined(graded(RADIUS, 0, FIRST, GROWTH), graded(RADIUS, 2 * RADIUS, FIRST, GROWTH))
    z = joined(graded(0, 2 * RADIUS, FIRST, GROWTH), graded(0, -2 * RADIUS, FIRST, GROWTH))
    return basis_of(mesh_of(r, z, lambda x, y: (x < RADIUS) | (y < 0)))


@cache
def bone() -> Basis:
    """Return a block of bone round the hole of an implant."""
    r = joined(graded(RADIUS, 0, FIRST, GROWTH), graded(RADIUS, BLOCK, FIRST, GROWTH))
    wall = (graded(end, -DEPTH / 2, FIRST, GROWTH) for end in (0.0, -DEPTH))
    z = joined(*wall, graded(-DEPTH, -BLOCK, FIRST, GROWTH))
    return basis_of(mesh_of(r, z, lambda x, y: (x > RADIUS) | (y < -DEPTH)))


@cache
def pulled_shaft(load: str) -> Solved:
    """Return the shaft held at its thick end, under a unit resultant at the thin one."""
    body, n = shaft(), 1 if load in {"lateral", "moment"} else 0
    stiffness = stiffness_of(body, POISSON, 1.0)
    nothing = np.empty(0, dtype=np.int64)
    order = elimination_order(stiffness, nothing)
    held = body.doflocs[1] < -2 * RADIUS + 1e-9
    harmonic = body_harmonic(stiffness, n, body.doflocs, order, 0, held, 1.0)
    force = getattr(face_loads(body, 2 * RADIUS), load)
    field = harmonic.recovered(np.empty(0), force, harmonic.interior_solver())
    return Solved(basis=body, n=n, poisson=POISSON, field=field)


@cache
def ordered_bone(poisson: float) -> tuple[HarmonicStiffness, Floats, Floats]:
    """Return the bone's stiffness, its nodes on the implant, and the order of elimination."""
    stiffness = stiffness_of(bone(), poisson, 1.0)
    r, z = bone().doflocs
    wall = np.flatnonzero((r < RADIUS + FIRST / 9) & (z > -DEPTH - FIRST / 9))
    return stiffness, wall, elimination_order(stiffness, wall)


@cache
def moved_implant(mode: str, poisson: float = POISSON) -> Solved:
    """Return the bone round an implant that is moved as a rigid piece."""
    n, components = RIGID[mode]
    stiffness, wall, order = ordered_bone(poisson)
    r, z = bone().doflocs
    held = (r > BLOCK - 1e-9) | (z < -BLOCK + 1e-9)
    harmonic = body_harmonic(stiffness, n, bone().doflocs, order, len(wall), held, 1.0)
    columns = harmonic.to_dofs[:, harmonic.interior :]
    motion = field_of(bone(), components)[columns.indices[columns.indptr[:-1]]]
    still = np.zeros(3 * bone().N)
    field = harmonic.recovered(motion, still, harmonic.interior_solver())
    return Solved(basis=bone(), n=n, poisson=poisson, field=field)


def shaft_energy(cells: int) -> float:
    """Return twice the energy of the shaft under unit tension, per radian, on a uniform grid.

    Its thick end slides on a plane, so that the notch is the only singular corner.
    """
    r = np.linspace(0, 2 * RADIUS, cells + 1)
    z = np.linspace(-2 * RADIUS, 2 * RADIUS, 2 * cells + 1)
    body = basis_of(mesh_of(r, z, lambda x, y: (x < RADIUS) | (y < 0)))
    held = np.zeros((body.N, 3), dtype=bool)
    held[body.doflocs[1] < -2 * RADIUS + 1e-9, 2] = True
    force = face_loads(body, 2 * RADIUS).axial
    return float(force @ solved(body, 0, POISSON, force, held).ravel())


def order_of_energy(cells: tuple[int, int, int] = (16, 32, 64)) -> float:
    """Return the power of the element size with which the energy converges, from three grids."""
    coarse, middle, fine = (shaft_energy(c) for c in cells)
    return float(np.log2((middle - coarse) / (fine - middle)))


FIGURES = {
    "notch_tension": lambda: pulled_shaft("axial").exponent(NOTCH, "along"),
    "notch_bending": lambda: pulled_shaft("moment").exponent(NOTCH, "along"),
    "tip_axial": lambda: moved_implant("axial").exponent(TIP, "shear"),
    "tip_lateral": lambda: moved_implant("lateral").exponent(TIP, "shear"),
    "tip_axial_symmetric": lambda: moved_implant("axial").exponent(TIP, "along", FARTHER),
    "tip_turned": lambda: moved_implant("twist").exponent(TIP, "round"),
    "crest_axial": lambda: moved_implant("axial").exponent(CREST, "along"),
    "crest_lateral": lambda: moved_implant("lateral").exponent(CREST, "along"),
    "energy_order": order_of_energy,
}


def compute(keys: frozenset[str]) -> dict[str, float]:
    return {key: FIGURES[key]() for key in keys}


def curve() -> Curve:
    """λ at the tip of a rigid implant against Poisson's ratio of the bone."""
    dense, few = np.linspace(0, 0.49, 50), (0.0, 0.1, 0.2, 0.3, 0.4, 0.45)
    return Curve(
        title="Corner at the tip of a rigid implant, moved along its axis",
        x_label="Poisson's ratio of the bone",
        y_label="exponent λ; stress goes as distance^(λ-1)",
        published=[(float(nu), smallest(fixed, float(nu), 1)) for nu in dense],
        computed=[(nu, moved_implant("axial", nu).exponent(TIP, "shear")) for nu in few],
    )

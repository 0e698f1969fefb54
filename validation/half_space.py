"""Rigid footings on and in an elastic half-space, through harmonics and condensation.

The block is held at R and at 2R, and its far side is taken out by extrapolation
(`far_boundary_removed`). Shear modulus and radius of the footing are 1.
"""

from __future__ import annotations

from functools import cache
from typing import Literal

import numpy as np

from validation.benches import (
    Floats,
    Footing,
    basis_of,
    everywhere,
    far_boundary_removed,
    graded,
    joined,
    mesh_of,
    stiffness_of,
)

Form = Literal["disc", "cylinder", "caisson"]
"""A disc on the ground; a solid cylinder in it; a lid with a thin skirt, and ground inside the skirt."""

NEAR, FAR = 20.0, 40.0
FINE = {"first": 1e-4, "growth": 1.6}
COARSE = {"first": 3e-3, "growth": 2.0}
BURIED_POISSON = 0.2


@cache
def footing(
    form: Form, depth: float, radius: float, poisson: float, *, first: float, growth: float
) -> Footing:
    """Return a half-space to `radius` with a footing of radius 1 and of some depth to be moved.

    Steps of the grid shrink to `first` at edges, where the stress is singular.
    """
    r = joined(graded(1, 0, first, growth), graded(1, radius, first, growth))
    z = graded(-depth, -radius, first, growth)
    if depth:
        z = joined(z, *(graded(end, -depth / 2, first, growth) for end in (0.0, -depth)))
    solid = form == "cylinder"
    ground = (lambda x, y: (x > 1) | (y < -depth)) if solid else everywhere
    basis = basis_of(mesh_of(r, np.sort(z), ground))
    x, y = basis.doflocs
    inside = (x < 1 + 1e-12) & (y > -depth - 1e-12)
    moved = inside if solid else inside & ((y > -1e-12) | (x > 1 - 1e-12))
    return Footing(
        basis,
        stiffness_of(basis, poisson, 2 * (1 + poisson)),
        np.flatnonzero(moved),
        (x > radius - 1e-9) | (y < -radius + 1e-9),
    )


def disc_stiffness(mode: str, given: str, poisson: float) -> float:
    """Return the stiffness of a disc, of whose motion (u, v, w) the components `given` are imposed."""
    near, far = (
        1 / footing("disc", 0.0, reach, poisson, **FINE).rigid(mode, given=given)[0, 0]
        for reach in (NEAR, FAR)
    )
    power = 1 if mode in {"axial", "lateral"} else 3
    return 1 / float(far_boundary_removed(near, far, FAR / NEAR, power))


@cache
def buried_stiffness(form: Form, depth: float) -> Floats:
    """Return the 2 × 2 stiffness, lateral and tilt about the head, of a footing in the ground."""
    near, far = (
        np.linalg.inv(footing(form, depth, reach, BURIED_POISSON, **COARSE).rigid("lateral", "tilt"))
        for reach in (NEAR, FAR)
    )
    compliance = np.empty((2, 2))
    for i in (0, 1):
        for j in (0, 1):
            compliance[i, j] = far_boundary_removed(near[i, j], far[i, j], FAR / NEAR, 1 + i + j)
    return np.linalg.inv(compliance)


@cache
def buried_torsion(depth: float) -> float:
    """Return the torsional stiffness of a solid cylinder in the ground."""
    near, far = (
        1 / footing("cylinder", depth, reach, BURIED_POISSON, **COARSE).rigid("twist")[0, 0]
        for reach in (NEAR, FAR)
    )
    return 1 / float(far_boundary_removed(near, far, FAR / NEAR, 3))


def pressure_under_disc(poisson: float) -> tuple[Floats, Floats]:
    """Return radii (k,) of the nodes under a frictionless disc pushed in by 1, and their forces (k,)."""
    ground = footing("disc", 0.0, FAR, poisson, **FINE)
    schur, dofs = ground.condensed(0)
    pressed = dofs % 3 == 2
    across, inside = schur[np.ix_(pressed, ~pressed)], schur[np.ix_(~pressed, ~pressed)]
    forces = (schur[np.ix_(pressed, pressed)] - across @ np.linalg.solve(inside, across.T)).sum(axis=1)
    return ground.basis.doflocs[0, dofs[pressed] // 3], forces

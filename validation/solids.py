"""Elastic bodies under tractions, one harmonic at a time; modulus of elasticity 1."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy.sparse.linalg as spla
from skfem import Basis, ElementTriP2, MeshTri

from stillroot.mechanics.condense import free_rows
from stillroot.mechanics.harmonics import admissible, angular_weight, elasticity, strain_matrices
from validation.benches import Floats, Mask, basis_of, mesh_of, stiffness_of

Indices = np.ndarray[tuple[int], np.dtype[np.int64]]
Traction = Callable[[Floats, Floats], tuple[Floats, Floats, Floats]]
"""From r and z to t_r, t_θ, t_z of one harmonic, sines and cosines taken out."""

HALF_THICKNESS = 0.02
"""Of a slab, about as thin as the steps of its grid: in a thick one displacement varies along z."""


def slab(r: Floats) -> Basis:
    """Return a slab, one element thick, with the radii `r`."""
    return basis_of(mesh_of(r, np.array([-HALF_THICKNESS, HALF_THICKNESS])))


def shell(reach: Floats, angles: Floats) -> Basis:
    """Return a hollow sphere: distances from the centre, and angles from the axis."""
    square = mesh_of(reach, angles)
    away, angle = square.p
    r, z = away * np.sin(angle), away * np.cos(angle)
    return basis_of(MeshTri(np.stack([np.where(r < 1e-12 * away, 0.0, r), z]), square.t))


def on_surface(basis: Basis, where: Callable[[Floats, Floats], Mask], traction: Traction) -> Floats:
    """Return the forces (3n,) per radian of a traction on the facets whose middles are `where`."""
    face = basis.boundary(basis.mesh.facets_satisfying(lambda x: where(*x), boundaries_only=True))
    r, z = np.asarray(face.global_coordinates())
    area, nodes = np.asarray(face.dx) * r, np.asarray(face.element_dofs)
    force = np.zeros(3 * basis.N)
    for component, t in enumerate(traction(r, z)):
        for k in range(6):
            np.add.at(force, 3 * nodes[k] + component, np.sum(face.basis[k][0] * t * area, axis=1))
    return force


def solved(
    basis: Basis, n: int, poisson: float, force: Floats, held: Mask, given: Floats | float = 0.0
) -> Floats:
    """Return u, v, w (n, 3) under a force (3n,) per radian.

    Components `held` (n, 3) move as `given` (n, 3), which is 0 elsewhere.
    """
    t, _ = admissible(basis.doflocs, n, np.arange(basis.N), np.zeros(basis.N, dtype=bool))
    t = t[:, np.flatnonzero(~held.ravel()[free_rows(t)])]
    stiffness = stiffness_of(basis, poisson, 1.0).of(n)
    known = (np.zeros((basis.N, 3)) + given).ravel()
    k = (t.T @ stiffness @ t).tocsc()
    return (t @ spla.spsolve(k, t.T @ (force - stiffness @ known)) + known).reshape(-1, 3)


def in_plane(
    basis: Basis, n: int, poisson: float, tractions: dict[float, tuple[float, float]]
) -> Floats:
    """Return u, v (n, 2) of a slab in plane strain under t_r and t_θ at the radii given."""
    force = np.zeros(3 * basis.N)
    for radius, (t_r, t_theta) in tractions.items():
        force += on_surface(
            basis,
            lambda r, _, at=radius: np.abs(r - at) < 1e-9,
            lambda r, _, t_r=t_r, t_theta=t_theta: (t_r + 0 * r, t_theta + 0 * r, 0 * r),
        )
    held = np.zeros((basis.N, 3), dtype=bool)
    held[:, 2] = True
    held[:, 1] = n == 0
    return solved(basis, n, poisson, force, held)[:, :2]


def core_stiffness(basis: Basis, poisson: float) -> float:
    """Return the lateral stiffness, per length, of a rigid core in a slab in plane strain, rim held."""
    r = basis.doflocs[0]
    core, rim = r < r.min() + 1e-9, r > r.max() - 1e-9
    held = np.zeros((basis.N, 3), dtype=bool)
    held[:, 2] = True
    held[core | rim] = True
    given = np.where(core[:, None], [1.0, -1.0, 0.0], 0.0)
    field = solved(basis, 1, poisson, np.zeros(3 * basis.N), held, given).ravel()
    work = angular_weight(1) * field @ stiffness_of(basis, poisson, 1.0).of(1) @ field
    return float(work / (2 * HALF_THICKNESS))


def stress_at(basis: Basis, elements: Indices, field: Floats, n: int, poisson: float) -> Floats:
    """Return the stress (e, q, 6), in the order of equation (1), of harmonic n of u, v, w (n, 3).

    It is read at the quadrature points of `basis`, in the triangles `elements` (e,).
    """
    b0, b1 = strain_matrices(basis, elements)
    nodal = field.reshape(-1, 3)[basis.element_dofs[:, elements].T].reshape(len(elements), 18)
    strain: Floats = np.einsum("eqij,ej->eqi", b0 + n * b1, nodal)
    return strain @ elasticity(poisson)


def read_at_corners(mesh: MeshTri) -> Basis:
    """Return a basis whose quadrature points are the corners of the triangles."""
    corners = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    return Basis(mesh, ElementTriP2(), quadrature=(corners, np.full(3, 1 / 6)))


def at_radius(basis: Basis, field: Floats, radius: float) -> Floats:
    """Return the field of a slab at the node there is at a radius."""
    r, z = basis.doflocs
    return field[np.flatnonzero((np.abs(r - radius) < 1e-9) & (z > HALF_THICKNESS - 1e-9))[0]]

"""Bodies on rectangular grids, and rigid pieces of their boundary, for the outside checks.

A grid of rectangles, each cut in two, needs no mesher: the figures asserted in the checks do not
move with the version of one, and the spacing can be graded into a singular edge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skfem import Basis, ElementTriP2, MeshTri

from stillroot.mechanics.bodies import QUADRATURE_ORDER
from stillroot.mechanics.condense import BodyHarmonic, body_harmonic, elimination_order
from stillroot.mechanics.harmonics import HarmonicStiffness, angular_weight, unit_stiffness
from stillroot.mechanics.mesh import HalfSection

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Place = Callable[[Floats, Floats], Mask]

RIGID = {
    "axial": (0, lambda r, _: (0 * r, 0 * r, 1 + 0 * r)),
    "twist": (0, lambda r, _: (0 * r, r, 0 * r)),
    "lateral": (1, lambda r, _: (1 + 0 * r, -1 + 0 * r, 0 * r)),
    "tilt": (1, lambda r, z: (z, -z, -r)),
}
"""Harmonic and (u, v, w) of the rigid motions; the twist is in the twin family."""


def everywhere(r: Floats, z: Floats) -> Mask:
    return np.full(np.broadcast(r, z).shape, True)


def mesh_of(r_mm: Floats, z_mm: Floats, keep: Place = everywhere) -> MeshTri:
    """Return the triangles of a grid whose centres are where `keep` says."""
    mesh = MeshTri.init_tensor(np.asarray(r_mm, dtype=float), np.asarray(z_mm, dtype=float))
    return mesh.restrict(np.flatnonzero(keep(*mesh.p[:, mesh.t].mean(axis=1))))


def skewed(mesh: MeshTri, share: float = 0.2) -> MeshTri:
    """Move the inner points of a mesh about, so that no symmetry of it helps."""
    points = mesh.p.copy()
    inner = mesh.interior_nodes()
    step = share * np.sqrt(np.ptp(points[0]) * np.ptp(points[1]) / mesh.nelements)
    points[:, inner] += step * np.random.default_rng(3).uniform(-1, 1, (2, len(inner)))
    return MeshTri(points, mesh.t)


def basis_of(mesh: MeshTri) -> Basis:
    return Basis(mesh, ElementTriP2(), intorder=QUADRATURE_ORDER)


def stiffness_of(basis: Basis, poisson: float, modulus: float) -> HarmonicStiffness:
    return unit_stiffness(basis, np.arange(basis.nelems), poisson, modulus)


def field_of(basis: Basis, components: Callable[[Floats, Floats], tuple[Floats, ...]]) -> Floats:
    """Return the degrees of freedom (3n,) of u, v, w given as functions of r and z."""
    return np.stack(components(*basis.doflocs), axis=-1).ravel()


def graded(start: float, stop: float, first: float, growth: float = 1.6) -> Floats:
    """Return points from `start` to `stop`, the first step `first`, growing by about `growth`."""
    length = abs(stop - start)
    count = int(np.ceil(np.log1p(length / first * (growth - 1)) / np.log(growth)))
    steps = first * growth ** np.arange(count)
    return start + np.sign(stop - start) * length * np.append(0, np.cumsum(steps)) / steps.sum()


def joined(*pieces: Floats) -> Floats:
    """Return the points of all pieces, sorted, each once."""
    points = np.sort(np.concatenate(pieces))
    return points[np.append(True, np.diff(points) > 1e-12)]


@dataclass(frozen=True)
class Footing:
    """An elastic body (G = 1) held at its far side, with some nodes to be moved as one rigid piece."""

    basis: Basis
    stiffness: HarmonicStiffness
    moved: NDArray[np.int64]
    fixed: Mask

    def condensed(self, n: int) -> tuple[Floats, NDArray[np.int64]]:
        """Return the Schur complement on the moved nodes, and the degree of freedom of each row."""
        order = elimination_order(self.stiffness, self.moved)
        body: BodyHarmonic = body_harmonic(
            self.stiffness,
            n,
            self.basis.doflocs,
            order,
            len(self.moved),
            self.fixed,
            angular_weight(n),
        )
        columns = body.to_dofs[:, body.interior :].tocsc()
        return body.schur(), columns.indices[columns.indptr[:-1]]

    def rigid(self, *modes: str, given: str = "uvw") -> Floats:
        """Return the stiffness (k, k) of rigid motions; components that are not `given` are free."""
        n = RIGID[modes[0]][0]
        schur, dofs = self.condensed(n)
        held = np.isin(dofs % 3, ["uvw".index(c) for c in given])
        if not held.all():
            across = schur[np.ix_(held, ~held)]
            inside = schur[np.ix_(~held, ~held)]
            schur = schur[np.ix_(held, held)] - across @ np.linalg.solve(inside, across.T)
        motion = np.stack([field_of(self.basis, RIGID[m][1])[dofs[held]] for m in modes], axis=1)
        return motion.T @ schur @ motion


def far_boundary_removed(near: Floats, far: Floats, ratio: float, power: int) -> Floats:
    """Return a compliance for a support infinitely far away, from supports at R and `ratio` R.

    The support takes the displacement of the half-space away where it stands. That displacement
    falls as 1/R for a force and as 1/R² for a moment; its reaction moves the footing by a part 1/R
    of that for a force, and turns it by 1/R³ for a moment: so C(R) = C - c/R^power, and two radii
    give C (Richardson).
    """
    weight = ratio**power
    return (weight * far - near) / (weight - 1)


def half_section_of(r_mm: Floats, z_mm: Floats, regions: dict[str, Place], keep: Place) -> HalfSection:
    """Return a grid as a half-section; the first region that claims a triangle has it."""
    mesh = mesh_of(r_mm, z_mm, keep)
    centre = mesh.p[:, mesh.t].mean(axis=1)
    claims = np.stack([claim(*centre) for claim in regions.values()])
    return HalfSection(
        points_mm=mesh.p,
        triangles=mesh.t.astype(np.int64),
        region=np.argmax(claims, axis=0),
        names=tuple(regions),
    )

"""A round bar, clamped at z = 0 and loaded at its top, and cones."""

from __future__ import annotations

from functools import cache

import numpy as np
import scipy.sparse.linalg as spla
from skfem import Basis, MeshTri

from stillroot.mechanics.harmonics import admissible, angular_weight, face_loads
from validation.benches import Floats, Footing, basis_of, mesh_of, stiffness_of

RADIUS, LENGTH, MODULUS = 1.5, 18.0, 1000.0
"""mm, mm, MPa."""
STEP = LENGTH / 48
"""Of the grid along the axis [mm]."""


@cache
def bar() -> Basis:
    """Return the bar's grid."""
    return basis_of(mesh_of(np.linspace(0, RADIUS, 9), np.linspace(0, LENGTH, 49)))


@cache
def under(load: str, poisson: float) -> Floats:
    """Return u, v, w (n, 3) [mm] under a unit resultant at the top, a name of `FaceLoads`."""
    basis, n = bar(), _harmonic(load)
    f = getattr(face_loads(basis, LENGTH), load)
    t, _ = admissible(basis.doflocs, n, np.arange(basis.N), basis.doflocs[1] < 1e-9)
    k = (t.T @ stiffness_of(basis, poisson, MODULUS).of(n) @ t).tocsc()
    return (t @ spla.spsolve(k, t.T @ f)).reshape(-1, 3)


def conjugate(load: str, field: Floats) -> float:
    """Return the motion of the top that does the work of a unit load: a mean over it."""
    f = getattr(face_loads(bar(), LENGTH), load)
    return float(angular_weight(_harmonic(load)) * f @ field.ravel())


def section_means(field: Floats, height: float) -> tuple[float, float]:
    """Return (W, Φ) of harmonic 1 at a height: W = ∫u_x dA/A, Φ = -∫x u_z dA/I.

    Φ > 0 tilts the axis towards θ = 0.
    """
    points, weights = np.polynomial.legendre.leggauss(12)
    r, weights = RADIUS * (1 + points) / 2, RADIUS / 2 * weights
    u, v, w = (bar().probes(np.stack([r, np.full_like(r, height)])) @ field).T
    shift = np.sum(weights * r * (u - v)) / RADIUS**2
    return float(shift), float(-4 * np.sum(weights * r**2 * w) / RADIUS**4)


def at(field: Floats, r: float, z: float) -> Floats:
    """Return u, v, w (3,) at a place."""
    return (bar().probes(np.array([[r], [z]])) @ field)[0]


def cone(half_angle: float, inner: float, outer: float, divisions: int) -> Footing:
    """Return a cone between two spheres about its apex; the inner one is held, the outer one moved."""
    square = mesh_of(
        np.geomspace(inner, outer, 2 * divisions + 1), np.linspace(0, half_angle, divisions + 1)
    )
    reach, angle = square.p
    basis = basis_of(MeshTri(np.stack([reach * np.sin(angle), reach * np.cos(angle)]), square.t))
    ends = [
        basis.get_dofs(lambda x, at=at: np.abs(np.hypot(*x) - at) < 1e-3 * at) for at in (inner, outer)
    ]
    held, moved = (np.asarray(end.flatten()) for end in ends)
    fixed = np.zeros(basis.N, dtype=bool)
    fixed[held] = True
    return Footing(basis, stiffness_of(basis, 0.0, 2.0), moved, fixed)


def _harmonic(load: str) -> int:
    return 1 if load in {"lateral", "moment"} else 0

"""Stress inside the bodies: Hooke's law on the strains of equation (1), element by element.

Stress is averaged over the volume of each triangle, never across triangles: it jumps from one material
to the next. At sharp corners linear elastic stress is unbounded and grows as elements shrink, so the
largest value on a mesh means nothing.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.fields import Displacement, displacement
from stillroot.mechanics.harmonics import elasticity, strain_matrices
from stillroot.mechanics.loading import Resultant
from stillroot.mechanics.strain import ODD

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from skfem import Basis

    from stillroot.mechanics.loading import Seated

TO_PLANE = (0, 1, 2, 4, 5, 3)
"""Indices of xx, yy, zz, xy, yz, xz of the plane of the load in the order of equation (1)."""
IN_PLANE_SIDES = (0.0, np.pi)
"""The two half-planes of the plane of the load: x > 0, then x < 0."""


def seated_displacement(seated: Seated) -> Displacement:
    """Return the displacement of both bodies due to seating, from the unstressed state."""
    untouched = replace(seated, state=seated.state.scaled(0.0))
    return displacement(untouched, seated.state, Resultant())


def stress_in_plane(
    basis: Basis, u: NDArray[np.float64], modulus_mpa: NDArray[np.float64], poisson: float
) -> NDArray[np.float64]:
    """Return the stress (2, e, 6) [MPa] at x > 0 and at x < 0: xx, yy, zz, xy, yz, xz.

    `u` (f, h, n, 3): coefficients of u, v, w [mm]; `modulus_mpa` (e,). y points to θ = 90°.
    """
    elements = np.arange(basis.nelems)
    r = np.asarray(basis.global_coordinates())[0]
    volume = np.asarray(basis.dx) * r
    weight = (volume / volume.sum(axis=1, keepdims=True))[..., None, None]
    b0, b1 = (np.sum(b * weight, axis=1) for b in strain_matrices(basis, elements))
    nodal = u[:, :, basis.element_dofs.T].reshape(*u.shape[:2], basis.nelems, 18)
    strain = np.zeros((2, basis.nelems, 6))
    for family, harmonics in enumerate(nodal):
        for n, values in enumerate(harmonics):
            amplitude = np.einsum("eij,ej->ei", b0 + n * b1, values)
            for side, angle in enumerate(IN_PLANE_SIDES):
                even, odd = np.cos(n * angle), np.sin(n * angle)
                if family == 1:
                    even, odd = odd, -even
                round_it = np.full(6, even)
                round_it[list(ODD)] = odd
                strain[side] += amplitude * round_it
    stress = strain @ elasticity(poisson) * modulus_mpa[:, None]
    plane = stress[..., TO_PLANE]
    plane[1, :, 4:] *= -1.0  # at x < 0, r and θ point against x and y; z stays
    return plane


def von_mises(stress: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the equivalent stress (...,) of stresses (..., 6): xx, yy, zz, xy, yz, xz."""
    x, y, z = np.moveaxis(stress[..., :3], -1, 0)
    shear = np.sum(stress[..., 3:] ** 2, axis=-1)
    return np.sqrt(0.5 * ((x - y) ** 2 + (y - z) ** 2 + (z - x) ** 2) + 3 * shear)

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
from stillroot.mechanics.groundwork import native_elements
from stillroot.mechanics.harmonics import elasticity
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.strain import MeanStrain

if TYPE_CHECKING:
    from skfem import Basis

    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.seat import Seated

TO_PLANE = (0, 1, 2, 4, 5, 3)
"""Indices of xx, yy, zz, xy, yz, xz of the plane of the load in the order of equation (1)."""
IN_PLANE_SIDES = (0.0, np.pi)
"""The two half-planes of the plane of the load: x > 0, then x < 0."""


def seated_displacement(seated: Seated) -> Displacement:
    """Return the displacement of both bodies due to seating, from the unstressed state."""
    untouched = replace(seated, state=seated.state.scaled(0.0))
    return displacement(untouched, seated.state, Resultant())


def stress_in_plane(
    basis: Basis, u: Floats, modulus_mpa: Floats, poisson: float, taken_mpa: Floats | float = 0.0
) -> Floats:
    """Return the stress (2, e, 6) [MPa] at x > 0 and at x < 0: xx, yy, zz, xy, yz, xz.

    `u` (f, h, n, 3): coefficients of u, v, w [mm]; `modulus_mpa` (e,); `taken_mpa` (2, e, 6): the stress
    that plastic strain takes away, see `taken_in_plane`. y points to θ = 90°.
    """
    strain = MeanStrain.of(basis, np.arange(basis.nelems)).at(u, np.array(IN_PLANE_SIDES))
    stress = strain.transpose(1, 0, 2) @ elasticity(poisson) * modulus_mpa[:, None] - taken_mpa
    plane = stress[..., TO_PLANE]
    plane[1, :, 4:] *= -1.0  # at x < 0, r and θ point against x and y; z stays
    return plane


def taken_in_plane(seated: Seated, state: ContactState) -> Floats | float:
    """Return s_p (2, e, 6) [MPa] of the bone's triangles in the order of (1); 0 where it is linear."""
    bone, body = seated.site.bone, seated.site.pair.bone
    if bone is None or state.bone is None:
        return 0.0
    taken = np.zeros((len(IN_PLANE_SIDES), body.basis.nelems, 6))
    mean = bone.mean_taken_mpa(state.fourier, state.bone.taken, np.array(IN_PLANE_SIDES))
    taken[:, native_elements(body)] = mean.transpose(1, 0, 2)
    return taken


def von_mises(stress: Floats) -> Floats:
    """Return the equivalent stress (...,) of stresses (..., 6): xx, yy, zz, xy, yz, xz."""
    x, y, z = np.moveaxis(stress[..., :3], -1, 0)
    shear = np.sum(stress[..., 3:] ** 2, axis=-1)
    return np.sqrt(0.5 * ((x - y) ** 2 + (y - z) ** 2 + (z - x) ** 2) + 3 * shear)

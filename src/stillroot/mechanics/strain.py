"""Strains of the bone, against the strain at which bone yields.

The strains of equation (1) are averaged over the volume of each triangle and summed over the harmonics
at angles round the axis; principal strains follow. They are those of the whole state, seating included,
outside the torn layer. At corners linear elastic strain is unbounded and grows as elements shrink, and
bone is no continuum below the size of a few trabeculae (Harrigan et al. 1988, J Biomech 21:269-275, from
memory): so the reported strain is the one that `VOLUME_MM3` of bone exceeds, not the maximum.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.fields import displacements_of_bone
from stillroot.mechanics.fourier import ODD, round_axis
from stillroot.mechanics.groundwork import native_elements
from stillroot.mechanics.harmonics import strain_matrices

if TYPE_CHECKING:
    from collections.abc import Sequence

    from skfem import Basis

    from stillroot.arrays import Floats, Ints
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.seat import Seated

VOLUME_MM3 = 1.0
"""About a cube of one millimetre: a few trabeculae. Assumption."""
TENSILE_YIELD_STRAIN = 0.0065
"""0.61 to 0.70 %: Morgan & Keaveny 2001, J Biomech 34:569-577, from memory; trabecular bone. The
compressive one, the crush strain of the law at the wall, is from the same source."""
LEAST_PLASTIC = 1e-5
"""A smaller plastic strain counts as none: the solver's own tolerance."""
ANGLES = np.radians(np.arange(7.5, 360, 15))
PLACES = (0, 0), (1, 1), (2, 2), (0, 2), (0, 1), (1, 2)
"""Tensor indices (r, θ, z) of the strains in the order of equation (1)."""


@dataclass(frozen=True, kw_only=True)
class BoneStrain:
    """Principal strains that `VOLUME_MM3` of the bone exceeds, both positive.

    `past_yield_mm3`: volume past the compressive or the tensile yield strain, where the bone is linear.
    Where it yields: `yielded_mm3`, the volume with plastic strain, of which `VOLUME_MM3` has a principal
    value of at least `plastic`.
    """

    compressive: float
    tensile: float
    past_yield_mm3: float
    yielded_mm3: float = 0.0
    plastic: float = 0.0

    @property
    def is_past_yield(self) -> bool:
        """Whether linear bone is past yield in more than a corner, so that its elasticity fails."""
        return self.past_yield_mm3 > VOLUME_MM3


def bone_strains(
    seated: Seated, states: Sequence[ContactState], crush_strain: float
) -> tuple[BoneStrain, ...]:
    """Return the strains of the native bone in each of several states.

    `crush_strain` is the compressive yield strain of linear bone.
    """
    bone = seated.site.pair.bone
    means = MeanStrain.of(bone.basis, native_elements(bone))
    volume = np.outer(means.area, np.full(len(ANGLES), 2 * np.pi / len(ANGLES))).ravel()
    strains = []
    for u, state in zip(displacements_of_bone(seated, states), states, strict=True):
        principal = _principal(means.at(u, ANGLES))
        past = (principal[:, 0] < -crush_strain) | (principal[:, 1] > TENSILE_YIELD_STRAIN)
        whole = BoneStrain(
            compressive=_passed(-principal[:, 0], volume),
            tensile=_passed(principal[:, 1], volume),
            past_yield_mm3=float(np.sum(volume[past])) if state.bone is None else 0.0,
        )
        strains.append(_with_yield(whole, seated, state))
    return tuple(strains)


def _with_yield(strain: BoneStrain, seated: Seated, state: ContactState) -> BoneStrain:
    bone = seated.site.bone
    if bone is None or state.bone is None:
        return strain
    plastic = bone.surface.strain(state.bone.taken).transpose(1, 2, 0)
    largest = np.max(np.abs(_principal(plastic)), axis=1)
    volume = np.outer(bone.volume, np.full(plastic.shape[1], state.fourier.angle_weight)).ravel()
    return replace(
        strain,
        yielded_mm3=float(np.sum(volume[largest > LEAST_PLASTIC])),
        plastic=_passed(largest, volume),
    )


@dataclass(frozen=True, kw_only=True)
class MeanStrain:
    """B0 and B1 of (2), averaged over the volume of each of e triangles.

    `nodes` (e, 6) are those of each triangle, `area` (e,) its volume per radian.
    """

    nodes: Ints
    area: Floats
    B0: Floats
    B1: Floats

    @classmethod
    def of(cls, basis: Basis, elements: Ints) -> MeanStrain:
        """Return the mean strains of some triangles of a body."""
        r = np.asarray(basis.global_coordinates())[0][elements]
        area = np.asarray(basis.dx)[elements] * r
        weight = (area / area.sum(axis=1, keepdims=True))[..., None, None]
        B0, B1 = (np.sum(b * weight, axis=1) for b in strain_matrices(basis, elements))
        nodes = np.asarray(basis.element_dofs)[:, elements].T
        return cls(nodes=nodes, area=area.sum(axis=1), B0=B0, B1=B1)

    def at(self, u: Floats, angles: Floats) -> Floats:
        """Return the strains (e, a, 6) of coefficients u (f, h, n, 3), in the order of (1)."""
        strain = np.zeros((len(self.nodes), len(angles), 6))
        for family, harmonics in enumerate(u):
            for n, nodal in enumerate(harmonics):
                d = nodal[self.nodes].reshape(len(self.nodes), 18)
                amplitude = np.einsum("eij,ej->ei", self.B0 + n * self.B1, d)  # (2)
                even, odd = round_axis(family, n * angles)
                for k in range(6):
                    strain[:, :, k] += np.outer(amplitude[:, k], odd if k in ODD else even)
        return strain


def _principal(strain: Floats) -> Floats:
    """Return the least and the largest principal strain (e·a, 2) of strains (e, a, 6)."""
    tensor = np.zeros((*strain.shape[:2], 3, 3))
    for k, (i, j) in enumerate(PLACES):
        tensor[:, :, i, j] = tensor[:, :, j, i] = strain[:, :, k] * (1.0 if i == j else 0.5)
    values = np.linalg.eigvalsh(tensor.reshape(-1, 3, 3))
    return np.stack([values[:, 0], values[:, 2]], axis=1)


def _passed(strain: Floats, volume: Floats) -> float:
    """Return the strain that `VOLUME_MM3` of bone exceeds; 0 where less bone than that is strained."""
    falling = np.argsort(-strain)
    reached = np.cumsum(volume[falling])
    index = min(int(np.searchsorted(reached, VOLUME_MM3)), len(falling) - 1)
    return max(float(strain[falling[index]]), 0.0)

"""Strains of the bone, against the strain at which bone yields.

The strains of equation (1) are averaged over the volume of each triangle and summed over the harmonics
at angles round the axis; principal strains follow. They are those of the whole state, seating included,
outside the torn layer. At corners linear elastic strain is unbounded and grows as elements shrink, and
bone is no continuum below the size of a few trabeculae (Harrigan et al. 1988, J Biomech 21:269-275, from
memory): so the reported strain is the one that `VOLUME_MM3` of bone exceeds, not the maximum.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.fields import bone_displacement, forces_on_bone
from stillroot.mechanics.harmonics import strain_matrices
from stillroot.mechanics.outline import CORTICAL, TRABECULAR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stillroot.inputs.case import Case
    from stillroot.mechanics.bodies import BodyPair
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.loading import Seated

VOLUME_MM3 = 1.0
"""About a cube of one millimetre: a few trabeculae. Assumption."""
TENSILE_YIELD_STRAIN = 0.0065
"""0.61 to 0.70 %: Morgan & Keaveny 2001, J Biomech 34:569-577, from memory; trabecular bone. The
compressive one is the case's `crush_strain`, from the same source."""
ANGLES = np.radians(np.arange(7.5, 360, 15))
PLACES = (0, 0), (1, 1), (2, 2), (0, 2), (0, 1), (1, 2)
"""Tensor indices (r, θ, z) of the strains in the order of equation (1)."""
ODD = (4, 5)
"""Strains that vary as sin nθ: γ_rθ and γ_zθ."""


@dataclass(frozen=True, kw_only=True)
class BoneStrain:
    """Principal strains that `VOLUME_MM3` of the bone exceeds, both positive.

    `past_yield_mm3`: volume past the compressive or the tensile yield strain.
    """

    compressive: float
    tensile: float
    past_yield_mm3: float

    @property
    def is_past_yield(self) -> bool:
        """Whether the bone is past yield, so that linear elasticity fails, in more than a corner."""
        return self.past_yield_mm3 > VOLUME_MM3


def bone_strains(seated: Seated, states: Sequence[ContactState]) -> tuple[BoneStrain, ...]:
    """Return the strains of the bone in each of several states of one seated implant."""
    site = seated.site
    return strains_under(site.case, site.pair, [forces_on_bone(seated.layer, s) for s in states])


def strains_under(
    case: Case, pair: BodyPair, forces: Sequence[NDArray[np.float64]]
) -> tuple[BoneStrain, ...]:
    """Return the strains of the bone under each of several sets of wall forces (f, h, m, 3) [N]."""
    bone = pair.bone
    native = [k for k, name in enumerate(bone.names) if name in (CORTICAL, TRABECULAR)]
    elements = np.flatnonzero(np.isin(bone.region, native))
    r = np.asarray(bone.basis.global_coordinates())[0][elements]
    area = np.asarray(bone.basis.dx)[elements] * r
    weight = (area / area.sum(axis=1, keepdims=True))[..., None, None]
    b0, b1 = (np.sum(b * weight, axis=1) for b in strain_matrices(bone.basis, elements))
    volume = np.outer(area.sum(axis=1), np.full(len(ANGLES), 2 * np.pi / len(ANGLES))).ravel()
    yields = -case.bone.crush_strain, TENSILE_YIELD_STRAIN
    strains = []
    for u in bone_displacement(case, pair, forces):
        principal = _principal(u[:, :, bone.elements[:, elements].T], b0, b1)
        past = (principal[:, 0] < yields[0]) | (principal[:, 1] > yields[1])
        strains.append(
            BoneStrain(
                compressive=_passed(-principal[:, 0], volume),
                tensile=_passed(principal[:, 1], volume),
                past_yield_mm3=float(np.sum(volume[past])),
            )
        )
    return tuple(strains)


def _principal(
    u: NDArray[np.float64], b0: NDArray[np.float64], b1: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the least and the largest principal strain (e·a, 2) from nodal u, v, w (f, h, e, 6, 3)."""
    tensor = np.zeros((len(b0), len(ANGLES), 3, 3))
    for family, harmonics in enumerate(u):
        for n, nodal in enumerate(harmonics):
            amplitude = np.einsum("eij,ej->ei", b0 + n * b1, nodal.reshape(len(b0), 18))
            even, odd = np.cos(n * ANGLES), np.sin(n * ANGLES)
            if family == 1:
                even, odd = odd, -even
            for strain, (i, j) in enumerate(PLACES):
                round_it = odd if strain in ODD else even
                part = 0.5 * np.outer(amplitude[:, strain], round_it)  # γ/2, or half of ε added twice
                tensor[:, :, i, j] += part
                tensor[:, :, j, i] += part
    values = np.linalg.eigvalsh(tensor.reshape(-1, 3, 3))
    return np.stack([values[:, 0], values[:, 2]], axis=1)


def _passed(strain: NDArray[np.float64], volume: NDArray[np.float64]) -> float:
    """Return the strain that `VOLUME_MM3` of bone exceeds; 0 where less bone than that is strained."""
    falling = np.argsort(-strain)
    reached = np.cumsum(volume[falling])
    index = min(int(np.searchsorted(reached, VOLUME_MM3)), len(falling) - 1)
    return max(float(strain[falling[index]]), 0.0)

"""What the law at the wall is made of: the torn layer on the bone beside it, friction, crushing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.inputs.materials import Material
from stillroot.mechanics.interface import layer_on
from stillroot.units import UM_PER_MM

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.site import Site

HARD_LAYER_MM = 0.002
"""Replaces a layer thickness of zero: 2 µm of the bone's own modulus (docs/theory.md gives the error
that this introduces)."""


@dataclass(frozen=True, kw_only=True)
class WallLaw:
    """The torn layer: `thickness_mm` and the ratio of its modulus to that of the bone beside it.

    `crush_strain` times that modulus is the pressure at which the wall crushes while the implant is
    seated; `retained_pressure` the share of the pressure that is left after it. `glued`: no slip, no
    opening.
    """

    thickness_mm: float
    modulus_ratio: float
    friction: float
    crush_strain: float
    retained_pressure: float
    glued: bool


def layer_of(site: Site, law: WallLaw, interference_um: float) -> Layer:
    """Return the interface law (7) on the wall of a site."""
    wall = site.pair.wall
    beside = _modulus_beside(site)
    hard = torn = beside / HARD_LAYER_MM
    if law.thickness_mm > 0:
        torn = np.minimum(hard, law.modulus_ratio * beside / law.thickness_mm)
    stiffness = np.where(wall.fill, hard, torn)  # gap fill is not torn: it is glued
    unit = Material(modulus_mpa=1.0, poisson=site.solids.poisson)
    return layer_on(
        wall,
        normal_stiffness=stiffness * unit.oedometric_modulus_mpa,  # (7)
        shear_stiffness=stiffness * unit.shear_modulus_mpa,  # (7)
        crush_mpa=law.crush_strain * beside,
        interference_mm=interference_um / UM_PER_MM,
        glued=law.glued,
        friction=law.friction,
    )


def _modulus_beside(site: Site) -> Floats:
    """Return the modulus (k,) of the bone or fill next to each edge of the wall."""
    wall, bone = site.pair.wall, site.pair.bone
    depth = -wall.nodes_mm[1, wall.edges[1]]
    names = np.array(bone.names)[bone.region[wall.bone_elements]]
    modulus = np.empty(len(depth))
    for name in np.unique(names):
        here = names == name
        modulus[here] = site.solids.modulus_mpa(str(name), depth[here])
    return modulus

"""The two bodies as the mechanics takes them: elastic constants, and where the bone is held."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.outline import TRABECULAR

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stillroot.arrays import Bools, Floats
    from stillroot.inputs.materials import Material

ON_BOUNDARY_MM = 1e-9
"""A node nearer to the boundary of the block than this lies on it."""


@dataclass(frozen=True, kw_only=True)
class Strength:
    """Strength of bone, by region: in compression, then in tension.

    `relative` to the modulus at each place, unless `stated_mpa` has a number in its place. `interaction`
    and `hardening` are those of `YieldSurface`.
    """

    relative: Mapping[str, tuple[float, float]]
    stated_mpa: Mapping[str, tuple[float | None, ...]]
    interaction: float
    hardening: float

    def over(self, modulus_mpa: Floats, region: str) -> tuple[Floats, Floats]:
        """Return both strengths of a region relative to its modulus (any shape)."""
        compression, tension = (
            np.full_like(modulus_mpa, relative) if mpa is None else mpa / modulus_mpa
            for relative, mpa in zip(self.relative[region], self.stated_mpa[region], strict=True)
        )
        return compression, tension


@dataclass(frozen=True, kw_only=True)
class Solids:
    """Implant and bone.

    `bone_mpa`: the modulus of each region of the bone by name, the first one of a profile;
    `trabecular_shape` (d, 2): depths [mm] and the modulus there relative to the first; `poisson` is that
    of all bone and gap fill. The bone is a block of `block_radius_mm` and `block_depth_mm`, held at its
    base and, with `held_round`, at its side. `fills_gap`: whether anything fills the gap. The
    abutment's top, on which loads act, is at `top_mm`. Bone without a `strength` is linear.
    """

    implant: Material
    implant_radius_mm: float
    implant_length_mm: float
    top_mm: float
    bone_mpa: Mapping[str, float]
    trabecular_shape: Floats
    poisson: float
    block_radius_mm: float
    block_depth_mm: float
    held_round: bool
    fills_gap: bool
    strength: Strength | None = None

    def shape(self, region: str, depth_mm: Floats) -> Floats:
        """Return the modulus of a region of the bone at depths (any shape), relative to `bone_mpa`."""
        if region != TRABECULAR:
            return np.ones_like(depth_mm)
        return np.interp(depth_mm, *self.trabecular_shape.T)

    def modulus_mpa(self, region: str, depth_mm: Floats) -> Floats:
        """Return the modulus of a region of the bone at depths below the crest (any shape)."""
        return self.bone_mpa[region] * self.shape(region, depth_mm)

    def held(self, nodes_mm: Floats) -> Bools:
        """Return which nodes (2, n) of the bone are fixed at the far support (n,)."""
        r, z = nodes_mm
        held = z < -self.block_depth_mm + ON_BOUNDARY_MM
        if self.held_round:
            held |= r > self.block_radius_mm - ON_BOUNDARY_MM
        return held

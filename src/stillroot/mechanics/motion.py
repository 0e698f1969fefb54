"""Micromotion at the interface, and head movement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.harmonics import AXIS_MM
from stillroot.mechanics.implant_motion import implant_motion
from stillroot.mechanics.resultant import LOADED
from stillroot.units import UM_PER_MM

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.seat import Seated

MAP_ANGLES = np.radians(np.arange(0, 360, 5.0))
"""Angles at which motion is evaluated; 0 and 180° lie in the plane of the lateral load."""


@dataclass(frozen=True, kw_only=True)
class Peak:
    """The largest motion and its place; `angle_deg` from the direction of the lateral load."""

    total_um: float
    sliding_um: float
    opening_um: float
    depth_mm: float
    radius_mm: float
    angle_deg: float
    all_round: bool


@dataclass(frozen=True, kw_only=True)
class Micromotion:
    """Interface motion |w(loaded) - w(seated)| at p points of the wall and a angles.

    `sliding_um` (p, a) is its part along the wall, `opening_um` (p, a) its part across, positive where
    the gap opens and negative where it closes; `held` (p,) marks native bone, `weight_mm2` (p,) area
    per radian. All statistics are over the held surface, weighted by area.
    """

    depth_mm: Floats
    radius_mm: Floats
    angles: Floats
    held: Bools
    weight_mm2: Floats
    sliding_um: Floats
    opening_um: Floats

    @property
    def total_um(self) -> Floats:
        """Total motion (p, a)."""
        return np.hypot(self.sliding_um, self.opening_um)

    @property
    def peak(self) -> Peak:
        """The largest motion on the held surface: the headline figure."""
        total = np.where(self.held[:, None], self.total_um, -1.0)
        # A corner of the wall is a point of both its edges, whose normals differ: the one with more area
        # decides what is sliding.
        ties = np.argwhere(total >= np.max(total) * (1 - 1e-9))
        i, j = max(ties, key=lambda tie: float(self.weight_mm2[tie[0]]))
        return Peak(
            total_um=float(total[i, j]),
            sliding_um=float(self.sliding_um[i, j]),
            opening_um=float(self.opening_um[i, j]),
            depth_mm=float(self.depth_mm[i]),
            radius_mm=float(self.radius_mm[i]),
            angle_deg=float(np.degrees(self.angles[j])),
            all_round=bool(np.ptp(total[i]) <= 1e-6 * total[i, j]),
        )

    @property
    def mean_um(self) -> float:
        """Area-weighted mean."""
        total, area = self._on_held()
        return float(np.average(total, weights=area))

    def percentile_um(self, percent: float) -> float:
        """Return the motion that `percent` of the held area does not exceed."""
        total, area = self._on_held()
        order = np.argsort(total)
        reached = np.cumsum(area[order]) / np.sum(area)
        index = min(int(np.searchsorted(reached, percent / 100)), len(order) - 1)
        return float(total[order[index]])

    def share_above(self, band_um: float) -> float:
        """Return the share of the held area that moves more than `band_um`."""
        total, area = self._on_held()
        return float(np.sum(area[total > band_um]) / np.sum(area))

    def _on_held(self) -> tuple[Floats, Floats]:
        total = self.total_um[self.held]
        area = np.broadcast_to(self.weight_mm2[self.held, None], total.shape)
        return total.ravel(), area.ravel()


@dataclass(frozen=True, kw_only=True)
class HeadMovement:
    """Movement of the implant's axis at a height, relative to the far bone, from seated to loaded.

    `lateral_um` towards θ = 0, where the lateral load points, `across_um` towards θ = 90°, `axial_um`
    into the bone, `rotation_deg` about the axis.
    """

    height_mm: float
    lateral_um: float
    axial_um: float
    rotation_deg: float
    across_um: float = 0.0

    @property
    def total_um(self) -> float:
        """Magnitude of the movement."""
        return float(np.linalg.norm([self.lateral_um, self.across_um, self.axial_um]))


def micromotion(seated: Seated, loaded: ContactState) -> Micromotion:
    """Return the interface motion from the seated to the loaded state."""
    layer = seated.layer
    change = loaded.w - loaded.fourier.embedded(seated.state.w)
    normal, along, theta = layer.local(loaded.fourier.values(change, MAP_ANGLES)) * UM_PER_MM
    return Micromotion(
        depth_mm=-layer.height_mm,
        radius_mm=layer.radius_mm,
        angles=MAP_ANGLES,
        held=layer.held,
        weight_mm2=layer.weight_mm2,
        sliding_um=np.hypot(along, theta),
        opening_um=-normal,
    )


def head_movement(seated: Seated, loaded: ContactState, resultant: Resultant) -> HeadMovement:
    """Return the movement of the axis at the load's height.

    Above the abutment's top the axis continues as a straight line (no load acts there).
    """
    site = seated.site
    basis, top, height = site.pair.implant.basis, site.solids.top_mm, resultant.height_mm
    change = loaded.elastic_w - loaded.fourier.embedded(seated.state.elastic_w)
    fields = implant_motion(site, change, resultant.on_sections(top))
    axisymmetric, turning, around, across = (fields[key] for key in LOADED)
    face = basis.mesh.p[:, np.abs(basis.mesh.p[1] - top) < AXIS_MM]
    rim = float(face[0].max())
    on_axis = basis.probes(np.array([[0.0], [min(height, top)]]))
    on_rim = basis.probes(np.array([[rim], [top]]))

    def shifted(field: Floats) -> float:
        tilt = -float((on_rim @ field[:, 2]).item()) / rim
        return float((on_axis @ field[:, 0]).item()) + tilt * max(height - top, 0.0)

    axial = -float((on_axis @ axisymmetric[:, 2]).item())
    twist = -float((on_rim @ turning[:, 1]).item()) / rim
    return HeadMovement(
        height_mm=height,
        lateral_um=shifted(around) * UM_PER_MM,
        across_um=shifted(across) * UM_PER_MM,
        axial_um=axial * UM_PER_MM,
        rotation_deg=float(np.degrees(twist)),
    )


@dataclass(frozen=True, kw_only=True)
class Reading:
    """The motions computed in one solve."""

    motion: Micromotion
    head: HeadMovement


def read(seated: Seated, loaded: ContactState, resultant: Resultant) -> Reading:
    """Return the micromotion and the head movement of a loaded state."""
    return Reading(motion=micromotion(seated, loaded), head=head_movement(seated, loaded, resultant))

"""Micromotion at the interface, head movement, and the balance of forces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as la

from stillroot.mechanics.condense import free_rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.loading import Resultant, Seated
    from stillroot.mechanics.site import Site

UM_PER_MM = 1000.0
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

    depth_mm: NDArray[np.float64]
    radius_mm: NDArray[np.float64]
    angles: NDArray[np.float64]
    held: NDArray[np.bool_]
    weight_mm2: NDArray[np.float64]
    sliding_um: NDArray[np.float64]
    opening_um: NDArray[np.float64]

    @property
    def total_um(self) -> NDArray[np.float64]:
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

    def _on_held(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
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
    basis = site.pair.implant.basis
    top = site.case.implant.abutment_height_mm
    height = resultant.height_mm
    on_sections = resultant.on_sections(top)
    change = loaded.w - loaded.fourier.embedded(seated.state.w)
    fields = implant_motion(site, change, on_sections)
    axisymmetric, turning, around = (fields[key] for key in LOADED_HARMONICS)
    face = basis.mesh.p[:, np.abs(basis.mesh.p[1] - top) < 1e-9]
    rim = float(face[0].max())
    on_axis = basis.probes(np.array([[0.0], [min(height, top)]]))
    on_rim = basis.probes(np.array([[rim], [top]]))

    def shifted(field: NDArray[np.float64]) -> float:
        tilt = -float((on_rim @ field[:, 2]).item()) / rim
        return float((on_axis @ field[:, 0]).item()) + tilt * max(height - top, 0.0)

    across = 0.0
    if min(change.shape[:2]) > 1:
        sections = resultant.across_sections(top) * acting_in(0, 1)
        across = shifted(recovered_implant(site, 1, change[1, 1].ravel(), sections))
    axial = -float((on_axis @ axisymmetric[:, 2]).item())
    twist = -float((on_rim @ turning[:, 1]).item()) / rim
    return HeadMovement(
        height_mm=height,
        lateral_um=shifted(around) * UM_PER_MM,
        across_um=across * UM_PER_MM,
        axial_um=axial * UM_PER_MM,
        rotation_deg=float(np.degrees(twist)),
    )


LOADED_HARMONICS = ((0, 0), (1, 0), (0, 1))
"""(family, harmonic) in which loads on the abutment's top act."""


def acting_in(family: int, n: int) -> NDArray[np.float64]:
    """Return which of the resultants (8,) act in a family and harmonic, as ones and zeros."""
    section = [n == 1, n == 1, (family, n) == (0, 0), (family, n) == (1, 0)]
    return np.array(section * 2, dtype=float)


def implant_motion(
    site: Site, change: NDArray[np.float64], on_sections: NDArray[np.float64]
) -> dict[tuple[int, int], NDArray[np.float64]]:
    """Return u, v, w (n, 3) [mm] of the implant's nodes, by (family, harmonic) of `LOADED_HARMONICS`.

    `change` (f, h, m, 3) is the change of w under the resultants `on_sections` (8,). By equation (8),
    u_i = (S_i + S_b)⁻¹ (f + S_b w) on the wall. Fields outside the expansion are zero.
    """
    families, harmonics = change.shape[:2]
    still = np.zeros((site.pair.implant.nodes_mm.shape[1], 3))
    return {
        (family, n): recovered_implant(
            site, n, change[family, n].ravel(), on_sections * acting_in(family, n)
        )
        if family < families and n < harmonics
        else still
        for family, n in LOADED_HARMONICS
    }


def section_motion(
    site: Site, change: NDArray[np.float64], on_sections: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the motion (8,) of the abutment's top, then of the section at the crest.

    For each: mean shift along θ = 0 [mm], tilt [rad], mean rise [mm], turn [rad], the motions conjugate
    to the resultants.
    """
    return np.sum(
        [
            acting_in(family, n) * (site.loaded[n].implant.loads.T @ field.ravel())
            for (family, n), field in implant_motion(site, change, on_sections).items()
        ],
        axis=0,
    )


def recovered_implant(
    site: Site, n: int, w: NDArray[np.float64], on_sections: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return u, v, w (n, 3) of the implant's nodes from the wall's w (3m,) and the loads (8,)."""
    harmonic = site.loaded[n]
    implant = harmonic.implant
    free = w[free_rows(site.series.expand[n])]
    wall = la.cho_solve(harmonic.bonded, implant.condensed @ on_sections + harmonic.bone_schur @ free)
    field = implant.body.recovered(wall, implant.loads @ on_sections, implant.interior)
    return field.reshape(-1, 3)


def resultant_of_tractions(layer: Layer, state: ContactState) -> NDArray[np.float64]:
    """Return the resultant on the bone (6,): F_x, F_y, F_z [N], M_x, M_y, M_z about the crest [N·mm].

    Summed from the tractions of the law, independently of the stiffness that they were solved with.
    """
    fourier = state.fourier
    f_r, f_t, f_z = np.moveaxis(layer.nodal_forces(state.tractions.traction), -1, 0)
    angles, (f_r, f_t, f_z) = _whole_circle(fourier.angles, np.stack([f_r, f_t, f_z]), fourier.twin)
    weight = 2 * np.pi / len(angles)
    r, z = layer.nodes_mm[:, :, None]
    cosine, sine = np.cos(angles), np.sin(angles)
    f_x, f_y = f_r * cosine - f_t * sine, f_r * sine + f_t * cosine
    x, y = r * cosine, r * sine
    parts = (f_x, f_y, f_z, y * f_z - z * f_y, z * f_x - x * f_z, x * f_y - y * f_x)
    return weight * np.array([np.sum(part) for part in parts])


def imbalance(
    layer: Layer, state: ContactState, resultant: Resultant, *, against: Resultant | None = None
) -> float:
    """Return the largest of the six components of (forces on the bone - load), relative to the load.

    Forces are divided by the largest component of the load (or of the load `against`), moments by that
    times the depth of the wall. Where no load acts, 1 N takes its place.
    """
    depth = float(np.max(-layer.nodes_mm[1]))
    scale = np.array([1.0] * 3 + [depth] * 3)
    left = resultant_of_tractions(layer, state) - resultant.six
    largest = float(np.max(np.abs((against or resultant).six) / scale))
    return float(np.max(np.abs(left) / scale)) / (largest or 1.0)


def _whole_circle(
    angles: NDArray[np.float64], parts: NDArray[np.float64], twin: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return angles (a,) and parts (3, m, a), r θ z, on the whole circle.

    Without the twin family the θ part is odd and the others are even. A single angle represents an
    axisymmetric field and is repeated.
    """
    if len(angles) == 1:
        count = 8
        return np.arange(count) * 2 * np.pi / count, np.repeat(parts, count, axis=2)
    if twin:
        return angles, parts
    mirrored = parts[:, :, ::-1] * np.array([1.0, -1.0, 1.0])[:, None, None]
    return (
        np.concatenate([angles, 2 * np.pi - angles[::-1]]),
        np.concatenate([parts, mirrored], axis=2),
    )

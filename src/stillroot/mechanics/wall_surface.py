"""The wall revolved round the axis: a surface in space with the motion and the tractions on it.

Motion is known at any angle, tractions only at the angles and Lobatto points where the law is evaluated.
Motion is therefore stored at the points of the surface, tractions and states in its cells. Each cell
lies in the part of the wall that one evaluation of the law represents, so that sums over cells equal the
integrals of the solution.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.interface import EDGE_POINTS
from stillroot.mechanics.motion import MAP_ANGLES
from stillroot.units import UM_PER_MM

if TYPE_CHECKING:
    from stillroot.arrays import Bools, Floats, Ints
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.interface import Tractions
    from stillroot.mechanics.seat import Seated

OPEN, STICK, SLIP = 0, 1, 2
"""States of the interface; glued points always stick."""
ALONG = np.array([0, 1, 3, 5, 6]) / 6
"""Points along an edge: its ends, its middle, and where the shares of its Lobatto points meet."""
POINT_OF_CELL = (0, 1, 1, 2)
"""The Lobatto point, of three, to which each of the four cells along an edge belongs."""
SHARE_OF_POINT = np.array([1.0, 0.5, 0.5, 1.0])
"""The share of that point's area in each cell."""
SECTORS_OF_ONE = 24
"""Sectors of an axisymmetric state, which has a single angle."""


@dataclass(frozen=True, kw_only=True)
class WallSurface:
    """Quadrilaterals on the wall, all round the axis: n points, c cells.

    `points_mm` (n, 3): x towards the lateral load, z out of the bone; each edge of the wall has points
    of its own, since the directions along and across the wall change from edge to edge. `cells` (c, 4):
    corners ordered right-handed about the normal out of the implant. From seated to loaded, (n,):
    `micromotion_um`, `sliding_um`, `opening_um`, negative where the gap closes. Under the load, (c,):
    `pressure_mpa`, `traction_mpa` (c, 3) of implant on bone along x, y, z, `state`, and `area_mm2`;
    `pressure_seated_mpa`: the pressure before it; `held`: True on native bone.
    """

    points_mm: Floats
    cells: Ints
    micromotion_um: Floats
    sliding_um: Floats
    opening_um: Floats
    pressure_mpa: Floats
    pressure_seated_mpa: Floats
    traction_mpa: Floats
    state: Ints
    area_mm2: Floats
    held: Bools


def wall_surface(seated: Seated, loaded: ContactState) -> WallSurface:
    """Return the wall under a load as a surface in space."""
    layer, fourier = seated.layer, loaded.fourier
    bounds = np.arange(_sectors(fourier)) * 2 * np.pi / _sectors(fourier)
    # The angles of the map are included, so the largest motion on the surface is the reported peak.
    angles = np.unique(np.round(np.concatenate([MAP_ANGLES, bounds]), 12))
    wide = np.diff(np.append(angles, 2 * np.pi))
    edges, count = len(layer.node) // EDGE_POINTS, len(angles)

    local = local_motion_um(seated, loaded, angles).reshape(3, edges, EDGE_POINTS, count)
    normal, along, theta = np.einsum("sq,ceqa->cesa", _quadratic(ALONG), local)
    sliding = np.hypot(along, theta)

    corners = layer.nodes_mm[:, layer.node].reshape(2, edges, EDGE_POINTS)
    first, last = corners[:, :, :1], corners[:, :, 2:]
    r, z = (first + (last - first) * ALONG)[..., None]
    points = np.stack(np.broadcast_arrays(r * np.cos(angles), r * np.sin(angles), z), axis=-1)

    index, mirrored = at_state(fourier, angles + 0.5 * wide)
    point = (EDGE_POINTS * np.arange(edges)[:, None] + POINT_OF_CELL).ravel()
    each = np.ix_(point, index)
    t = loaded.tractions
    weight = (layer.weight_mm2[point].reshape(edges, 4) * SHARE_OF_POINT).ravel()
    seat = seated.state.tractions.traction[0]
    seat_index, _ = at_state(seated.state.fourier, angles + 0.5 * wide)
    turned = np.where(mirrored, -1.0, 1.0)
    p, s = t.traction[0][each], t.traction[1][each]
    n_r, n_z = layer.normal[:, point, None]
    radial, upward, round_it = n_r * p - n_z * s, n_z * p + n_r * s, t.traction[2][each] * turned
    acts_at = (np.floor((angles + 0.5 * wide) / bounds[1]) + 0.5) * bounds[1]
    cosine, sine = np.cos(acts_at), np.sin(acts_at)
    traction = [radial * cosine - round_it * sine, radial * sine + round_it * cosine, upward]
    return WallSurface(
        points_mm=points.reshape(-1, 3),
        cells=_cells(corners, layer.normal[:, ::EDGE_POINTS], count),
        micromotion_um=np.hypot(sliding, normal).ravel(),
        sliding_um=sliding.ravel(),
        opening_um=-normal.ravel(),
        pressure_mpa=p.ravel(),
        pressure_seated_mpa=seat[np.ix_(point, seat_index)].ravel(),
        traction_mpa=np.stack(traction, axis=-1).reshape(-1, 3),
        state=states(t)[each].ravel(),
        area_mm2=np.outer(weight, wide).ravel(),
        held=np.repeat(layer.held[point], count),
    )


def local_motion_um(seated: Seated, loaded: ContactState, angles: Floats) -> Floats:
    """Return w(loaded) - w(seated) (3, p, a) [µm]: normal, along the wall, round the axis."""
    change = loaded.w - loaded.fourier.embedded(seated.state.w)
    return seated.layer.local(loaded.fourier.values(change, angles)) * UM_PER_MM


def states(t: Tractions) -> Ints:
    """Return `OPEN`, `STICK` or `SLIP` (p, a)."""
    return np.where(t.closed, np.where(t.sliding, SLIP, STICK), OPEN)


def at_state(fourier: Fourier, angles: Floats) -> tuple[Ints, Bools]:
    """Return the index in `fourier.angles` of the sector of each angle, and whether it is mirrored.

    Mirroring about the plane of the load reverses the components round the axis.
    """
    whole, count = _sectors(fourier), len(fourier.angles)
    sector = np.floor(angles * whole / (2 * np.pi)).astype(np.int64) % whole
    if count == 1:
        return np.zeros_like(sector), np.zeros(len(sector), dtype=bool)
    mirrored = sector >= count
    return np.where(mirrored, whole - 1 - sector, sector), mirrored


def angles_all_round(fourier: Fourier) -> Floats:
    """Return the angles [rad] at which the law is evaluated, those on the mirrored half included."""
    whole = _sectors(fourier)
    return (np.arange(whole) + 0.5) * 2 * np.pi / whole


def _sectors(fourier: Fourier) -> int:
    """Return the number of equal sectors into which the angles of the law divide the circle."""
    count = len(fourier.angles)
    if count == 1:
        return SECTORS_OF_ONE
    return count if fourier.twin else 2 * count


def _quadratic(at: Floats) -> Floats:
    """Return the shape functions (s, 3) of the first end, the middle and the second end of an edge."""
    return np.stack([(1 - at) * (1 - 2 * at), 4 * at * (1 - at), at * (2 * at - 1)], axis=1)


def _cells(corners: Floats, normal: Floats, count: int) -> Ints:
    """Return the cells (c, 4) between the points (edge, along, angle) of a surface."""
    edges = corners.shape[1]
    number = np.arange(edges * len(ALONG) * count).reshape(edges, len(ALONG), count)
    following = np.roll(number, -1, axis=2)
    cells = np.stack([number[:, :-1], number[:, 1:], following[:, 1:], following[:, :-1]], axis=-1)
    d_r, d_z = corners[:, :, 2] - corners[:, :, 0]
    inwards = d_r * normal[1] - d_z * normal[0] < 0
    cells[inwards] = cells[inwards][..., ::-1]
    return cells.reshape(-1, 4)

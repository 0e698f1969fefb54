"""The two parts of the head movement: motion at the wall, and the give of bone and implant.

At the wall the implant moves as the bone does plus the interface motion w. The rigid motion that fits w
best, by least squares over the held wall, is carried up to the head; the remainder is the elastic give
of bone and implant. Bending of the implant is not a rigid motion, so it counts as give.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.units import UM_PER_MM

if TYPE_CHECKING:
    from stillroot.arrays import Floats
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.motion import HeadMovement
    from stillroot.mechanics.seat import Seated

ANGLES = np.arange(24) * 2 * np.pi / 24
"""Enough for harmonics 0 and 1, the only ones in a rigid motion."""


@dataclass(frozen=True, kw_only=True)
class HeadParts:
    """Parts of the head movement [µm] along its own direction; their sum is the whole movement.

    A negative part opposes the movement.
    """

    interface_um: float
    give_um: float


def head_parts(seated: Seated, loaded: ContactState, head: HeadMovement) -> HeadParts:
    """Split a head movement into motion at the wall and the give of bone and implant."""
    change = loaded.w - loaded.fourier.embedded(seated.state.w)
    lateral, across, up = carried(seated.layer, loaded.fourier.values(change, ANGLES), head.height_mm)
    movement = np.array([head.lateral_um, head.across_um, -head.axial_um])
    along = float(np.array([lateral, across, up]) @ movement) * UM_PER_MM / head.total_um
    return HeadParts(interface_um=along, give_um=head.total_um - along)


def carried(layer: Layer, motion_mm: Floats, height_mm: float) -> Floats:
    """Return x, y, z (3,) [mm] at a height on the axis, of the rigid motion that fits the wall's best.

    `motion_mm` (m, a, 3) contains r, θ, z at the wall's nodes and at `ANGLES`. The rigid motion u = a +
    b × x minimises the integral of |u - motion|² over the held area.
    """
    values = motion_mm[layer.node]
    cosine, sine = np.cos(ANGLES), np.sin(ANGLES)
    u_x = values[..., 0] * cosine - values[..., 1] * sine
    u_y = values[..., 0] * sine + values[..., 1] * cosine
    wanted = np.stack([u_x, u_y, values[..., 2]], axis=-1)
    x, y = layer.radius_mm[:, None] * cosine, layer.radius_mm[:, None] * sine
    z = np.broadcast_to(layer.height_mm[:, None], x.shape)
    rows = np.zeros((*x.shape, 3, 6))
    rows[..., 0, 0] = rows[..., 1, 1] = rows[..., 2, 2] = 1.0
    rows[..., 1, 3], rows[..., 2, 3] = -z, y
    rows[..., 0, 4], rows[..., 2, 4] = z, -x
    rows[..., 0, 5], rows[..., 1, 5] = -y, x
    weight = np.sqrt(np.where(layer.held, layer.weight_mm2, 0.0))[:, None, None]
    system, right = rows * weight[..., None], wanted * weight
    stiff, *_ = np.linalg.lstsq(system.reshape(-1, 6), right.ravel())
    at_head: Floats = stiff[:3] + np.cross(stiff[3:], [0.0, 0.0, height_mm])
    return at_head

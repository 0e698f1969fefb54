"""What the head movement is made of: motion at the wall, and the give of bone and implant.

At the wall the implant moves as the bone there does and, on top of that, by the interface motion w. The
stiff body that follows w best, weighted by area over the held wall, carries that part up to the head;
what is left is the give of bone and implant. An implant that bends is not stiff: its bending counts as
give.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.motion import UM_PER_MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.loading import Seated
    from stillroot.mechanics.motion import HeadMovement

ANGLES = np.arange(24) * 2 * np.pi / 24
"""Enough for the harmonics 0 and 1, which is all that a stiff motion has."""


@dataclass(frozen=True, kw_only=True)
class HeadParts:
    """Parts of the head movement [µm] along its own direction; they add up to it.

    A part below 0 acts against it.
    """

    interface_um: float
    give_um: float


def head_parts(seated: Seated, loaded: ContactState, head: HeadMovement) -> HeadParts:
    """Split a head movement into what the wall does and what bone and implant do."""
    change = loaded.w - loaded.fourier.embedded(seated.state.w)
    lateral, across, up = carried(seated.layer, loaded.fourier.values(change, ANGLES), head.height_mm)
    movement = np.array([head.lateral_um, head.across_um, -head.axial_um])
    along = float(np.array([lateral, across, up]) @ movement) * UM_PER_MM / head.total_um
    return HeadParts(interface_um=along, give_um=head.total_um - along)


def carried(layer: Layer, motion_mm: NDArray[np.float64], height_mm: float) -> NDArray[np.float64]:
    """Return x, y, z (3,) [mm] at a height of the axis, of the stiff motion nearest to one of the wall.

    `motion_mm` (m, a, 3) is r, θ, z at the wall's nodes and at `ANGLES`. A stiff motion moves by a and
    turns by b, u = a + b × x; the sum of |u - motion|² over the held area is least.
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
    at_head: NDArray[np.float64] = stiff[:3] + np.cross(stiff[3:], [0.0, 0.0, height_mm])
    return at_head

"""Insertion torque, from the seating pressure.

While the implant is turned in, friction at every held point acts round the axis, so

    T = ∫ µ p r dA                                                                        (14)

over the held surface, thread flanks and end included. The path is a helix of lead angle λ, tan λ =
pitch/(2π r), and only cos λ of the friction acts round the axis: the difference is less than 1 % at
implant proportions and is neglected (`lead_angle_deg` gives λ). Thread cutting and the speed of turning
are not part of (14).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq

from stillroot.mechanics.interface import EDGE_POINTS
from stillroot.mechanics.seat import turned_in
from stillroot.mechanics.wall_law import layer_of
from stillroot.units import NMM_PER_NCM

if TYPE_CHECKING:
    from stillroot.arrays import Bools
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.seat import Seated
    from stillroot.mechanics.site import Site
    from stillroot.mechanics.wall_law import WallLaw

LARGEST_INTERFERENCE_UM = 500.0
"""The largest that a case may state."""
FIRST_INTERFERENCE_UM, BEYOND = 10.0, 1.2
"""Where the search for an interference begins, and the factor by which it aims beyond the torque."""
AT_LIMIT = -1e-9
"""The slack at which a pressure that a solve has limited counts as at its limit."""
TORQUE_TOLERANCE = 1e-4
"""Relative tolerance of the torque that the interference found gives."""


@dataclass(frozen=True, kw_only=True)
class Torque:
    """The torque that turns the implant [N·cm].

    `insertion_ncm`: during insertion, by friction and any stated cutting; `removal_ncm`: with the
    retained pressure; `share_crushed`: the share of the held surface at its limit.
    """

    friction_ncm: float
    cutting_ncm: float
    removal_ncm: float
    share_crushed: float
    mean_pressure_mpa: float
    lead_angle_deg: float | None

    @property
    def insertion_ncm(self) -> float:
        """Friction and cutting together."""
        return self.friction_ncm + self.cutting_ncm


def torque_of(
    seated: Seated, *, cutting_ncm: float = 0.0, pitch_mm: float | None = None
) -> Torque | None:
    """Return the torque of a seated implant; None where it is glued and cannot turn.

    `cutting_ncm` is the part of it that cuts the thread, `pitch_mm` that of the thread, if it has one.
    """
    layer = seated.inserting
    if not np.any(layer.one_sided):
        return None
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    pressure = seated.inserted.tractions.traction[0, :, 0]
    radius = float(np.average(layer.radius_mm, weights=area))
    lead = None if pitch_mm is None else float(np.degrees(np.arctan(pitch_mm / (2 * np.pi * radius))))
    return Torque(
        friction_ncm=friction_torque_ncm(layer, seated.inserted),
        cutting_ncm=cutting_ncm,
        removal_ncm=friction_torque_ncm(seated.layer, seated.state),
        share_crushed=share_crushed(seated, seated.inserted, slack=AT_LIMIT),
        mean_pressure_mpa=float(np.average(pressure, weights=area)),
        lead_angle_deg=lead,
    )


def crushed(seated: Seated, state: ContactState, *, slack: float = 1e-6) -> Bools:
    """Return at which points of the wall and angles (p, a) the bone is at its limit.

    There the bone beside has yielded; of linear bone, the pressure exceeds the crushing pressure by more
    than the share `slack` of it.
    """
    layer, bone = seated.inserting, seated.site.bone
    if bone is None or state.bone is None:
        return np.asarray(state.tractions.traction[0] > layer.crush_mpa[:, None] * (1 + slack))
    return np.repeat(bone.yielded_beside(state.bone), EDGE_POINTS, axis=0)


def share_crushed(seated: Seated, state: ContactState, *, slack: float = 1e-6) -> float:
    """Return the share of the held surface at its limit, see `crushed`."""
    layer, over = seated.inserting, crushed(seated, state, slack=slack)
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    return float(np.sum(area * over.mean(axis=1)) / np.sum(area))


def friction_torque_ncm(layer: Layer, state: ContactState) -> float:
    """Evaluate equation (14) for an axisymmetric state."""
    pressure = np.where(layer.held, state.tractions.traction[0, :, 0], 0.0)
    moment = layer.friction * np.sum(pressure * layer.weight_mm2 * layer.radius_mm)
    return float(2 * np.pi * moment / NMM_PER_NCM)  # (14)


class TorqueOutOfReach(Exception):  # noqa: N818
    """No interference up to `LARGEST_INTERFERENCE_UM` gives a torque; `most_ncm` is the most."""

    def __init__(self, most_ncm: float) -> None:
        super().__init__(most_ncm)
        self.most_ncm = most_ncm


def interference_for_torque_um(site: Site, law: WallLaw, friction_ncm: float) -> float:
    """Return the interference [µm] whose friction gives a torque.

    Raises
    ------
    TorqueOutOfReach
        No interference up to `LARGEST_INTERFERENCE_UM` gives it.
    NotConverged
        Turning it in finds no equilibrium.
    """
    known = {0.0: -friction_ncm}  # brentq asks again for both ends

    def excess(interference_um: float) -> float:
        if interference_um not in known:
            layer = layer_of(site, law, interference_um)
            torque = friction_torque_ncm(layer, turned_in(site, layer))
            known[interference_um] = torque - friction_ncm
        return known[interference_um]

    low, high = 0.0, FIRST_INTERFERENCE_UM
    while (beyond := excess(high)) < 0:
        if high == LARGEST_INTERFERENCE_UM:
            raise TorqueOutOfReach(friction_ncm + beyond)
        # Torque grows with interference, first in proportion and then more slowly.
        grown = high * BEYOND * friction_ncm / (friction_ncm + beyond)
        low, high = high, min(max(grown, BEYOND * high), LARGEST_INTERFERENCE_UM)
    return float(brentq(excess, low, high, xtol=1e-3, rtol=TORQUE_TOLERANCE))

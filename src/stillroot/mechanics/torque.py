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

from stillroot.errors import CaseError
from stillroot.inputs.case_messages import at_least, at_most
from stillroot.mechanics.loading import seat

if TYPE_CHECKING:
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.loading import Seated
    from stillroot.mechanics.site import Site

NMM_PER_NCM = 10.0
LARGEST_INTERFERENCE_UM = 500.0
"""The largest that a case may state."""
TORQUE_TOLERANCE = 1e-4
"""Relative tolerance of the torque that the interference found gives."""


@dataclass(frozen=True, kw_only=True)
class Torque:
    """The torque that turns the implant [N·cm].

    `insertion_ncm`: during insertion, by friction and any stated cutting; `removal_ncm`: with the
    retained pressure; `share_crushed`: the share of the held surface at the crushing pressure.
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


def torque_of(seated: Seated) -> Torque | None:
    """Return the torque of a seated implant; None where it is glued and cannot turn."""
    layer = seated.inserting
    if not np.any(layer.one_sided):
        return None
    face, thread = seated.site.case.interface, seated.site.case.implant.thread
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    pressure = seated.inserted.tractions.traction[0, :, 0]
    crushed = pressure >= layer.crush_mpa * (1 - 1e-9)
    radius = float(np.average(layer.radius_mm, weights=area))
    lead = np.degrees(np.arctan(thread.pitch_mm / (2 * np.pi * radius)))
    return Torque(
        friction_ncm=friction_torque_ncm(layer, seated.inserted),
        cutting_ncm=face.cutting_torque_ncm,
        removal_ncm=friction_torque_ncm(seated.layer, seated.state),
        share_crushed=float(np.sum(area[crushed]) / np.sum(area)),
        mean_pressure_mpa=float(np.average(pressure, weights=area)),
        lead_angle_deg=None if thread.form == "none" else float(lead),
    )


def share_over_crush(seated: Seated, state: ContactState) -> float:
    """Return the share of the held surface whose pressure exceeds the crushing pressure."""
    layer = seated.inserting
    area = np.where(layer.held, layer.weight_mm2, 0.0)
    over = state.tractions.traction[0] > layer.crush_mpa[:, None] * (1 + 1e-6)
    return float(np.sum(area * over.mean(axis=1)) / np.sum(area))


def friction_torque_ncm(layer: Layer, state: ContactState) -> float:
    """Evaluate equation (14) for an axisymmetric state."""
    pressure = np.where(layer.held, state.tractions.traction[0, :, 0], 0.0)
    moment = layer.friction * np.sum(pressure * layer.weight_mm2 * layer.radius_mm)
    return float(2 * np.pi * moment / NMM_PER_NCM)


def interference_for_torque_um(site: Site) -> float:
    """Return the interference [µm] that gives the measured torque.

    Raises
    ------
    CaseError
        No interference up to `LARGEST_INTERFERENCE_UM` gives it; the message states the range.
    NotConverged
        Seating finds no equilibrium.
    """
    face = site.case.interface
    wanted = (face.measured_torque_ncm or 0.0) - face.cutting_torque_ncm

    def excess(interference_um: float) -> float:
        layer = site.layer(interference_um=interference_um)
        seated = seat(site, layer)
        return friction_torque_ncm(layer, seated.inserted) - wanted

    most = excess(LARGEST_INTERFERENCE_UM)
    if most < 0:
        low, high = face.cutting_torque_ncm, wanted + most + face.cutting_torque_ncm
        text = (
            f"interface.measured_torque_ncm = {face.measured_torque_ncm:g}: no interference gives "
            f"this in the bone and friction stated; 0 to {LARGEST_INTERFERENCE_UM:g} µm give "
            f"{at_least(low)} to {at_most(high)} N·cm, where the bone crushes. Lower it, or look again "
            "at friction, moduli and holds"
        )
        raise CaseError(text, key="interface.measured_torque_ncm")
    return float(brentq(excess, 0.0, LARGEST_INTERFERENCE_UM, xtol=1e-3, rtol=TORQUE_TOLERANCE))

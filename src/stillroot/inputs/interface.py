"""Where and how the implant touches bone, as stated in a case: the socket and the interface."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from stillroot.inputs.materials import GAP_FILL_MPA
from stillroot.inputs.quantities import (  # noqa: TC001 - read by pydantic
    LeastLength,
    Modulus,
    NotNegative,
    Pair,
    Pairs,
    Positive,
)
from stillroot.inputs.section import ASSUMPTION, Problems, Section, Unused, key, sound

LEAST_HOLD_MM = 0.2
"""Shortest hold: one default element."""
LEAST_LAYER_RATIO = 1e-6
FRICTIONAL_KEYS = (
    "friction",
    "interference_um",
    "measured_torque_ncm",
    "cutting_torque_ncm",
    "retained_pressure",
)
"""Keys of [interface] that are not used with kind = "bonded"."""


def _holds_problem(holds: tuple[Pair, ...]) -> str:
    if not holds:
        return "leaves an engagement of zero; at least one hold is needed"
    for top, bottom in holds:
        if top < 0:
            return f"hold [{top:g}, {bottom:g}] lies above the crest; depths are positive down"
        if bottom - top < LEAST_HOLD_MM - 1e-9:
            return f"hold [{top:g}, {bottom:g}] must be {LEAST_HOLD_MM:g} mm long or more, top first"
    for (top, bottom), (next_top, next_bottom) in pairwise(holds):
        if next_top < bottom:
            return (
                f"holds [{top:g}, {bottom:g}] and [{next_top:g}, {next_bottom:g}] overlap or are out of "
                "order; each must begin at or below the end of the one above"
            )
    return ""


class Socket(Section):
    """Where the implant bears on native bone, and what surrounds it elsewhere."""

    holds_mm: Annotated[Pairs, sound(_holds_problem)] = key(
        source=ASSUMPTION,
        shown="the whole length of the implant",
        description="Holds: [top, bottom] depths below the crest where the implant bears on native "
        f"bone, in order of depth, each at least {LEAST_HOLD_MM:g} mm long.",
    )
    gap_width_mm: LeastLength = key(0.5, ASSUMPTION, typical="0.25 to 2 mm")
    """Width of the gap outside the holds, from the thread crests to the socket wall."""
    gap_modulus_mpa: Modulus | None = key(None)
    """Young's modulus of the gap's fill, in place of gap_fill."""
    gap_fill: Literal["empty", "clot", "graft"] | None = key(
        lambda data: "clot" if data["gap_modulus_mpa"] is None else None,
        ASSUMPTION,
        shown='"clot", where gap_modulus_mpa is not given',
    )
    """What fills the gap. empty: nothing; clot: 1 MPa, the parametric early callus of Ghiasi et al.
    2019, doi 10.1186/s12891-019-2854-z; graft: 10 MPa, an assumption."""

    @property
    def gap_filled(self) -> bool:
        """Whether an elastic filling occupies the gap."""
        return self.gap_fill != "empty"

    @property
    def gap_stiffness_mpa(self) -> float:
        """Young's modulus of the gap fill; 0 where the gap is empty."""
        if self.gap_modulus_mpa is not None:
            return self.gap_modulus_mpa
        return GAP_FILL_MPA[self.gap_fill or "clot"]

    def _problems(self) -> Problems:
        if self.gap_modulus_mpa is not None and self.gap_fill is not None:
            yield "gap_fill", "is not used with gap_modulus_mpa; give one of the two"


class Interface(Section):
    """The interface between implant and native bone.

    With kind = "bonded", `friction` and `interference_um` are 0 and not used.
    """

    kind: Literal["frictional", "bonded"] = key(
        "frictional", "assumption: the tool is about fresh implants"
    )
    """frictional: freshly placed, pressure and friction, no tension; bonded: the healed bound."""
    friction: float = key(
        lambda data: 0.0 if data["kind"] == "bonded" else 0.4,
        "about 0.40, wet trabecular bone on titanium: Grant et al. 2007, J Biomech 40:1158-1164, read "
        "in a later paper that cites it",
        shown="0.4",
        typical="0.3 to 1",
        ge=0,
        le=2,
    )
    """Coefficient of friction; 0 is a loose fit. Not with bonded."""
    interference_um: float = key(
        lambda data: 0.0 if data["kind"] == "bonded" else 5.0,
        "assumption: it gives ordinary torques, 10 to 80 N·cm, in ordinary bone",
        shown="5",
        typical="0 to 100 µm",
        ge=0,
        le=500,
    )
    """Radial interference of implant and drilled hole. Not with bonded."""
    measured_torque_ncm: Positive | None = key(None, typical="10 to 80 N·cm")
    """Insertion torque that was read, in place of interference_um: the interference that gives it is
    found. Only frictional."""
    cutting_torque_ncm: NotNegative = key(0.0, ASSUMPTION)
    """Part of the insertion torque that cut the thread; the model has friction alone."""
    retained_pressure: float = key(1.0, "assumption: loads at placement", typical="0.5 to 1", ge=0, le=1)
    """Share of the seating pressure that is left when the loads act; 1 at placement. Bovine trabecular
    cores, compressed and held at constant strain, lost up to 53 % of their stress in the first 10 min
    (Gersie et al. 2024, J Mech Behav Biomed Mater 152:106434); no press fit was measured."""
    layer_thickness_mm: float = key(0.1, ASSUMPTION, ge=0, le=1)
    """Thickness of the torn layer of the bone; 0 is hard contact."""
    layer_modulus_ratio: float = key(0.1, ASSUMPTION, ge=LEAST_LAYER_RATIO, le=1)
    """Modulus of that layer over that of the bone beside it; without effect where the thickness is 0."""

    def _unused(self) -> Unused:
        """Return the keys that are for contact alone, or the interference where a torque gives it."""
        if self.kind == "bonded":
            return dict.fromkeys(FRICTIONAL_KEYS, 'is not used with kind = "bonded"; leave it out')
        return {} if self.measured_torque_ncm is None else {"interference_um": ""}

    def _problems(self) -> Problems:
        measured = self.measured_torque_ncm
        if measured is None or self.kind == "bonded":
            return
        if "interference_um" in self.model_fields_set:
            yield "measured_torque_ncm", "is not used with interference_um; give one of the two"
        if self.friction == 0:
            yield "friction", "must be above 0: without friction there is no torque"
        if self.cutting_torque_ncm >= measured:
            text = f"must be below measured_torque_ncm ({measured:g} N·cm), of which it is a part"
            yield "cutting_torque_ncm", text

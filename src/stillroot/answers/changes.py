"""What could be different in a case, one thing at a time: levers, and other modelling choices.

Both are lists of keys with other values; nothing is solved here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stillroot.errors import CaseError
from stillroot.inputs.vary import with_keys
from stillroot.mechanics.outline import gaps_between
from stillroot.units import NMM_PER_NCM

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stillroot.inputs.case import Case

LIGHTER = 0.75
LOWER_MM, LONGER_MM, WIDER_MM, HELD_MM, CORTEX_MM = 2.0, 2.0, 0.5, 1.0, 0.5
STIFFER = 1.5
"""Sizes of the levers: what a plan can change, or how far an input is not known. Assumption."""
NARROW_MM = 8.0
"""Distance beside the implant at which bone may end: about a ridge and its neighbours. Assumption."""
RELAXED = 0.47
"""Share of the stress left after 10 minutes, at the largest loss measured, in bovine trabecular cores
compressed and held at constant strain: Gersie et al. 2024, J Mech Behav Biomed Mater 152:106434. No
press fit was measured; that the seating pressure relaxes alike is an assumption."""
FIRST_YIELD = 0.7
"""Share of its strength at which trabecular bone first yields: as `inputs.strength`."""
AFTER_YIELD = {0.0: "bears no more after yield", 0.05: "bears more after yield, by 5 % of its modulus"}
"""Bounds of the modulus after yield: what bears no more, and 5 %, usual in models of bone tissue (from
memory)."""
LARGEST_LAYER_MM, LARGEST_INTERFERENCE_UM = 1.0, 500.0
"""The largest that a case may state."""


@dataclass(frozen=True)
class Change:
    """One thing of a case, changed: other values of some keys, named as by `inputs.vary`.

    The `subject` of a lever is `PLANNED` where it can be decided, and `ROUGH` where it is known only
    roughly; that of an alternative is what was chosen.
    """

    subject: str
    text: str
    keys: Mapping[str, Any]

    def applied_to(self, case: Case) -> Case:
        """Return the changed case.

        Raises
        ------
        CaseError
            The change goes beyond what a case allows.
        """
        return with_keys(case, self.keys)


def levers(case: Case) -> tuple[Change, ...]:
    """Return the levers of a case, without those beyond its limits.

    Those that reuse most of what is solved come first: loads, then moduli, then shapes.
    """
    found = _changes(*_of_the_loads(case), *_of_the_unknown(case), *_of_the_shape(case))
    return tuple(change for change in found if _is_allowed(change, case))


def _is_allowed(change: Change, case: Case) -> bool:
    try:
        change.applied_to(case)
    except CaseError:
        return False
    return True


PLANNED, ROUGH = "what a plan can change", "what is known only roughly"
"""Subjects of levers."""
Row = tuple[bool, str, str, dict[str, Any]]
"""Whether a change applies to a case, its subject, its text, and its keys."""


def _changes(*rows: Row) -> tuple[Change, ...]:
    return tuple(Change(subject, text, keys) for applies, subject, text, keys in rows if applies)


def _of_the_loads(case: Case) -> tuple[Row, ...]:
    tilts = [load for load in case.loads if load.components[1]]
    lower = any(load.height_mm >= LOWER_MM for load in tilts)
    return (
        (True, PLANNED, "loads a quarter less", {"load_factor": LIGHTER}),
        (bool(tilts), PLANNED, "half of each sideways force", {"loads": _loads(case, lateral=0.5)}),
        (lower, PLANNED, f"loads {LOWER_MM:g} mm lower", {"loads": _loads(case, lower_mm=LOWER_MM)}),
    )


def _loads(case: Case, *, lateral: float = 1.0, lower_mm: float = 0.0) -> list[dict[str, Any]]:
    """Return the loads by components, with a share of each sideways force, and lower above the crest."""
    return [
        {
            "name": load.name,
            "height_mm": max(load.height_mm - lower_mm, 0.0),  # an axial load has no lever
            "axial_n": load.components[0],
            "lateral_n": lateral * load.components[1],
            "torque_ncm": load.components[2] / NMM_PER_NCM,
        }
        for load in case.loads
    ]


def _of_the_unknown(case: Case) -> tuple[Row, ...]:
    face = case.interface
    fits = face.kind == "frictional" and face.measured_torque_ncm is None and face.interference_um > 0
    key, modulus = "interface.interference_um", "trabecular_factor"
    return (
        (fits, ROUGH, "no interference", {key: 0.0}),
        (fits, ROUGH, "twice the interference", {key: 2 * face.interference_um}),
        (True, ROUGH, f"trabecular bone {STIFFER:g} times as stiff", {modulus: STIFFER}),
        (True, ROUGH, "trabecular bone two thirds as stiff", {modulus: 1 / STIFFER}),
    )


def _of_the_shape(case: Case) -> tuple[Row, ...]:
    implant, holds = case.implant, [list(hold) for hold in case.socket.holds_mm]
    cortex, key = case.bone.cortical_thickness_mm, "bone.cortical_thickness_mm"
    one = len(holds) == 1
    # Its free end moves; an end at the crest stays.
    end = "engagement_from_crest_mm" if holds[0][0] == 0 else "engagement_mm"
    held = case.engagement_length_mm
    drawn = implant.outline_mm is not None
    at_tip = abs(holds[-1][1] - implant.length_mm) < 1e-9  # a free tip would bear no more if longer
    longer = {
        "implant.length_mm": implant.length_mm + LONGER_MM,
        "socket.holds_mm": [*holds[:-1], [holds[-1][0], holds[-1][1] + LONGER_MM]],
    }
    wider = {"implant.diameter_mm": implant.diameter_mm + WIDER_MM}
    return (
        (cortex > 0, ROUGH, f"cortex {CORTEX_MM:g} mm thicker", {key: cortex + CORTEX_MM}),
        (cortex > CORTEX_MM, ROUGH, f"cortex {CORTEX_MM:g} mm thinner", {key: cortex - CORTEX_MM}),
        (one, ROUGH, f"held over {HELD_MM:g} mm more", {end: held + HELD_MM}),
        (one, ROUGH, f"held over {HELD_MM:g} mm less", {end: held - HELD_MM}),
        (not drawn and at_tip, PLANNED, f"implant {LONGER_MM:g} mm longer, held there too", longer),
        (not drawn, PLANNED, f"implant {WIDER_MM:g} mm wider", wider),
    )


def alternatives(case: Case) -> tuple[Change, ...]:
    """Return the alternatives to the choices made in a case."""
    return _changes(
        *_of_the_layer(case), *_of_the_wall(case), *_of_the_bone(case), *_of_the_surroundings(case)
    )


def _of_the_bone(case: Case) -> tuple[Row, ...]:
    law, after, subject = "bone.law", "bone.strength.hardening", "bone"
    yields, strength = case.bone.law == "yields", case.bone.strength
    key, factor = "bone.strength.factor", FIRST_YIELD * strength.factor
    return (
        (not yields, subject, "yields", {law: "yields"}),
        (yields, subject, "linear: never yields", {law: "linear"}),
        *(
            (yields and strength.hardening != value, subject, text, {after: value})
            for value, text in AFTER_YIELD.items()
        ),
        (yields, subject, f"yields at {FIRST_YIELD:g} of its strength", {key: factor}),
    )


def _of_the_layer(case: Case) -> tuple[Row, ...]:
    subject, thick = "torn layer", case.interface.layer_thickness_mm
    key, ratio = "interface.layer_thickness_mm", "interface.layer_modulus_ratio"
    thicker, there = min(2 * thick, LARGEST_LAYER_MM), thick > 0
    return (
        (not there, subject, "0.1 mm thick, a tenth of the modulus", {key: 0.1, ratio: 0.1}),
        (there, subject, "half as thick (or twice as stiff)", {key: thick / 2}),
        (there, subject, "twice as thick (or half as stiff)", {key: thicker}),
        (there, subject, "none: hard contact", {key: 0.0}),
    )


def _of_the_wall(case: Case) -> tuple[Row, ...]:
    face = case.interface
    rubs = face.kind != "bonded"
    free = rubs and face.measured_torque_ncm is None
    fit, kept = "interface.interference_um", "interface.retained_pressure"
    twice = min(2 * face.interference_um, LARGEST_INTERFERENCE_UM)
    relaxes = rubs and face.retained_pressure > RELAXED
    return (
        *(
            (rubs and value != face.friction, "friction", f"{value:g}", {"interface.friction": value})
            for value in (0.3, 0.68)
        ),
        (free, "interference", "none", {fit: 0.0}),
        (free and face.interference_um > 0, "interference", f"{twice:g} µm", {fit: twice}),
        (relaxes, "seating pressure", f"{RELAXED:.0%} left", {kept: RELAXED}),
    )


def _of_the_surroundings(case: Case) -> tuple[Row, ...]:
    implant, socket, bone = case.implant, case.socket, case.bone
    has_gap = bool(gaps_between(socket.holds_mm, implant.length_mm))
    support, base_too = "support of the bone", bone.support == "all_round"
    radius = implant.diameter_mm / 2 + NARROW_MM + (socket.gap_width_mm if has_gap else 0.0)
    narrow = f"fixed {NARROW_MM:g} mm beside the implant"
    is_threaded = implant.outline_mm is None and implant.thread.form != "none"
    start = implant.thread.first_mm + implant.thread.pitch_mm / 2
    return (
        *(
            (has_gap and fill != socket.gap_fill, "fill of the gap", fill, {"socket.gap_fill": fill})
            for fill in ("empty", "clot", "graft")
        ),
        (base_too, support, "base fixed alone", {"bone.support": "base"}),
        (not base_too, support, "side and base fixed", {"bone.support": "all_round"}),
        (bone.radius_mm is None, support, narrow, {"bone.radius_mm": radius}),
        (
            is_threaded,
            "rings for a helix",
            "half a pitch deeper",
            {"implant.thread.start_mm": start},
        ),
    )

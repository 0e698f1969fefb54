"""Answers as plain data for JSON: for each kind a table of keys, and of where their values stand.

Nothing is computed here. docs/schemas describes the output.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.explained import as_explained
from stillroot.answers.wording import CAUTION, NO_LINE
from stillroot.units import NMM_PER_NCM
from stillroot.words.directions import LIMITS, in_words
from stillroot.words.ranges import limits_of, opening
from stillroot.words.span_document import limits, sentence
from stillroot.words.torques import TORQUE_IS_ONE, TORQUE_LEAVES_OUT

if TYPE_CHECKING:
    from stillroot.answers.explained import Explained, Range
    from stillroot.answers.result import CheckResult, DirectionsResult, LoadAnswer
    from stillroot.arch.span import SpanLoadAnswer, SpanResult
    from stillroot.arch.span_vary import Variation

Rule = str | Callable[[Any], Any] | Mapping[str, Any]
"""Where a value stands: a dotted path from an item, a function of it, or rules for a part of the output.

What stands behind None on a path is None.
"""
Rules = Mapping[str, Rule]


def plain(item: Any, rules: Rules) -> dict[str, Any]:
    """Return an item as plain data, by a table of rules."""
    return {key: _value(item, rule) for key, rule in rules.items()}


def same(*names: str, of: str = "") -> dict[str, str]:
    """Return rules for keys that are named as attributes are, of the item or of a part of it."""
    return {name: f"{of}.{name}" if of else name for name in names}


def each(path: str, rules: Rules) -> Callable[[Any], list[dict[str, Any]]]:
    """Return the rule for a list of parts, each by the same rules."""
    return lambda item: [plain(part, rules) for part in _at(item, path)]


def if_borne(path: str) -> Callable[[Any], Any]:
    """Return the rule for what is None where the implant gives way under the load."""
    return lambda load: _at(load, path) if load.gives_way_at is None else None


def where_there_is(path: str, rules: Rules) -> Callable[[Any], dict[str, Any] | None]:
    """Return the rule for what is None where a part of the item is; its rules start from the item."""
    return lambda item: None if _at(item, path) is None else plain(item, rules)


def _value(item: Any, rule: Rule) -> Any:
    if isinstance(rule, Mapping):
        return plain(item, rule)
    value = _at(item, rule) if isinstance(rule, str) else rule(item)
    if isinstance(value, np.ndarray):
        return value.tolist()
    return list(value) if isinstance(value, tuple) else value


def _at(item: Any, path: str) -> Any:
    for name in path.split("."):
        item = None if item is None else getattr(item, name)
    return item


CASE: Rules = {
    "case": lambda it: it.case.to_dict(),
    "case_fingerprint": lambda it: it.case.fingerprint(),
    "versions": "versions",
}

# --- A case -------------------------------------------------------------------------------------------

TORQUE: Rules = {
    **same("friction_ncm", "cutting_ncm", "removal_ncm", of="torque"),
    "interference_um": "interference_um",
    "interference_found_from_torque": lambda it: it.case.interface.measured_torque_ncm is not None,
    **same("share_crushed", "mean_pressure_mpa", "lead_angle_deg", of="torque"),
    "left_out": lambda _: TORQUE_LEAVES_OUT,
}
CYCLE = same("peak_um", "head_um", "remaining_peak_um", "remaining_head_um")
CURVE = {"share_of_load": "shares", **same("peak_um", "head_um")}
LOAD: Rules = {
    "name": "name",
    **same("axial_n", "lateral_n", of="resultant"),
    "torque_ncm": lambda it: it.resultant.torque_nmm / NMM_PER_NCM,
    "height_mm": "resultant.height_mm",
    "peak_micromotion_um": if_borne("peak.total_um"),
    "gives_way_at": "gives_way_at",
    "remaining_um": {"peak": "remaining.remaining_peak_um", "head": "remaining.remaining_head_um"},
    **same("sliding_um", "opening_um", of="peak"),
    "mean_micromotion_um": "micromotion.mean_um",
    "p95_micromotion_um": lambda it: it.micromotion.percentile_um(95),
}
OF_A_LOAD: Rules = {
    "peak_at": {
        "depth_mm": lambda it: it.peak.depth_mm + 0.0,
        **same("radius_mm", "angle_deg", "all_round", of="peak"),
    },
    "head_movement_um": {part: f"head.{part}_um" for part in ("lateral", "across", "axial", "total")},
    "head_rotation_deg": "head.rotation_deg",
    "band": "band",
    "error_um": if_borne("error.total_um"),
    "error_parts_um": if_borne("error.parts_um"),
    "head_error_um": if_borne("head_error.total_um"),
    "head_error_parts_um": if_borne("head_error.parts_um"),
    "share_over_crush": "share_over_crush",
    "bone_strain": same("compressive", "tensile", "past_yield_mm3", "plastic", of="bone_strain"),
    "yielded_mm3": "bone_strain.yielded_mm3",
    "cycles": each("cycles", CYCLE),
    "growth_dies_out": "growth_dies_out",
    "load_curves": lambda it: {
        name: plain(it.curves[k], CURVE) if k < len(it.curves) else None
        for k, name in enumerate(("bone", "linear_bone"))
    },
    "equilibrium_residual": "balance",
    "load_steps": "steps",
}
DIRECTION: Rules = {
    **same("name", "stiffness", "secant_stiffness", "unit"),
    "reference_load": "load",
    "reference_unit": "load_unit",
    "micromotion_um": "micromotion.peak.total_um",
    "head_movement_um": "head.total_um",
    "head_rotation_deg": "head.rotation_deg",
    "state": "state",
}
SIX: Rules = {
    "summary": lambda it: in_words(it.six),
    "reference_height_mm": "six.height_mm",
    "directions": each("six.directions", DIRECTION),
}


def _loads(it: Explained) -> list[dict[str, Any]]:
    bands = it.answer.case.threshold.bands_um

    def above(load: LoadAnswer) -> dict[str, float]:
        return {f"{band:g}": load.micromotion.share_above(band) for band in bands}

    told = [plain(load, {**LOAD, "share_above": above, **OF_A_LOAD}) for load in it.answer.loads]
    ranges = it.ranges.loads if it.ranges else (None,) * len(told)
    return [
        {**load, **plain(its, RANGE)} if its else {**load, **dict.fromkeys(RANGE)}
        for load, its in zip(told, ranges, strict=True)
    ]


def _by_load(path: str, rules: Rules, key: str, values: str) -> Callable[[Explained], Any]:
    """Return the rule for a list whose parts have a value for each load, by the name of the load."""

    def told(it: Explained) -> list[dict[str, Any]]:
        names = [load.name for load in it.answer.loads]
        every: Rules = {
            **rules,
            key: lambda part: dict(zip(names, _at(part, values), strict=True)),
            "no_answer_because": "reason",
        }
        return [plain(part, every) for part in _at(it, path)]

    return told


RANGE: Rules = {
    "range_um": {"peak": lambda its: _ends(its.peak_um), "head": lambda its: _ends(its.head_um)},
    "range_in_bands": lambda its: [{"band": band, "share": share} for band, share in its.bands],
    "gives_way_in": "gives_way",
}


def _ends(of: Range | None) -> list[float | None] | None:
    return None if of is None else [of.low, of.high]


OPEN: Rules = {
    **same("key", "source"),
    "range": "in_words",
    "share_of_spread": "share",
    "peak_range_if_known_um": lambda one: _ends(one.narrowed),
}
LEFT_OPEN: Rules = {"inputs": each("ranges.inputs", OPEN), "counted": "ranges.counted"}
CHOICE: Rules = {"subject": "subject", "instead": "text"}
LEVER: Rules = {"change": "text", "by_plan": "by_plan"}


def check_data(result: CheckResult | Explained) -> dict[str, Any]:
    """Return an answer as plain data; docs/result.md describes the keys."""
    it = as_explained(result)
    head: Rules = {
        "title": "case.title",
        **same("engagement_length_mm", "engaged_threads", of="case"),
        "insertion_torque_ncm": "torque.insertion_ncm",
        "torque": where_there_is("torque", TORQUE),
        "bands_um": "case.threshold.bands_um",
    }
    explained: Rules = {
        "summary": lambda it: " ".join((opening(it), NO_LINE, *limits_of(it))),
        "insertion_torque_range_ncm": lambda it: _ends(it.ranges and it.ranges.torque_ncm),
        "left_open": where_there_is("ranges", LEFT_OPEN),
        "loads": _loads,
        "choices": _by_load("choices", CHOICE, "peak_micromotion_um", "peaks_um"),
        "six_directions": where_there_is("six", SIX),
        "levers": _by_load("levers", LEVER, "peak_ratio", "ratios"),
    }
    return {
        **plain(it.answer, head),
        **plain(it, explained),
        **plain(it.answer, CASE),
        "caution": CAUTION,
    }


def directions_data(answer: DirectionsResult) -> dict[str, Any]:
    """Return six directions as plain data; stiffnesses and reference loads in N, mm, rad."""
    rules: Rules = {
        "title": "case.title",
        **SIX,
        "stiffness_matrix": lambda it: it.six.matrix + 0.0,
        **same("centre_of_rotation_mm", "sliding_lateral_n", "sliding_axial_n", of="six"),
        "insertion_torque_ncm": "torque.insertion_ncm",
        "removal_torque_ncm": "torque.removal_ncm",
        "interference_um": "interference_um",
        **CASE,
        "caution": lambda _: " ".join((TORQUE_IS_ONE, *LIMITS, CAUTION)),
    }
    return plain(answer, rules)


# --- A full arch --------------------------------------------------------------------------------------

ON_IMPLANT: Rules = {
    "force_n": lambda it: it.force[:3],
    "moment_nmm": lambda it: it.force[3:],
}
IMPLANT: Rules = {
    "name": "name",
    **ON_IMPLANT,
    "plan_force_n": lambda it: it.plan_force[:3],
    "plan_moment_nmm": lambda it: it.plan_force[3:],
    "peak_micromotion_um": "peak.total_um",
    "peak_error_um": "error.total_um",
    "error_parts_um": "error.parts_um",
    "band": "band",
    "peak_depth_mm": "peak.depth_mm",
    "peak_angle_deg": "peak.angle_deg",
    **same("sliding_um", "opening_um", of="peak"),
    "head_movement_um": "head.total_um",
    "head_movement_error_um": "head_error.total_um",
    "head_lateral_um": lambda it: (it.head.lateral_um, it.head.across_um),
    "head_axial_um": "head.axial_um",
    "share_over_crush": "share_over_crush",
    "past_yield_mm3": "bone_strain.past_yield_mm3",
}
ALONE: Rules = {**ON_IMPLANT, "peak_micromotion_um": "peak_um", "head_movement_um": "head_um"}


def _implants(load: SpanLoadAnswer) -> list[dict[str, Any]]:
    told = [plain(implant, IMPLANT) for implant in load.implants]
    alone = [{"on_single_crown": plain(one, ALONE)} for one in load.alone]
    return [{**one, **other} for one, other in zip(told, alone or [{}] * len(told), strict=True)]


def _insertion_torques(result: SpanResult) -> dict[str, float | None]:
    return {
        placed.name: None if torque is None else torque.insertion_ncm
        for placed, torque in zip(result.plan.implants, result.torques, strict=True)
    }


BRIDGE_LOAD: Rules = {
    "name": "name",
    "forces": each("forces", same("at_mm", "force_n")),
    "governing_implant": "governing.name",
    "bridge_deflection_um": "deflection_um",
    "bridge_deflection_at_mm": "deflection_at_mm",
    "bridge_line_mm": "line_mm",
    "bridge_moved_um": "moved_um",
    "balance": "balance",
    "implants": _implants,
}
SPAN: Rules = {
    "title": "plan.title",
    "summary": lambda it: " ".join((sentence(it), NO_LINE, *limits(it))),
    "quick": "quick",
    "governing": {
        "load": "governing.name",
        "implant": "governing.governing.name",
        "peak_micromotion_um": "governing.governing.peak.total_um",
        "band": "governing.governing.band",
    },
    "insertion_torques_ncm": _insertion_torques,
    "torque_sum_ncm": "torque_sum_ncm",
    "loads": each("loads", BRIDGE_LOAD),
    "plan": lambda it: it.plan.to_dict(),
    "plan_fingerprint": lambda it: it.plan.fingerprint(),
    "versions": "versions",
    "caution": lambda _: CAUTION,
}


def span_data(result: SpanResult) -> dict[str, Any]:
    """Return the answer to a plan as plain data; docs/span.md describes the keys."""
    return plain(result, SPAN)


def varied_data(variation: Variation) -> dict[str, Any]:
    """Return what came of varying one thing of a plan as plain data."""
    row: Rules = {"varied_to": "label", "answer": lambda it: it.result and span_data(it.result)}
    rules: Rules = {
        "title": "plan.title",
        "varied": "what",
        "rows": each("rows", row),
        "caution": lambda _: CAUTION,
    }
    return plain(variation, rules)

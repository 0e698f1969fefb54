"""Levers: what would reduce the peak and what it depends on, one thing of the case changed at a time.

Each changed case is solved on elements `COARSER` times as large as those of the answer, and so is the
case itself. The result is the ratio of the two peaks, since the mesh affects both alike. Nothing here
adds physics.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from stillroot.answers.answer import six_directions_of
from stillroot.answers.explained import Explained, Lever, as_explained
from stillroot.answers.levels import at_level
from stillroot.errors import CaseError
from stillroot.inputs.case import Case
from stillroot.mechanics.accuracy import COARSE
from stillroot.studies.outcome import for_any_moduli, solved
from stillroot.studies.vary import changed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.studies.outcome import LoadOutcome, Outcome

LIGHTER = 0.75
LOWER_MM, LONGER_MM, WIDER_MM, HELD_MM, CORTEX_MM = 2.0, 2.0, 0.5, 1.0, 0.5
STIFFER = 1.5
"""Sizes of the changes: what a plan can change, or how far an input is not known. Assumption."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One thing in a case, changed. `by_plan`: it can be decided; otherwise it is known only roughly."""

    by_plan: bool
    text: str
    case: Case


def explain(
    result: CheckResult | Explained, *, progress: Callable[[str], None] = lambda _: None
) -> Explained:
    """Return an answer with its six directions, at the crest, and its levers, as reports show them."""
    explained = as_explained(result)
    six = six_directions_of(explained.answer.placed, progress=progress)
    return with_levers(replace(explained, six=six), progress=progress)


def with_levers(
    result: CheckResult | Explained, *, progress: Callable[[str], None] = lambda _: None
) -> Explained:
    """Return an answer with the effect of each change of one thing on the peak of each load.

    Where the case itself has no answer on the coarser elements, no lever has one, and each says why.
    """
    explained = as_explained(result)
    case = explained.answer.case
    chain = for_any_moduli()
    progress("one thing changed at a time: as it is")
    before = solved(chain, at_level(case, COARSE))
    found = []
    for change in changes(case):
        progress(f"one thing changed at a time: {change.text}")
        after = before if before.reason else solved(chain, at_level(change.case, COARSE))
        found.append(_lever(change, before, after))
    return replace(explained, levers=tuple(found))


def largest_after(result: CheckResult, lever: Lever) -> tuple[LoadAnswer, float] | None:
    """Return the load that governs after a change and its peak [µm]; None where any load gives way."""
    peaks = []
    for answer, ratio in zip(result.loads, lever.ratios, strict=True):
        if ratio is None:
            return None
        peaks.append((answer, ratio * answer.peak.total_um))
    return max(peaks, key=lambda pair: pair[1])


def _lever(change: Change, before: Outcome, after: Outcome) -> Lever:
    def ratio(old: LoadOutcome, new: LoadOutcome) -> float | None:
        if new.peak_um is None or not old.peak_um:
            return None
        return new.peak_um / old.peak_um

    return Lever(
        by_plan=change.by_plan,
        text=change.text,
        ratios=tuple(ratio(old, new) for old, new in zip(before.loads, after.loads, strict=True)),
        reason=before.reason or after.reason,
    )


def changes(case: Case) -> tuple[Change, ...]:
    """Return the changes that can be made to a case, without those beyond its limits.

    Changes that reuse most of what is solved come first: loads, then moduli, then shapes.
    """
    found = []
    for by_plan, text, make in (*_of_the_loads(case), *_of_the_bone(case), *_of_the_shape(case)):
        try:
            found.append(Change(by_plan=by_plan, text=text, case=make()))
        except CaseError:
            continue
    return tuple(found)


Made = tuple[bool, str, "Callable[[], Case]"]


def _of_the_loads(case: Case) -> Iterator[Made]:
    yield True, "loads a quarter less", partial(changed, case, {"load_factor": LIGHTER})
    parts = [load.components for load in case.loads]
    if any(lateral for _, lateral, _ in parts):
        yield True, "half of each sideways force", partial(_with_loads, case, _half_lateral)
    if any(
        lateral and load.height_mm >= LOWER_MM
        for load, (_, lateral, _) in zip(case.loads, parts, strict=True)
    ):
        yield True, f"loads {LOWER_MM:g} mm lower", partial(_with_loads, case, _lower)


def _with_loads(case: Case, change: Callable[[dict[str, Any]], None]) -> Case:
    data = case.stated()
    for place, load in enumerate(case.loads):
        axial, lateral, torque = load.components
        plain = {"name": load.name, "height_mm": load.height_mm}
        plain |= {"axial_n": axial, "lateral_n": lateral, "torque_ncm": torque / 10}
        change(plain)
        data["loads"][place] = plain
    return Case.from_dict(data)


def _half_lateral(load: dict[str, Any]) -> None:
    load["lateral_n"] /= 2


def _lower(load: dict[str, Any]) -> None:
    load["height_mm"] = max(load["height_mm"] - LOWER_MM, 0.0)  # an axial load has no lever


def _of_the_bone(case: Case) -> Iterator[Made]:
    face = case.interface
    if face.kind == "frictional" and face.measured_torque_ncm is None and face.interference_um:
        less, more = 0.0, 2 * face.interference_um
        yield False, "no interference", partial(changed, case, {"interface.interference_um": less})
        yield (
            False,
            "twice the interference",
            partial(changed, case, {"interface.interference_um": more}),
        )
    for factor, text in ((STIFFER, f"{STIFFER:g} times"), (1 / STIFFER, "two thirds")):
        yield (
            False,
            f"trabecular bone {text} as stiff",
            partial(changed, case, {"trabecular_factor": factor}),
        )


def _of_the_shape(case: Case) -> Iterator[Made]:
    cortex = case.bone.cortical_thickness_mm
    key = "bone.cortical_thickness_mm"
    if cortex:
        yield (
            False,
            f"cortex {CORTEX_MM:g} mm thicker",
            partial(changed, case, {key: cortex + CORTEX_MM}),
        )
    if cortex > CORTEX_MM:
        yield (
            False,
            f"cortex {CORTEX_MM:g} mm thinner",
            partial(changed, case, {key: cortex - CORTEX_MM}),
        )
    held = case.engagement_length_mm
    if len(case.socket.holds_mm) == 1:
        for longer, word in ((HELD_MM, "more"), (-HELD_MM, "less")):
            yield (
                False,
                f"held over {HELD_MM:g} mm {word}",
                partial(changed, case, {_end_to_move(case): held + longer}),
            )
    if case.implant.outline_mm is None:
        if _is_held_at_its_tip(case):  # a free tip would bear no more if longer
            yield True, f"implant {LONGER_MM:g} mm longer, held there too", partial(_longer, case)
        wider = case.implant.diameter_mm + WIDER_MM
        yield (
            True,
            f"implant {WIDER_MM:g} mm wider",
            partial(changed, case, {"implant.diameter_mm": wider}),
        )


def _end_to_move(case: Case) -> str:
    """Return the key that moves the free end of the only hold; an end at the crest stays."""
    return "engagement_from_crest_mm" if case.socket.holds_mm[0][0] == 0 else "engagement_mm"


def _is_held_at_its_tip(case: Case) -> bool:
    return abs(case.socket.holds_mm[-1][1] - case.implant.length_mm) < 1e-9


def _longer(case: Case) -> Case:
    data = case.stated()
    holds = [list(hold) for hold in case.socket.holds_mm]
    holds[-1][1] += LONGER_MM
    data["implant"]["length_mm"] = case.implant.length_mm + LONGER_MM
    data.setdefault("socket", {})["holds_mm"] = holds
    return Case.from_dict(data)

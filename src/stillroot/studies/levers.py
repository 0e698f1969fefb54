"""Levers: what would reduce the peak and what it depends on, one thing of the case changed at a time.

Each changed case is solved on elements `COARSER` times as large as those of the answer, and so is the
case itself. The result is the ratio of the two peaks, since the mesh affects both alike. Nothing here
adds physics.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from stillroot.answers.answer import with_directions
from stillroot.answers.changes import levers
from stillroot.mechanics.accuracy import COARSER
from stillroot.studies.stages import Stages

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.answers.changes import Change
    from stillroot.inputs.case import Case
    from stillroot.studies.outcome import LoadOutcome, Outcome


@dataclass(frozen=True, kw_only=True)
class Lever:
    """The result of a change: each load's peak relative to the answer's, None where it gives way.

    `reason` is empty, or says why there is no answer at all.
    """

    by_plan: bool
    text: str
    ratios: tuple[float | None, ...]
    reason: str = ""


def explain(result: CheckResult, *, progress: Callable[[str], None] = lambda _: None) -> CheckResult:
    """Return an answer with its six directions and its levers, as reports show them."""
    return with_levers(with_directions(result, progress=progress), progress=progress)


def with_levers(result: CheckResult, *, progress: Callable[[str], None] = lambda _: None) -> CheckResult:
    """Return an answer with the effect of each change of one thing on the peak of each load.

    Where the case itself has no answer on the coarser elements, no lever has one, and each says why.
    """
    stages = Stages()
    progress("one thing changed at a time: as it is")
    before = stages.outcome(_coarser(result.case))
    found = []
    for change in levers(result.case):
        progress(f"one thing changed at a time: {change.text}")
        changed = change.applied_to(result.case)
        after = before if before.reason else stages.outcome(_coarser(changed))
        found.append(_lever(change, before, after))
    return replace(result, levers=tuple(found))


def largest_after(result: CheckResult, lever: Lever) -> tuple[LoadAnswer, float] | None:
    """Return the load that governs after a change and its peak [µm]; None where any load gives way."""
    peaks = []
    for answer, ratio in zip(result.loads, lever.ratios, strict=True):
        if ratio is None:
            return None
        peaks.append((answer, ratio * answer.peak.total_um))
    return max(peaks, key=lambda pair: pair[1])


def _coarser(case: Case) -> Case:
    return case.with_numerics(element_mm=COARSER * case.numerics.element_mm)


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

"""Levers: what would reduce the peak and what it depends on, one thing of the case changed at a time.

Each changed case is solved on elements of the coarse level, and so is the
case itself. The result is the ratio of the two peaks, since the mesh affects both alike. Nothing here
adds physics.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stillroot.answers.answer import six_directions_of
from stillroot.answers.changes import levers
from stillroot.answers.explained import Explained, Lever, as_explained
from stillroot.answers.levels import at_level
from stillroot.mechanics.accuracy import COARSE
from stillroot.studies.outcome import for_any_moduli, solved

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.answers.changes import Change
    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.studies.outcome import LoadOutcome, Outcome


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
    for change in levers(case):
        progress(f"one thing changed at a time: {change.text}")
        changed = at_level(change.applied_to(case), COARSE)
        after = before if before.reason else solved(chain, changed)
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

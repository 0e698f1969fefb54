"""How far a study can be trusted: how many of its cases failed, and the numerical error of its peaks."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.studies.outcome import peaks_of
from stillroot.studies.running import run

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.inputs.case import Case
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.running import Progress, Where

MOST_FAILED = 0.05
"""Share of failed cases above which a study's result cannot be trusted. Assumption."""


@dataclass(frozen=True, kw_only=True)
class Failures:
    """The number of a study's cases without an answer, by reason, the most common first."""

    failed: int
    solved: int
    reasons: tuple[tuple[str, int], ...]

    @property
    def share(self) -> float:
        """Share of all cases."""
        return self.failed / (self.failed + self.solved)

    @property
    def too_many(self) -> bool:
        """Whether the result cannot be trusted."""
        return self.share > MOST_FAILED

    @property
    def sentences(self) -> tuple[str, ...]:
        """Sentences on the failures; empty where none failed."""
        if not self.failed:
            return ()
        told = "; ".join(f"{count} × {reason}" for reason, count in self.reasons)
        said = f"{self.failed} of {self.failed + self.solved} cases have no answer: {told}."
        warned = f"More than {MOST_FAILED:.0%} failed: this result cannot be trusted."
        return (said, warned) if self.too_many else (said,)


def failures_of(outcomes: Sequence[Outcome]) -> Failures:
    """Count the outcomes without an answer. Reasons that differ in their numbers alone count as one."""
    reasons = [outcome.why_not for outcome in outcomes if outcome.why_not]
    kinds = Counter(map(_kind, reasons)).most_common()
    return Failures(failed=len(reasons), solved=len(outcomes) - len(reasons), reasons=tuple(kinds))


def _kind(reason: str) -> str:
    """Return the first clause of a reason, without the numbers of the solve."""
    first = reason.splitlines()[0]
    for mark in (" beyond ", ". ", ": the forces"):
        first = first.split(mark)[0]
    return first if len(first) <= 160 else f"{first[:159]}…"


def relative_error(
    cases: Sequence[Case], outcomes: Sequence[Outcome], where: Where, progress: Progress
) -> float | None:
    """Return the largest relative numerical error of a peak, measured on a few of the cases.

    They are those with the smallest, the median and the largest peak; None where no case has an answer.
    """
    peaks = peaks_of(outcomes)
    ranked = np.argsort(peaks, kind="stable")[: np.count_nonzero(~np.isnan(peaks))].tolist()
    if not ranked:
        return None
    chosen = [cases[place] for place in dict.fromkeys((ranked[0], ranked[len(ranked) // 2], ranked[-1]))]
    what = "numerical error"
    return largest_relative_error(run(chosen, where, with_error=True, what=what, progress=progress))


def largest_relative_error(measured: Sequence[Outcome]) -> float | None:
    """Return the largest relative numerical error of a peak; None where none was measured."""
    shares = [
        load.error_um / load.peak_um
        for outcome in measured
        for load in outcome.loads
        if load.error_um is not None and load.peak_um
    ]
    return max(shares, default=None)

"""The peak under other modelling choices, where no value is agreed on: no one choice is the truth.

Each alternative changes one thing in the case and solves it once more, without an error estimate, from
the first stage of the chain that differs.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from stillroot.answers.chain import FAILURES, Chain, loads_of
from stillroot.answers.changes import alternatives
from stillroot.answers.explained import Choice, Explained, as_explained
from stillroot.errors import NotConverged
from stillroot.mechanics.motion import micromotion

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.answers.chain import Placed
    from stillroot.answers.changes import Change
    from stillroot.answers.result import CheckResult
    from stillroot.inputs.case import Case
    from stillroot.mechanics.resultant import Resultant


def with_choices(
    result: CheckResult | Explained, *, progress: Callable[[str], None] = lambda _: None
) -> Explained:
    """Return an answer with the peak of each load under each alternative to what its case assumes."""
    explained = as_explained(result)
    case, found = explained.answer.case, []
    same_site, other = Chain.on(explained.answer.placed), Chain()
    for alternative in alternatives(case):
        progress(f"{alternative.subject}: {alternative.text}")
        found.append(_solved(same_site if alternative.same_site else other, case, alternative))
    return replace(explained, choices=tuple(found))


def _solved(chain: Chain, case: Case, alternative: Change) -> Choice:
    peaks: tuple[float | None, ...] = (None,) * len(case.loads)
    reason = ""
    try:
        placed = chain.placed(alternative.applied_to(case))
    except FAILURES as error:
        reason = str(error)
    else:
        if alternative.under_load:  # a wall that crushed during seating is at its limit
            seated = placed.seated
            capped = replace(seated.layer, crush_mpa=seated.inserting.crush_mpa)
            placed = replace(placed, seated=replace(seated, layer=capped))
        peaks = tuple(_peak_um(placed, name, resultant) for name, resultant in loads_of(placed.case))
    return Choice(subject=alternative.subject, text=alternative.text, peaks_um=peaks, reason=reason)


def _peak_um(placed: Placed, name: str, resultant: Resultant) -> float | None:
    try:
        state = placed.loaded(name, resultant)
    except NotConverged:
        return None
    return micromotion(placed.seated, state).peak.total_um

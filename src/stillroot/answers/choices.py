"""The peak under other modelling choices, where no value is agreed on: no one choice is the truth.

Each alternative changes one thing in the case and solves it once more, without an error estimate.
Changes of the interface law alone are solved on the same site.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from stillroot.answers.answer import prepared_site, resultant_of, stated_or_found_interference_um
from stillroot.answers.changes import alternatives
from stillroot.errors import CaseError, MeshError, NotConverged
from stillroot.mechanics.loading import load, seat
from stillroot.mechanics.motion import micromotion

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.answers.answer import CheckResult
    from stillroot.answers.changes import Change
    from stillroot.mechanics.loading import Seated
    from stillroot.mechanics.site import Site


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The result of an alternative: a peak [µm] for each load, None where it finds no equilibrium.

    `reason` is empty, or says why there is no answer at all.
    """

    subject: str
    text: str
    peaks_um: tuple[float | None, ...]
    reason: str = ""


def with_choices(
    result: CheckResult, *, progress: Callable[[str], None] = lambda _: None
) -> CheckResult:
    """Return an answer with the peak of each load under each alternative to what its case assumes."""
    found = []
    for alternative in alternatives(result.case):
        progress(f"{alternative.subject}: {alternative.text}")
        found.append(_solved(result, alternative))
    return replace(result, choices=tuple(found))


def _solved(result: CheckResult, alternative: Change) -> Choice:
    def choice(peaks: tuple[float | None, ...], reason: str = "") -> Choice:
        return Choice(subject=alternative.subject, text=alternative.text, peaks_um=peaks, reason=reason)

    nothing = (None,) * len(result.loads)
    try:
        case = alternative.applied_to(result.case)
        site = replace(result.seated.site, case=case) if alternative.same_site else prepared_site(case)
        seated = _seated(site, alternative)
    except (CaseError, MeshError, NotConverged) as error:
        return choice(nothing, str(error))
    return choice(tuple(_peak_um(seated, k) for k in range(len(result.loads))))


def _seated(site: Site, alternative: Change) -> Seated:
    seated = seat(site, site.layer(interference_um=stated_or_found_interference_um(site)))
    if alternative.under_load:  # a wall that crushed during seating is at its limit
        capped = replace(seated.layer, crush_mpa=seated.inserting.crush_mpa)
        return replace(seated, layer=capped)
    return seated


def _peak_um(seated: Seated, index: int) -> float | None:
    item = seated.site.case.loads[index]
    try:
        state = load(seated, [resultant_of(item)], name=f'load "{item.name}"')
    except NotConverged:
        return None
    return micromotion(seated, state).peak.total_um

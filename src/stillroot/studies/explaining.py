"""What explains an answer: six directions, levers, and the peak under other modelling choices.

A lever and another choice are one mechanism: one thing of the case changed, and the case solved again
without an error estimate. A lever, which would reduce the peak or is known only roughly, is told as the
ratio of two peaks on elements of the coarse level, since the mesh affects both alike. A choice, where no
value is agreed on and no one choice is the truth, is told as a peak on the mesh of the answer. Nothing
here adds physics.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from threading import Lock
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

from stillroot.answers.answer import six_directions_of
from stillroot.answers.chain import Chain, grounded, meshed, stage_keys
from stillroot.answers.changes import PLANNED, Change, alternatives, levers
from stillroot.answers.explained import Choice, Explained, Lever, as_explained
from stillroot.answers.levels import LOOSE, at_level
from stillroot.errors import CaseError
from stillroot.mechanics.accuracy import COARSE
from stillroot.mechanics.contact import TOLERANCE
from stillroot.studies.outcome import no_outcome, solved

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.answers.chain import Placed
    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.groundwork import Groundwork
    from stillroot.studies.outcome import Outcome

    Progress = Callable[[str], None]

AS_IT_IS = Change("the case", "as it is", {})


def explain(result: CheckResult | Explained, *, progress: Progress = lambda _: None) -> Explained:
    """Return an answer with its six directions, at the crest, and its levers."""
    explained = as_explained(result)
    six = six_directions_of(explained.answer.placed, progress=progress)
    return with_levers(replace(explained, six=six), progress=progress)


def with_levers(result: CheckResult | Explained, *, progress: Progress = lambda _: None) -> Explained:
    """Return an answer with the effect of each change of one thing on the peak of each load.

    Where the case itself has no answer on the coarser elements, no lever has one, and each says why.
    """
    explained = as_explained(result)
    case = explained.answer.case
    changes = [AS_IT_IS, *levers(case)]
    coarser = partial(at_level, level=COARSE)
    before, *after = outcomes_of(case, changes, progress, solved_as=coarser, at_once=2, tolerance=LOOSE)
    found = [_lever(change, before, out) for change, out in zip(changes[1:], after, strict=True)]
    return replace(explained, levers=tuple(found))


def with_choices(result: CheckResult | Explained, *, progress: Progress = lambda _: None) -> Explained:
    """Return an answer with the peak of each load under each alternative to what its case assumes."""
    explained = as_explained(result)
    placed, changes = explained.answer.placed, alternatives(explained.answer.case)
    outcomes = outcomes_of(placed.case, changes, progress, placed=placed)
    found = [
        Choice(
            subject=change.subject,
            text=change.text,
            peaks_um=tuple(load.peak_um for load in outcome.loads),
            reason=outcome.reason,
        )
        for change, outcome in zip(changes, outcomes, strict=True)
    ]
    return replace(explained, choices=tuple(found))


def largest_after(result: CheckResult, lever: Lever) -> tuple[LoadAnswer, float] | None:
    """Return the load that governs after a change and its peak [µm]; None where any load gives way.

    Where the implant gives way without the change, no ratio applies: the peak is that of the coarser
    elements.
    """
    peaks = []
    coarse = lever.peaks_um or (None,) * len(result.loads)
    for answer, ratio, found in zip(result.loads, lever.ratios, coarse, strict=True):
        peak = found if answer.gives_way_at is not None else ratio and ratio * answer.peak.total_um
        if peak is None:
            return None
        peaks.append((answer, peak))
    return max(peaks, key=lambda pair: pair[1])


def _lever(change: Change, before: Outcome, after: Outcome) -> Lever:
    peaks = [(old.peak_um, new.peak_um) for old, new in zip(before.loads, after.loads, strict=True)]
    return Lever(
        by_plan=change.subject == PLANNED,
        text=change.text,
        ratios=tuple(new / old if old and new is not None else None for old, new in peaks),
        reason=before.reason or after.reason,
        peaks_um=tuple(new for _, new in peaks),
    )


def outcomes_of(
    case: Case,
    changes: Sequence[Change],
    progress: Progress,
    *,
    solved_as: Callable[[Case], Case] = lambda case: case,
    placed: Placed | None = None,
    at_once: int = 1,
    tolerance: float = TOLERANCE,
) -> list[Outcome]:
    """Return the outcome of each changed case; those of one geometry share a chain.

    One that goes beyond what a case allows has none, for that reason. The site of `placed` is used where
    it fits. `at_once` geometries are solved side by side.
    """
    found: dict[int, Outcome] = {}
    cases: dict[int, Case] = {}
    for k, change in enumerate(changes):
        try:
            cases[k] = solved_as(change.applied_to(case))
        except CaseError as error:
            found[k] = no_outcome(case, str(error))
    groups: dict[str, list[int]] = {}
    for k, changed in cases.items():
        groups.setdefault(stage_keys(changed)[0], []).append(k)
    meshing = Lock()

    def ground_of(case: Case, *, for_any_moduli: bool) -> Groundwork:
        with meshing:  # only one mesh is made at a time
            section = meshed(case)
        return grounded(case, section, for_any_moduli=for_any_moduli)

    def of_group(group: list[int]) -> list[Outcome]:
        made = partial(ground_of, for_any_moduli=len(group) > 1)
        chain = Chain(made) if placed is None else Chain.on(placed)
        return [solved(chain, cases[k], tolerance=tolerance) for k in group]

    with threadpool_limits(1), ThreadPoolExecutor(at_once) as pool:
        for group, outcomes in zip(groups.values(), pool.map(of_group, groups.values()), strict=True):
            found |= zip(group, outcomes, strict=True)
            last = changes[group[-1]]
            progress(f"{last.subject}: {last.text}")
    return [found[k] for k in range(len(changes))]

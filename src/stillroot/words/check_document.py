"""The answer to a case as a report. Nothing is computed here but shares shown as changes."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from stillroot.answers.explained import as_explained
from stillroot.answers.summary import place_of
from stillroot.answers.wording import NO_LINE, rounded, with_error
from stillroot.mechanics.accuracy import PARTS as ERROR_PARTS
from stillroot.mechanics.six_directions import GIVES_WAY
from stillroot.studies.explaining import largest_after
from stillroot.words.directions import in_words, six_table
from stillroot.words.document import (
    CLINICIAN,
    RESEARCHER,
    TERMINAL,
    Column,
    Document,
    Lines,
    Section,
    Shown,
    Table,
    made_by,
    table_of,
)
from stillroot.words.loads import load_text
from stillroot.words.resolved import case_section
from stillroot.words.torques import TORQUE_IS_ONE, torque_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from stillroot.answers.explained import Choice, Explained, Lever
    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.mechanics.accuracy import ErrorEstimate
    from stillroot.words.document import Block

QUESTION = "How far does this implant move against its bone under these loads?"
WHAT_MOVES = (
    "Peak micromotion is how far the wall of the implant moves against the bone where it moves most, "
    "from seated to loaded. Head movement is what a gauge at the load's height reads: it includes the "
    "elastic give of bone and implant."
)
HOW_CHANGED = (
    "Each change was solved on coarser elements; its ratio to the unchanged case there is applied "
    "to the answer."
)
TORQUE_IS_KEPT = "The measured torque stays the same; each change has its own interference."
ANATOMY = "Anatomy (nerve, sinus, ridge width) is not considered and may rule a change out."
METHOD = (
    "Method: finite elements on the half-section, Fourier sums round it, frictional contact across "
    "the torn layer at the wall, seated and then loaded in steps; the ± comes from solving again. "
    "docs/theory.md has each equation with its source, docs/limits.md what the model leaves out, "
    "docs/validation.md computed figures beside published ones."
)
LEAST_HELP = 0.02
"""A lever that takes less than this share off the peak is not listed."""
MOST_HELPS = 5
MANY_TIMES = 3.0
"""A change by more than this reads better as a factor than in per cent."""
MOST_LETTERS = 90
"""Of the reason why a change has no answer."""
NO_ANSWER = "no answer"
"""Stands for what could not be solved; the reason stands beside it."""
NOT_EXPLAINED = (
    "not computed for this answer. The command line computes it with every report; in Python, "
    "stillroot.explain(result) does."
)


def check_document(answered: CheckResult | Explained, _shown: Sequence[str] = ()) -> Document:
    """Return the report of an answer, whose pictures have names that are known."""
    explained = as_explained(answered)
    result = explained.answer
    slug = result.load_slugs[result.loads.index(result.governing)]
    return Document(
        question=QUESTION,
        subject=result.case.title,
        answer=result.summary.sentence,
        limits=result.summary.limits,
        first=(Shown(name="summary"), Shown(name=f"section-{slug}")),
        sections=tuple(_sections(explained)),
        slides=(
            "summary",
            *(f"{kind}-{slug}" for kind in ("section", "moved", "gauge", "unrolled")),
            *("seat-pressure", "directions", "levers", "choices"),
        ),
        again=f"stillroot check case.toml{' --choices' if explained.choices else ''} --out DIR",
        case_file="case.toml",
        made_by=made_by(result.versions, result.case.fingerprint()),
    )


def _sections(explained: Explained) -> Iterator[Section]:
    result, choices = explained.answer, explained.choices
    held = (f"{engagement_line(result)}.", *torque_lines(result))
    holding = Lines(lines=(" ".join(held),))
    helps, six = (*_helps(explained),), _six(explained)
    drives = _levers_table(explained, by_plan=False)
    yield Section(title="Engagement and torque", blocks=(Lines(lines=held),), readers=TERMINAL)
    for columns, readers in ((SHORT, CLINICIAN), (ON_A_TERMINAL, TERMINAL)):
        loads = _loads_table(result, columns)
        yield Section(title="Loads and motions", blocks=(loads,), readers=readers)
    yield Section(
        title="What changes the number; engagement and torque",
        blocks=(*helps, six, holding, *((_choices_in_short(explained),) if choices else ())),
        readers=CLINICIAN,
    )
    loads = _loads_table(result, WHOLE)
    yield Section(title="Loads and motions", blocks=(loads,), readers=RESEARCHER)
    yield Section(
        title="What changes the number",
        blocks=(*helps, *((drives,) if drives.rows else ())),
        readers=RESEARCHER,
    )
    yield Section(
        title="Engagement, six directions and numerical error",
        blocks=(holding, six, _errors_table(result)),
        readers=RESEARCHER,
    )
    yield Section(title="In pictures", blocks=tuple(_pictures(result)), readers=RESEARCHER)
    if choices:
        blocks = (_choices_table(explained), Shown(name="choices", on_paper=False))
        title = "Where there is no agreed value"
        yield Section(title=title, blocks=blocks, readers=RESEARCHER | TERMINAL)
    yield case_section(result.case, Lines(lines=(METHOD,)))


def _pictures(result: CheckResult) -> Iterator[Shown]:
    """Yield what is not on the first screen: the governing load whole, of the others the two maps."""
    for answer, slug in zip(result.loads, result.load_slugs, strict=True):
        if answer is result.governing:
            yield from (Shown(name=f"{kind}-{slug}") for kind in ("moved", "unrolled", "gauge"))
            yield from (Shown(name=name) for name in ("seat-pressure", "directions", "levers"))
    for answer, slug in zip(result.loads, result.load_slugs, strict=True):
        if answer is not result.governing:
            yield from (Shown(name=f"{k}-{slug}", on_paper=False) for k in ("section", "unrolled"))


def engagement_line(result: CheckResult) -> str:
    """Return the engagement in words, without a full stop."""
    holds = ", ".join(f"{top:g} to {bottom:g}" for top, bottom in result.case.socket.holds_mm)
    threads = result.case.engaged_threads
    engaged = "" if threads is None else f", {threads:.1f} engaged threads"
    return (
        f"Engagement length {result.case.engagement_length_mm:g} mm{engaged} "
        f"(held {holds} mm below the crest)"
    )


# --- Loads and motions --------------------------------------------------------------------------------


def _what(answer: LoadAnswer) -> str:
    return load_text(answer.resultant, lines=1)


NAME = Column("Load", lambda a: a.name)
WHAT = Column("What it is", _what)
MOTION = (
    Column(
        "Peak micromotion [µm]", lambda a: with_error(a.peak.total_um, a.error.total_um), number=True
    ),
    Column("Band", lambda a: a.band, whole=True),
    Column("Where", place_of),
)
PARTS = (
    Column("Sliding [µm]", lambda a: rounded(a.peak.sliding_um), number=True),
    Column("Opening [µm]", lambda a: rounded(a.peak.opening_um), number=True),
)
HEAD = Column(
    "Head movement [µm]", lambda a: with_error(a.head.total_um, a.head_error.total_um), number=True
)
SHORT = (Column("Load", lambda a: f"{a.name}: {_what(a)}"), *MOTION, HEAD)
ON_A_TERMINAL = (NAME, *MOTION, *PARTS, HEAD)
WHOLE = (NAME, WHAT, *MOTION, *PARTS, HEAD)


def _loads_table(result: CheckResult, columns: tuple[Column, ...]) -> Table:
    opening = "" if columns is SHORT else " Opening is negative where the gap closes."
    return table_of(
        result.loads,
        columns,
        caption="Motion from seated to loaded; the ± is numerical error alone",
        note=f"{WHAT_MOVES}{opening}",
    )


def _errors_table(result: CheckResult) -> Table:
    def row(name: str, error: ErrorEstimate) -> tuple[str, ...]:
        parts = (*(error.parts_um[part] for part in ERROR_PARTS), error.total_um)
        return name, *map(small_text, parts)

    rows = [
        row(f"{a.name}: {what}", error)
        for a in result.loads
        for what, error in (("peak", a.error), ("head", a.head_error))
    ]
    return Table(
        head=("Load", *ERROR_PARTS, "Sum"),
        rows=tuple(rows),
        numbers=frozenset(range(1, len(ERROR_PARTS) + 2)),
        caption="Parts of the ± [µm], measured by solving again",
        note="Modelling choices and rough inputs weigh more than this.",
        wide=False,
    )


def small_text(error_um: float) -> str:
    """Return an error in two digits, and what is far below any motion as that.

    >>> small_text(1.317), small_text(0.083), small_text(8e-05)
    ('1.3', '0.083', '<0.01')
    """
    return "<0.01" if error_um < 0.01 else f"{error_um:.2g}"


# --- What changes the number --------------------------------------------------------------------------


def _helps(explained: Explained) -> tuple[Block, ...]:
    levers = [lever for lever in explained.levers if lever.by_plan]
    if not explained.levers:
        return (Lines(lines=(f"What changes the number: {NOT_EXPLAINED}",)),)
    if levers and all(lever.reason for lever in levers):
        told = "What changes the number: no change could be solved on coarser elements."
        return (Lines(lines=(f"{told} {levers[0].reason}",)),)
    return Lines(lines=(ANATOMY,)), _levers_table(explained, by_plan=True)


def _levers_table(explained: Explained, *, by_plan: bool) -> Table:
    """Return what each change does to the largest peak, the largest change first."""
    result = explained.answer
    answered = result.governing.peak.total_um

    def size(lever: Lever) -> float:
        after = largest_after(result, lever)
        return math.inf if after is None else after[1] / answered

    levers = [lever for lever in explained.levers if lever.by_plan is by_plan]
    if by_plan:
        levers = sorted((x for x in levers if size(x) < 1 - LEAST_HELP), key=size)[:MOST_HELPS]
    else:
        levers = sorted(levers, key=lambda lever: -abs(math.log(size(lever) or math.inf)))
    caption = "One thing changed in the plan" if by_plan else "One rough input changed"
    kept = result.case.interface.measured_torque_ncm is not None
    how = f"{HOW_CHANGED} {TORQUE_IS_KEPT}" if kept else HOW_CHANGED
    none = f"None of the changes tried takes {LEAST_HELP:.0%} off the peak."
    return Table(
        head=("Change", "Peak [µm]", "Difference"),
        rows=tuple(_lever_row(result, lever) for lever in levers),
        numbers=frozenset({1, 2}),
        caption=(
            f"{caption}: the largest peak, {rounded(answered)} µm under “{result.governing.name}”, "
            "becomes"
        ),
        note=none if by_plan and not levers else how,
        wide=False,
    )


def _lever_row(result: CheckResult, lever: Lever) -> tuple[str, ...]:
    if lever.reason:
        reason = textwrap.shorten(lever.reason, MOST_LETTERS, placeholder=" …")
        return f"{lever.text}: {reason}", NO_ANSWER, ""
    after = largest_after(result, lever)
    if after is None:
        return lever.text, GIVES_WAY, ""
    governing, peak = after
    then = "" if governing is result.governing else f"; then “{governing.name}” governs"
    ratio = peak / result.governing.peak.total_um
    return f"{lever.text}{then}", rounded(peak), change_text(ratio)


def change_text(ratio: float) -> str:
    """Return what a ratio takes off or adds, in per cent; a large one as a factor.

    >>> change_text(0.684), change_text(1.3), change_text(1.004), change_text(12.34)
    ('−32 %', '+30 %', '0 %', '× 12')
    """
    if ratio >= MANY_TIMES:
        return f"× {ratio:.2g}" if ratio < 100 else f"× {ratio:.0f}"
    percent = round(100 * (ratio - 1))
    return "0 %" if percent == 0 else f"{'+' if percent > 0 else '−'}{abs(percent)} %"


# --- Other choices, and six directions ----------------------------------------------------------------


def _choices_table(explained: Explained) -> Table:
    result = explained.answer
    base = ("base case", *(rounded(a.peak.total_um) for a in result.loads))
    return Table(
        head=("Choice", *(a.name for a in result.loads)),
        rows=(base, *(_choice_row(choice) for choice in explained.choices)),
        numbers=frozenset(range(1, len(base))),
        caption="Peak micromotion [µm] under other choices, where there is no agreed value",
        note=" ".join(
            f"No answer with {choice.subject}, {choice.text}: {choice.reason}"
            for choice in explained.choices
            if choice.reason
        ),
        wide=False,
    )


def _choice_row(choice: Choice) -> tuple[str, ...]:
    none = NO_ANSWER if choice.reason else GIVES_WAY
    peaks = (none if peak is None else rounded(peak) for peak in choice.peaks_um)
    return f"{choice.subject}: {choice.text}", *peaks


def _choices_in_short(explained: Explained) -> Lines:
    """Return from where to where the governing peak goes under other choices."""
    result = explained.answer
    place = result.loads.index(result.governing)
    peaks = [choice.peaks_um[place] for choice in explained.choices]
    known = [peak for peak in (*peaks, result.governing.peak.total_um) if peak is not None]
    lost = "" if len(known) > len(peaks) else "; some give no answer"
    told = (
        f"Where there is no agreed value, {len(peaks)} other choices put the peak under "
        f"“{result.governing.name}” between {rounded(min(known))} and {rounded(max(known))} µm{lost}."
    )
    return Lines(lines=(told,))


def _six(explained: Explained) -> Table | Lines:
    if explained.six is None:
        return Lines(lines=(f"Six directions: {NOT_EXPLAINED}",))
    first_band = explained.answer.case.threshold.bands_um[0]
    means = (
        f"Moves little: peak under {first_band:g} µm at that load, which represents neither chewing nor "
        f"your load. {NO_LINE}"
    )
    return six_table(
        explained.six,
        caption=f"Six directions of the seated implant, at the crest. {in_words(explained.six)}",
        note=means if explained.answer.torque is None else f"{means} {TORQUE_IS_ONE}",
    )

"""The answer to a case as a report. Nothing is computed here but shares shown as changes."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from stillroot.answers.explained import Choice, as_explained
from stillroot.answers.summary import place_of
from stillroot.answers.wording import NO_LINE, rounded, with_error
from stillroot.mechanics.accuracy import PARTS as ERROR_PARTS
from stillroot.mechanics.six_directions import GIVES_WAY
from stillroot.studies.explaining import largest_after
from stillroot.words.directions import in_words, six_table
from stillroot.words.document import Column, Document, Section, Shown, Table, made_by
from stillroot.words.loads import load_text
from stillroot.words.ranges import limits_of, opening, range_text
from stillroot.words.resolved import case_section
from stillroot.words.torques import TORQUE_IS_ONE, torque_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from stillroot.answers.explained import Explained, Lever
    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.words.document import Block, Reader

QUESTION = "How far does this implant move against its bone under these loads?"
WHAT_MOVES = (
    "Peak micromotion is how far the wall of the implant moves against the bone where it moves most, "
    "from seated to loaded. Head movement is what a gauge at the load's height reads: it includes the "
    "give of bone and implant."
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
    of_governing = tuple(f"{kind}-{slug}" for kind in ("section", "moved", "curve", "gauge", "unrolled"))
    return Document(
        question=QUESTION,
        subject=result.case.title,
        answer=opening(explained),
        limits=limits_of(explained),
        first=(Shown("summary"), Shown(of_governing[0])),
        sections=tuple(_sections(explained, slug)),
        slides=("summary", *of_governing, "seat-pressure", "directions", "levers", "choices"),
        again=f"stillroot check case.toml{' --choices' if explained.choices else ''} --out DIR",
        case_file="case.toml",
        made_by=made_by(result.versions, result.case.fingerprint()),
    )


def _sections(explained: Explained, slug: str) -> Iterator[Section]:
    result, choices = explained.answer, explained.choices
    held = (f"{engagement_line(result)}.", *torque_lines(result))
    helps, six = _helps(explained), _six(explained)
    in_short = (_choices_in_short(explained),) if choices else ()
    rough = any(not lever.by_plan for lever in explained.levers)
    drives = (_levers_table(explained, by_plan=False),) if rough else ()
    what, changes = "Loads and motions", "What changes the number"
    pictures = [f"{kind}-{slug}" for kind in ("moved", "curve", "unrolled", "gauge")]
    pictures += ["seat-pressure", "directions", "levers"]
    kinds = ("section", "unrolled", "curve")
    others = [f"{kind}-{other}" for other in result.load_slugs if other != slug for kind in kinds]
    whole: tuple[Reader, ...] = ("researcher",)

    yield Section("Engagement and torque", held, ("terminal",))
    yield Section(what, (_loads_table(explained, SHORT),), ("clinician",))
    yield Section(what, (_loads_table(explained, ON_A_TERMINAL),), ("terminal",))
    short = (*helps, six, " ".join(held), *in_short)
    yield Section(f"{changes}; engagement and torque", short, ("clinician",))
    yield Section(what, (_loads_table(explained, WHOLE),), whole)
    yield Section(changes, (*helps, *drives), whole)
    yield Section(
        "Engagement, six directions and numerical error",
        (" ".join(held), six, _errors_table(result)),
        whole,
    )
    yield Section(
        "In pictures",
        (
            *(Shown(name, on_paper=not name.startswith("curve-")) for name in pictures),
            *(Shown(name, on_paper=False) for name in others),
        ),
        whole,
    )
    if choices:
        blocks = (_choices_table(explained), Shown("choices", on_paper=False))
        yield Section("Where there is no agreed value", blocks, (*whole, "terminal"))
    yield case_section(result.case, METHOD)


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


def _peak_cell(answer: LoadAnswer) -> str:
    if answer.gives_way_at is not None:
        return f"gives way at {answer.gives_way_at:.0%}"
    return with_error(answer.peak.total_um, answer.error.total_um)


NAME = Column("Load", lambda a: a.name)
WHAT = Column("What it is", lambda a: load_text(a.resultant, lines=1))


def _borne(title: str, told: Callable[[LoadAnswer], str], **how: bool) -> Column:
    """Return a column that says nothing of a load under which the implant gives way."""
    return Column(title, lambda a: told(a) if a.gives_way_at is None else "", **how)


MOTION = (
    Column("Peak micromotion [µm]", _peak_cell, number=True),
    _borne("Band", lambda a: a.band, whole=True),
    Column("Where", place_of),
)
PARTS = (
    _borne("Sliding [µm]", lambda a: rounded(a.peak.sliding_um), number=True),
    _borne("Opening [µm]", lambda a: rounded(a.peak.opening_um), number=True),
)
HEAD = _borne(
    "Head movement [µm]", lambda a: with_error(a.head.total_um, a.head_error.total_um), number=True
)
LEFT = (
    Column("Remains: peak [µm]", lambda a: _left_text(a, "remaining_peak_um"), number=True),
    Column("head [µm]", lambda a: _left_text(a, "remaining_head_um"), number=True),
)
SHORT = (Column("Load", lambda a: f"{a.name}: {WHAT.cell(a)}"), *MOTION, HEAD, LEFT[0])
ON_A_TERMINAL = (NAME, *MOTION, HEAD, LEFT[0])
WHOLE = (NAME, WHAT, *MOTION, *PARTS, HEAD, *LEFT)


def _left_text(answer: LoadAnswer, name: str) -> str:
    return "" if answer.remaining is None else rounded(getattr(answer.remaining, name))


def _loads_table(explained: Explained, columns: tuple[Column, ...]) -> Table:
    ranged = _range_columns(explained)
    after = columns.index(MOTION[0]) + 1
    range_is = "; range: 90 % of what the case leaves open" if ranged else ""
    opening = " Opening is negative where the gap closes." if PARTS[1] in columns else ""
    return Table(
        caption=f"Motion from seated to loaded. ±: numerical error alone{range_is}",
        columns=(*columns[:after], *ranged, *columns[after:]),
        items=explained.answer.loads,
        note=f"{WHAT_MOVES}{opening}",
    )


def _range_columns(explained: Explained) -> tuple[Column, ...]:
    """Return the column of the peak over what the case leaves open, where that was found."""
    if explained.ranges is None:
        return ()
    names = [answer.name for answer in explained.answer.loads]
    of = dict(zip(names, explained.ranges.loads, strict=True))

    def cell(answer: LoadAnswer) -> str:
        its = of[answer.name]
        return "gives way" if its.peak_um is None else range_text(its.peak_um)

    return (Column("Range [µm]", cell, number=True),)


def _error_column(part: str) -> Column:
    return Column(part, lambda row: small_text(row[1].parts_um[part]), number=True)


ERRORS = (
    Column("Load", lambda row: row[0]),
    *map(_error_column, ERROR_PARTS),
    Column("Sum", lambda row: small_text(row[1].total_um), number=True),
)


def _errors_table(result: CheckResult) -> Table:
    peaks = [(f"{a.name}: peak", a.error) for a in result.loads]
    heads = [(f"{a.name}: head", a.head_error) for a in result.loads]
    return Table(
        caption="Parts of the ± [µm], measured by solving again",
        columns=ERRORS,
        items=[row for pair in zip(peaks, heads, strict=True) for row in pair],
        note="Modelling choices and rough inputs weigh more than this.",
        wide=False,
    )


def small_text(error_um: float) -> str:
    """Return an error in two digits, and what is far below any motion as that.

    >>> small_text(104.2), small_text(1.317), small_text(0.083), small_text(8e-05)
    ('104', '1.3', '0.083', '<0.01')
    """
    if error_um < 0.01:
        return "<0.01"
    return f"{error_um:.0f}" if error_um >= 100 else f"{error_um:.2g}"


# --- What changes the number --------------------------------------------------------------------------


def _helps(explained: Explained) -> tuple[Block, ...]:
    levers = [lever for lever in explained.levers if lever.by_plan]
    if not explained.levers:
        return (f"What changes the number: {NOT_EXPLAINED}",)
    if levers and all(lever.reason for lever in levers):
        told = "What changes the number: no change could be solved on coarser elements."
        return (f"{told} {levers[0].reason}",)
    return ANATOMY, _levers_table(explained, by_plan=True)


def _levers_table(explained: Explained, *, by_plan: bool) -> Table:
    """Return what each change does to the largest peak, the largest change first."""
    result = explained.answer
    worst = result.governing
    answered = worst.borne_peak_um

    def size(lever: Lever) -> float:
        """Return the peak relative to the answer's, or to 1 µm where the implant gives way there."""
        after = largest_after(result, lever)
        return math.inf if after is None else after[1] / (answered or 1.0)

    def helps(lever: Lever) -> bool:
        return size(lever) < (math.inf if answered is None else 1 - LEAST_HELP)

    def what(lever: Lever) -> str:
        if lever.reason:
            return f"{lever.text}: {textwrap.shorten(lever.reason, MOST_LETTERS, placeholder=' …')}"
        after = largest_after(result, lever)
        if after is None or after[0] is worst:
            return lever.text
        return f"{lever.text}; then “{after[0].name}” governs"

    def peak(lever: Lever) -> str:
        if lever.reason:
            return NO_ANSWER
        ratio = size(lever)
        return GIVES_WAY if ratio == math.inf else rounded(ratio * (answered or 1.0))

    def difference(lever: Lever) -> str:
        if answered is None or lever.reason or size(lever) == math.inf:
            return ""
        return change_text(size(lever))

    levers = [lever for lever in explained.levers if lever.by_plan is by_plan]
    if by_plan:
        levers = sorted(filter(helps, levers), key=size)[:MOST_HELPS]
    else:
        levers = sorted(levers, key=lambda lever: -abs(math.log(size(lever) or math.inf)))
    caption = "One thing changed in the plan" if by_plan else "One rough input changed"
    kept = result.case.interface.measured_torque_ncm is not None
    how = f"{HOW_CHANGED} {TORQUE_IS_KEPT}" if kept else HOW_CHANGED
    none = f"None of the changes tried takes {LEAST_HELP:.0%} off the peak."
    becomes = f"the largest peak, {rounded(answered or 0.0)} µm under “{worst.name}”, becomes"
    if answered is None:
        none = "None of the changes tried prevents it."
        becomes = f"the implant, which gives way under “{worst.name}”, then moves at most"
        how = "Each change was solved on coarser elements."
    return Table(
        caption=f"{caption}: {becomes}",
        columns=(
            Column("Change", what),
            Column("Peak [µm]", peak, number=True),
            Column("Difference", difference, number=True),
        ),
        items=levers,
        note=none if by_plan and not levers else how,
        wide=False,
    )


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
    loads = explained.answer.loads
    base = Choice(subject="", text="base case", peaks_um=tuple(a.borne_peak_um for a in loads))

    def peak(place: int) -> Callable[[Choice], str]:
        def told(choice: Choice) -> str:
            value = choice.peaks_um[place]
            return rounded(value) if value is not None else NO_ANSWER if choice.reason else GIVES_WAY

        return told

    return Table(
        caption="Peak micromotion [µm] under other choices, where there is no agreed value",
        columns=(
            Column("Choice", lambda it: f"{it.subject}: {it.text}".removeprefix(": ")),
            *(Column(a.name, peak(place), number=True) for place, a in enumerate(loads)),
        ),
        items=(base, *explained.choices),
        note=" ".join(
            f"No answer with {choice.subject}, {choice.text}: {choice.reason}"
            for choice in explained.choices
            if choice.reason
        ),
        wide=False,
    )


def _choices_in_short(explained: Explained) -> str:
    """Return from where to where the governing peak goes under other choices."""
    result = explained.answer
    place = result.loads.index(result.governing)
    peaks = [choice.peaks_um[place] for choice in explained.choices]
    known = [peak for peak in (*peaks, result.governing.borne_peak_um) if peak is not None]
    if not known:
        return f"Under all {len(peaks)} other choices the implant gives way as well, or has no answer."
    lost = "" if len(known) > len(peaks) else "; some give no answer"
    return (
        f"Where there is no agreed value, {len(peaks)} other choices put the peak under "
        f"“{result.governing.name}” between {rounded(min(known))} and {rounded(max(known))} µm{lost}."
    )


def _six(explained: Explained) -> Block:
    if explained.six is None:
        return f"Six directions: {NOT_EXPLAINED}"
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

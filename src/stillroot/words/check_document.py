"""The answer to a case as a report. Nothing is computed here but shares shown as changes."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Any

from stillroot.answers.explained import as_explained
from stillroot.answers.summary import GIVES_WAY, NO_LINE, place_of, rounded, with_error
from stillroot.inputs.case import SECTIONS
from stillroot.inputs.case_messages import written
from stillroot.inputs.section import ASSUMPTION
from stillroot.mechanics.accuracy import PARTS
from stillroot.studies.levers import largest_after
from stillroot.words.directions import IN_PLAIN_WORDS, in_words, load_in_words
from stillroot.words.document import (
    CLINICIAN,
    RESEARCHER,
    Document,
    Key,
    Keys,
    Lines,
    Section,
    Shown,
    Table,
    made_by,
)
from stillroot.words.loads import load_text
from stillroot.words.report import (
    NO_ANSWER,
    choice_cells,
    choices_without_answer,
    engagement_line,
    torque_lines,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.answers.explained import Explained, Lever
    from stillroot.inputs.case import Case
    from stillroot.mechanics.six_directions import SixDirections

QUESTION = "How far does this implant move against its bone under these loads?"
WHAT_MOVES = (
    "Peak micromotion is how far the wall of the implant moves against the bone where it moves most, "
    "from seated to loaded. Head movement is what a gauge at the load's height reads: it includes the "
    "elastic give of bone and implant."
)
TORQUE_IS_ONE = "Torque is friction about one of the six directions; it does not measure the other five."
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
NOT_EXPLAINED = (
    "not computed for this answer. The command line computes it with every report; in Python, "
    "stillroot.explain(result) does."
)


def check_document(answered: CheckResult | Explained) -> Document:
    """Return the report of an answer."""
    explained = as_explained(answered)
    result = explained.answer
    slugs, governing = result.load_slugs, result.loads.index(result.governing)
    section = f"section-{slugs[governing]}"
    return Document(
        question=QUESTION,
        subject=result.case.title,
        answer=result.summary.sentence,
        limits=result.summary.limits,
        first=(Shown(name="summary"), Shown(name=section)),
        sections=tuple(_sections(explained, governing)),
        slides=tuple(slides(result)),
        again=f"stillroot check case.toml{' --choices' if explained.choices else ''} --out DIR",
        case_file="case.toml",
        made_by=made_by(result.versions, result.case.fingerprint()),
    )


def slides(result: CheckResult) -> Iterator[str]:
    """Yield the names of the pictures that a teacher shows."""
    governing = result.load_slugs[result.loads.index(result.governing)]
    yield from ("summary", f"section-{governing}", f"moved-{governing}", f"gauge-{governing}")
    yield from (f"unrolled-{governing}", "seat-pressure", "directions", "levers", "choices")


def _sections(explained: Explained, governing: int) -> Iterator[Section]:
    result = explained.answer
    slugs = result.load_slugs
    holding = Lines(lines=(" ".join((f"{engagement_line(result)}.", *torque_lines(result))),))
    choices = (_choices_in_short(explained),) if explained.choices else ()
    yield Section(title="Loads and motions", blocks=(_short_loads_table(result),), readers=CLINICIAN)
    yield Section(
        title="What changes the number; engagement and torque",
        blocks=(*_helps(explained), *_six(explained), holding, *choices),
        readers=CLINICIAN,
    )
    yield Section(title="Loads and motions", blocks=(_loads_table(result),), readers=RESEARCHER)
    yield Section(
        title="What changes the number",
        blocks=(*_helps(explained), *_drives(explained)),
        readers=RESEARCHER,
    )
    tables = (*_six(explained), _errors_table(result))
    yield Section(
        title="Engagement, six directions and numerical error",
        blocks=(holding, *tables),
        readers=RESEARCHER,
    )
    moving = [Shown(name=f"{kind}-{slugs[governing]}") for kind in ("moved", "unrolled", "gauge")]
    moving += [Shown(name=name) for name in ("seat-pressure", "directions", "levers")]
    for place, slug in enumerate(slugs):
        if place != governing:
            moving += [Shown(name=f"{k}-{slug}", on_paper=False) for k in ("section", "unrolled")]
    yield Section(title="In pictures", blocks=tuple(moving), readers=RESEARCHER)
    if explained.choices:
        blocks = (_choices_table(explained), Shown(name="choices", on_paper=False))
        yield Section(title="Where there is no agreed value", blocks=blocks, readers=RESEARCHER)
    method = Lines(lines=(METHOD,))
    yield Section(
        title="The case as resolved", blocks=(case_keys(result.case), method), readers=RESEARCHER
    )


def _helps(explained: Explained) -> Iterator[Table | Lines]:
    levers = [lever for lever in explained.levers if lever.by_plan]
    if not explained.levers:
        yield Lines(lines=(f"What changes the number: {NOT_EXPLAINED}",))
    elif levers and all(lever.reason for lever in levers):
        told = (
            f"What changes the number: no change could be solved on coarser elements. {levers[0].reason}"
        )
        yield Lines(lines=(told,))
    else:
        yield Lines(lines=(ANATOMY,))
        yield _levers_table(explained, by_plan=True)


def _drives(explained: Explained) -> Iterator[Table]:
    if any(not lever.by_plan for lever in explained.levers):
        yield _levers_table(explained, by_plan=False)


def _short_loads_table(result: CheckResult) -> Table:
    rows = []
    for answer in result.loads:
        name, what, peak, band, where, _, _, head = _load_row(answer)
        rows.append((f"{name}: {what}", peak, band, where, head))
    return Table(
        caption="Motion from seated to loaded; the ± is numerical error alone",
        head=("Load", "Peak micromotion [µm]", "Band", "Where", "Head movement [µm]"),
        rows=tuple(rows),
        numbers=frozenset({1, 4}),
        whole=frozenset({2}),
        note=WHAT_MOVES,
    )


def _loads_table(result: CheckResult) -> Table:
    head = ("Load", "What it is", "Peak micromotion [µm]", "Band", "Where", "Sliding [µm]")
    rows = tuple(_load_row(answer) for answer in result.loads)
    return Table(
        caption="Motion from seated to loaded; the ± is numerical error alone",
        head=(*head, "Opening [µm]", "Head movement [µm]"),
        rows=rows,
        numbers=frozenset({2, 5, 6, 7}),
        whole=frozenset({3}),
        note=f"{WHAT_MOVES} Opening is negative where the gap closes.",
    )


def _load_row(answer: LoadAnswer) -> tuple[str, ...]:
    return (
        answer.name,
        load_text(answer.resultant, lines=1),
        with_error(answer.peak.total_um, answer.error.total_um),
        answer.band,
        place_of(answer),
        rounded(answer.peak.sliding_um),
        rounded(answer.peak.opening_um),
        with_error(answer.head.total_um, answer.head_error.total_um),
    )


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
    governing = f"“{result.governing.name}”"
    kept = result.case.interface.measured_torque_ncm is not None
    how = f"{HOW_CHANGED} {TORQUE_IS_KEPT}" if kept else HOW_CHANGED
    none = f"None of the changes tried takes {LEAST_HELP:.0%} off the peak."
    return Table(
        caption=f"{caption}: the largest peak, {rounded(answered)} µm under {governing}, becomes",
        head=("Change", "Peak [µm]", "Difference"),
        rows=tuple(_lever_row(result, lever) for lever in levers),
        numbers=frozenset({1, 2}),
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


def _choices_table(explained: Explained) -> Table:
    result = explained.answer
    names = tuple(a.name for a in result.loads)
    first = ("base case", *(rounded(a.peak.total_um) for a in result.loads))
    rows = [(f"{c.subject}: {c.text}", *choice_cells(c)) for c in explained.choices]
    return Table(
        caption="Peak micromotion [µm] under other choices",
        head=("Choice", *names),
        rows=(first, *rows),
        numbers=frozenset(range(1, len(names) + 1)),
        note=" ".join(choices_without_answer(explained)),
        wide=False,
    )


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


def change_text(ratio: float) -> str:
    """Return what a ratio takes off or adds, in per cent; a large one as a factor.

    >>> change_text(0.684), change_text(1.3), change_text(1.004), change_text(12.34)
    ('−32 %', '+30 %', '0 %', '× 12')
    """
    if ratio >= MANY_TIMES:
        return f"× {ratio:.2g}" if ratio < 100 else f"× {ratio:.0f}"
    percent = round(100 * (ratio - 1))
    return "0 %" if percent == 0 else f"{'+' if percent > 0 else '−'}{abs(percent)} %"


def _six(explained: Explained) -> Iterator[Table | Lines]:
    result = explained.answer
    if explained.six is None:
        yield Lines(lines=(f"Six directions: {NOT_EXPLAINED}",))
        return
    first_band = result.case.threshold.bands_um[0]
    means = (
        f"Moves little: peak under {first_band:g} µm at that load, which represents neither chewing nor "
        f"your load. {NO_LINE}"
    )
    yield six_table(
        explained.six,
        caption=f"Six directions of the seated implant, at the crest. {in_words(explained.six)}",
        note=means if result.torque is None else f"{means} {TORQUE_IS_ONE}",
    )


def six_table(six: SixDirections, *, caption: str, note: str) -> Table:
    """Return how an implant moves in each direction, in short."""
    rows = []
    for row in six.directions:
        moved = GIVES_WAY if row.micromotion is None else rounded(row.micromotion.peak.total_um)
        rows.append((IN_PLAIN_WORDS[row.name], load_in_words(row), moved, row.state))
    return Table(
        caption=caption,
        head=("Direction", "Load", "Peak micromotion [µm]", "How it moves"),
        rows=tuple(rows),
        numbers=frozenset({1, 2}),
        note=note,
        wide=False,
    )


def small_text(error_um: float) -> str:
    """Return an error in two digits, and what is far below any motion as that.

    >>> small_text(1.317), small_text(0.083), small_text(8e-05)
    ('1.3', '0.083', '<0.01')
    """
    return "<0.01" if error_um < 0.01 else f"{error_um:.2g}"


def _errors_table(result: CheckResult) -> Table:
    def row(name: str, parts: Mapping[str, float], total: float) -> tuple[str, ...]:
        return (name, *(small_text(parts[part]) for part in PARTS), small_text(total))

    rows = []
    for a in result.loads:
        rows.append(row(f"{a.name}: peak", a.error.parts_um, a.error.total_um))
        rows.append(row(f"{a.name}: head", a.head_error.parts_um, a.head_error.total_um))
    return Table(
        caption="Parts of the ± [µm], measured by solving again",
        head=("Load", *PARTS, "Sum"),
        rows=tuple(rows),
        numbers=frozenset(range(1, len(PARTS) + 2)),
        note="Modelling choices and rough inputs weigh more than this.",
        wide=False,
    )


def case_keys(case: Case) -> Keys:
    """Return every key of a case, with where each comes from."""
    return keys_of(
        list(resolved_keys(case)), "Every key of the case; the case file states those without a mark"
    )


def keys_of(resolved: list[tuple[str, str, str]], caption: str) -> Keys:
    """Return keys with their sources counted: the same source has the same number."""
    numbers: dict[str, str] = {}
    keys = []
    for key, value, source in resolved:
        mark = "" if source == STATED else "a" if source == ASSUMPTION else ""
        if source not in (STATED, ASSUMPTION):
            mark = numbers.setdefault(source, str(len(numbers) + 1))
        keys.append(Key(key=key, value=value, mark=mark))
    return Keys(
        caption=caption,
        keys=tuple(keys),
        sources=(("a", "assumption: no source"), *((mark, source) for source, mark in numbers.items())),
    )


STATED = "the case"


def resolved_keys(case: Case) -> Iterator[tuple[str, str, str]]:
    """Yield (key, value, where it comes from) of a case with every default."""
    resolved, stated = case.to_dict(), case.stated()
    for name in SECTIONS:
        if name == "loads":
            for place, load in enumerate(resolved["loads"]):
                yield from _of_section(f"loads[{place + 1}]", name, load, stated["loads"][place])
        elif name:
            yield from _of_section(name, name, _at(resolved, name), _at(stated, name))


def _of_section(
    shown: str, name: str, resolved: Mapping[str, Any], stated: Mapping[str, Any]
) -> Iterator[tuple[str, str, str]]:
    fields = SECTIONS[name].model_fields
    for key, value in resolved.items():
        if isinstance(value, dict):
            continue
        extra = fields[key].json_schema_extra
        source = dict(extra).get("source") if isinstance(extra, dict) else ""
        yield f"{shown}.{key}", written(value), STATED if key in stated else f"{source or 'the implant'}"


def _at(data: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    for step in name.split("."):
        data = data.get(step, {})
    return data

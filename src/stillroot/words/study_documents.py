"""Studies as reports. Nothing is computed here."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.answer import versions
from stillroot.answers.wording import band_of, rounded, with_error
from stillroot.inputs.vary import TRABECULAR
from stillroot.studies.bounds import Bounds
from stillroot.studies.comparison import Comparison
from stillroot.studies.spreads import CONFIDENCE, RARE, Spread
from stillroot.studies.sweeps import Sweep
from stillroot.words.check_document import NO_ANSWER
from stillroot.words.document import (
    PAGES,
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
from stillroot.words.resolved import case_section
from stillroot.words.torques import torque_text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from stillroot.answers.result import CheckResult
    from stillroot.studies.bounds import Answer
    from stillroot.studies.comparison import InputDifference, PairDifference
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.shipped_spread import Sourced
    from stillroot.studies.spreads import Interval

MOST_ROWS = 60
"""Rows of a sweep that a report has; the table in --out has all."""
MOST_BESIDE = 4
"""Cases whose inputs stand side by side in one table."""
LONGEST_NAME = 28
LINEAR = (
    "Bone is linear in all of these; stillroot check lists what limits a single case, such as bone that "
    "would yield."
)
LONGEST_HEADING = 20
MODULUS = {f"bone.{name}" for name in TRABECULAR}
"""Inputs that take the place of the stated modulus."""


Study = Sweep | Spread | Bounds | Comparison


def study_document(found: Study, shown: Sequence[str] = ()) -> Document:
    """Return the report of a study, `shown` being the names of its pictures."""
    match found:
        case Sweep():
            return _of_sweep(found, shown)
        case Spread():
            return _of_spread(found, shown)
        case Bounds():
            return _of_bounds(found, shown)
        case Comparison():
            return _of_comparison(found, shown)


def _of_sweep(sweep: Sweep, shown: Sequence[str]) -> Document:
    known = [outcome.peak_um for outcome in sweep.outcomes if outcome.peak_um is not None]
    keys = " and ".join(sweep.grid)
    answer = "No case of the sweep has an answer."
    if known:
        answer = (
            f"Over {keys} the largest peak micromotion lies between {rounded(min(known))} and "
            f"{rounded(max(known))} µm, in {len(known)} cases."
        )
    more = len(sweep.outcomes) - MOST_ROWS
    rest = (f"and {more} more cases; --out writes them all.",) if more > 0 else ()
    return _document(
        sweep,
        shown,
        question=f"How does the peak micromotion change with {keys}?",
        answer=answer,
        limits=(error_line(sweep.relative_error),),
        sections=(
            Section(
                title="Case by case",
                blocks=(sweep_table(sweep, most=MOST_ROWS), Lines(lines=rest)),
            ),
        ),
        command="sweep CASE.toml --vary …",
    )


def _of_spread(spread: Spread, shown: Sequence[str]) -> Document:
    drives = Section(title="What drives it", blocks=(drivers_table(spread),))
    return _document(
        spread,
        shown,
        question="How far does the peak spread with inputs that are known only roughly?",
        answer=" ".join(spread_sentences(spread)),
        limits=(nominal_line(spread),),
        sections=(
            Section(title="Where the peak can lie", blocks=(bands_table(spread),)),
            *((drives,) if spread.drivers else ()),
            _inputs_section(spread),
        ),
        command="spread CASE.toml",
    )


def _of_bounds(bounds: Bounds, shown: Sequence[str]) -> Document:
    title = "Question by question"
    found = [(answer, (*answer_notes(answer), *answer.failures.sentences)) for answer in bounds.answers]
    whole = [Lines(lines=(answer_sentence(bounds, answer), *notes)) for answer, notes in found]
    # On a terminal the sentences stand below all else, as the answer.
    notes = [Lines(lines=tuple(f"{_named(answer)}: {n}" for n in notes)) for answer, notes in found]
    return _document(
        bounds,
        shown,
        question=f"How far may each number go with the peak at or below {bounds.below_um:g} µm?",
        answer=" ".join(answer_sentence(bounds, answer) for answer in bounds.answers),
        limits=(bounds_premise(bounds),),
        sections=(
            Section(title=title, blocks=tuple(whole), readers=PAGES),
            Section(title=title, blocks=tuple(notes), readers=TERMINAL),
            *((_inputs_section(bounds),) if bounds.inputs else ()),
        ),
        command=f"bounds CASE.toml --below {bounds.below_um:g}",
    )


def _of_comparison(comparison: Comparison, shown: Sequence[str]) -> Document:
    told = tuple(pair_sentence(comparison, pair) for pair in comparison.pairs)
    answer, pairs = (told[0], ()) if len(told) == 1 else (_in_order(comparison), told)
    return _document(
        comparison,
        shown,
        question="Which of these cases moves more, and is the difference larger than the errors?",
        answer=answer,
        limits=(),
        sections=(
            Section(title="Side by side", blocks=(cases_table(comparison), Lines(lines=pairs))),
            Section(title="What differs in the cases", blocks=differences_tables(comparison)),
        ),
        command="compare A.toml B.toml …",
    )


def _inputs_section(found: Spread | Bounds) -> Section:
    return Section(title="What is known only roughly", blocks=(inputs_table(found.inputs),))


def _in_order(comparison: Comparison) -> str:
    """Return which case moves most and which least, and how many differences mean anything."""
    peaks = [result.governing.peak.total_um for result in comparison.results]
    most, least = peaks.index(max(peaks)), peaks.index(min(peaks))
    beyond = sum(pair.beyond_error for pair in comparison.pairs)
    said = (
        f"{comparison.names[most]} moves most, {rounded(peaks[most])} µm; {comparison.names[least]} "
        f"least, {rounded(peaks[least])} µm."
    )
    if not comparison.pairs:
        return said
    return (
        f"{said} Of {len(comparison.pairs)} differences between them {beyond} are larger than the "
        "numerical error."
    )


def _document(
    found: Study,
    shown: Sequence[str],
    *,
    question: str,
    answer: str,
    limits: tuple[str, ...],
    sections: tuple[Section, ...],
    command: str,
) -> Document:
    """Return the report of a study, with its failures, pictures and case.

    Where it cannot be trusted, the warning stands before the answer.
    """
    failures = None if isinstance(found, Bounds) else found.failures
    failed = failures.sentences if failures else ()
    if isinstance(found, Comparison):
        cases, resolved = [result.case for result in found.results], []
    else:
        cases, resolved = [found.case], [case_section(found.case)]
    pictures = tuple(Shown(name=name) for name in shown)
    length = 12 if len(cases) == 1 else 6
    return Document(
        question=question,
        subject="; ".join(case.title for case in cases),
        answer=f"{failed[-1]} {answer}" if failures and failures.too_many else answer,
        limits=(*limits, *failed, LINEAR),
        first=pictures[:1],
        sections=(
            *sections,
            *((Section(title="Pictures", blocks=pictures[1:]),) if pictures[1:] else ()),
            *resolved,
        ),
        slides=tuple(shown),
        again=f"stillroot {command} --out DIR",
        made_by=made_by(versions(), "".join(case.fingerprint()[:length] for case in cases)),
    )


# --- Sentences ----------------------------------------------------------------------------------------


def spread_sentences(spread: Spread) -> tuple[str, ...]:
    """Return what a spread comes to: the interval of the peak, and the bands that it reaches."""
    if spread.peaks_um.size == 0:
        return ("No sample has an answer.",)
    median = spread.median_um
    low, high = rounded(spread.quantile_um(0.05)), rounded(spread.quantile_um(0.95))
    said = (
        f"The peak lies between {low} and {high} µm (5th to 95th percentile of the samples); median "
        f"{rounded(median.value)} µm ({CONFIDENCE:.0%} interval {rounded(median.low)} to "
        f"{rounded(median.high)})."
    )
    bands = spread.likely_bands
    if not bands:
        return said, "Almost no sample has an answer, so no band can be given."
    if not spread.mostly_answered:
        bands = (*bands, NO_ANSWER)
    if len(bands) > 1:
        told = f"{', '.join(bands[:-1])} and {bands[-1]} each have a chance of {RARE:.0%} or more"
        return said, f"The spread reaches more than one band: {told}."
    return said, f"The whole spread lies in one band: {bands[0]}."


def bounds_premise(bounds: Bounds) -> str:
    """Return what is asked for: the limit, and in how many of the samples."""
    if bounds.confidence is None:
        return f"Peak of every load at most {bounds.below_um:g} µm, with the inputs as stated."
    return (
        f"Peak of every load at most {bounds.below_um:g} µm in {bounds.confidence:.0%} of "
        f"{bounds.samples} samples of the rough inputs."
    )


def _named(answer: Answer) -> str:
    text = answer.question.text
    return text[0].upper() + text[1:]


def answer_sentence(bounds: Bounds, answer: Answer) -> str:
    """Return what was found for one question."""
    question, subject = answer.question, _named(answer)
    span = f"{question.low:.3g} to {question.high:.3g}"
    if answer.below_everywhere:
        return f"{subject}: at or below the limit over the whole range ({span})."
    if answer.below_in_part:
        end = question.low if question.grows else question.high
        return f"{subject}: none; the peak exceeds the limit at {end:.3g}, but not everywhere in {span}."
    if answer.value is None:
        return f"{subject}: none; the peak exceeds the limit over the whole range ({span})."
    found = f"{answer.value:.3g}"
    more = ""
    if answer.engaged_threads is not None:
        more = f", {answer.engaged_threads:.1f} engaged threads"
    uncertain = {item.input.key for item in bounds.inputs}
    if question.name == "bone" and not uncertain & MODULUS:
        moduli = [answer.value * modulus for _, modulus in bounds.case.bone.trabecular_profile_mpa]
        least, most = min(moduli), max(moduli)
        told = f"{least:.3g}" if least == most else f"{least:.3g} to {most:.3g}"
        more = f", which is {told} MPa"
    return f"{subject}: {found}{more}."


def answer_notes(answer: Answer) -> tuple[str, ...]:
    """Return the notes on an answer."""
    notes = []
    if answer.peak_um is not None:
        error = answer.relative_error
        told = "" if error is None else f", not counting a numerical error of up to {error:.1%}"
        notes.append(
            f"There the peak is {rounded(answer.peak_um)} µm{told}; {len(answer.tried)} values tried."
        )
    if not answer.monotone:
        said = "The peak neither rises nor falls throughout the range (threads enter a hold one by one)"
        if answer.value is not None:
            said += "; from this value on, every value tried stays at or below the limit"
        notes.append(f"{said}.")
    return tuple(notes)


def pair_sentence(comparison: Comparison, pair: PairDifference) -> str:
    """Return how two cases differ, and what the difference is worth."""
    one, other = comparison.names[pair.first], comparison.names[pair.second]
    more, less = (other, one) if pair.difference_um > 0 else (one, other)
    size = with_error(abs(pair.difference_um), pair.error_um)
    if pair.difference_um == 0:
        return f"{more} and {less} move alike."
    said = f"{more} moves {size} µm more than {less}"
    worth = "more" if pair.beyond_error else "no more"
    said += f": {worth} than the numerical error"
    share = pair.does_so
    if share is None:
        return f"{said}."
    joined = ", and" if pair.beyond_error and pair.beyond_spread else "; but"
    if not pair.beyond_error and not pair.beyond_spread:
        joined = ", and"
    kind = "beyond" if pair.beyond_spread else "within"
    return f"{said}{joined} {kind} the spread (it does so in {share:.0%} of the samples)."


def error_line(relative_error: float | None) -> str:
    """Return how far the peaks of a study can be off."""
    if relative_error is None:
        return "The numerical error was not measured: no case has an answer."
    return (
        f"Numerical error: at most {relative_error:.1%} of the peak, measured on the cases with the "
        "smallest, the middle and the largest peak."
    )


def nominal_line(spread: Spread) -> str:
    """Return the answer to the case as stated."""
    governing = spread.nominal.governing
    if governing is None or governing.peak_um is None or governing.error_um is None:
        return f"The case as stated has no answer: {spread.nominal.why_not}"
    told = with_error(governing.peak_um, governing.error_um)
    return f"The case as stated: {told} µm ({CASE_ERROR}), under “{governing.name}”."


CASE_ERROR = "the ± is numerical"


# --- Tables -------------------------------------------------------------------------------------------


def sweep_table(sweep: Sweep, *, most: int | None = None) -> Table:
    """Return the largest peak of every case of a sweep, or of the first ones."""
    bands = sweep.case.threshold.bands_um
    rows = [
        (*(f"{value:g}" for value in point), *_outcome_cells(outcome, bands))
        for point, outcome in list(zip(sweep.points, sweep.outcomes, strict=True))[:most]
    ]
    keys = tuple(_folded(key) for key in sweep.grid)
    return Table(
        caption="Largest peak micromotion [µm]",
        head=(*keys, "Peak", "Band", "Governing load", "Torque [N·cm]", "Head movement"),
        rows=tuple(rows),
        numbers=frozenset({*range(len(keys) + 1), len(keys) + 3, len(keys) + 4}),
    )


def bands_table(spread: Spread) -> Table:
    """Return the chance of each band."""
    rows = [
        (item.band, f"{item.chance.value:.0%}", _percent_range(item.chance)) for item in spread.bands
    ]
    if spread.without_answer:
        count = len(spread.peaks_um) + spread.without_answer
        rows.append((NO_ANSWER, f"{spread.without_answer / count:.0%}", ""))
    return Table(
        caption="Chance of each band",
        head=("Band", "Chance", f"{CONFIDENCE:.0%} interval"),
        rows=tuple(rows),
        numbers=frozenset({1, 2}),
        wide=False,
    )


def inputs_table(inputs: tuple[Sourced, ...]) -> Table:
    """Return the uncertain inputs and where they come from."""
    return table_of(
        inputs,
        (
            Column("Input", lambda item: item.input.key, whole=True),
            Column("Value", lambda item: item.input.in_words, whole=True),
            Column("Source", lambda item: item.source),
        ),
        caption="What is known only roughly",
    )


def drivers_table(spread: Spread) -> Table:
    """Return what drives the spread."""
    return table_of(
        spread.drivers,
        (
            Column("Input", lambda driver: driver.key, whole=True),
            Column("With all others", lambda driver: _share(driver.total), number=True),
            Column("Alone", lambda driver: _share(driver.first), number=True),
        ),
        caption=f"What drives it: share of the variance of ln(peak), {CONFIDENCE:.0%} interval",
        wide=False,
    )


def cases_table(comparison: Comparison) -> Table:
    """Return what came of each case; a row is a result and the interval of its peak."""
    intervals = map(comparison.interval_um, range(len(comparison.results)))
    return table_of(
        zip(comparison.names, comparison.results, intervals, strict=True),
        CASES,
        caption="Side by side [µm]",
    )


def _torque_cell(result: CheckResult) -> str:
    return "" if result.torque is None else torque_text(result.torque, case=result.case)


CASES = (
    Column("Case", lambda row: row[0]),
    Column(
        "Peak",
        lambda row: with_error(row[1].governing.peak.total_um, row[1].governing.error.total_um),
        number=True,
    ),
    Column(
        "5 to 95 %",
        lambda row: "" if row[2] is None else f"{rounded(row[2][0])} to {rounded(row[2][1])}",
        number=True,
    ),
    Column("Band", lambda row: row[1].governing.band),
    Column(
        "Head movement",
        lambda row: with_error(row[1].governing.head.total_um, row[1].governing.head_error.total_um),
        number=True,
    ),
    Column("Torque [N·cm]", lambda row: _torque_cell(row[1]), number=True),
    Column("Held [mm]", lambda row: f"{row[1].engagement_length_mm:g}", number=True),
)


def differences_tables(comparison: Comparison) -> tuple[Table, ...]:
    """Return the inputs that differ, as many cases beside each other as are readable."""

    def value(place: int) -> Callable[[InputDifference], str]:
        return lambda item: _shown(item.values[place])

    def table(places: range) -> Table:
        cases = (Column(comparison.names[place], value(place), number=True) for place in places)
        return table_of(
            comparison.inputs,
            (Column("Key", lambda item: item.key, whole=True), *cases),
            caption="What differs in the cases",
        )

    count = len(comparison.names)
    return tuple(
        table(range(first, min(first + MOST_BESIDE, count))) for first in range(0, count, MOST_BESIDE)
    )


def _share(interval: Interval) -> str:
    """Return a share of a variance; an estimate may lie outside 0 to 1, a share does not."""
    value, low, high = np.clip([interval.value, interval.low, interval.high], 0.0, 1.0)
    return f"{value:.2f} ({low:.2f} to {high:.2f})"


def _percent_range(interval: Interval) -> str:
    return f"{interval.low:.0%} to {interval.high:.0%}"


def _outcome_cells(outcome: Outcome, bands: tuple[float, ...]) -> tuple[str, ...]:
    governing = outcome.governing
    torque = "" if outcome.torque_ncm is None else f"{outcome.torque_ncm:.0f}"
    if governing is None or governing.peak_um is None or governing.head_um is None:
        return NO_ANSWER, "", _folded(outcome.why_not), torque, ""
    peak = governing.peak_um
    return rounded(peak), band_of(peak, bands), governing.name, torque, rounded(governing.head_um)


def _folded(text: str) -> str:
    """Break a key into short lines, or cut a long text."""
    if " " not in text:
        return "\n".join(line for part in re.findall(r"[^.]+\.?", text) for line in _lines(part))
    return text if len(text) <= 2 * LONGEST_NAME else f"{text[: 2 * LONGEST_NAME - 1]}…"


def _lines(part: str) -> list[str]:
    """Break a part of a key at its underscores, from the end, so that the unit stays with a word."""
    lines = [""]
    for piece in reversed(re.findall(r"[^_]+_?", part)):
        if lines[0] and len(piece) + len(lines[0]) > LONGEST_HEADING:
            lines.insert(0, "")
        lines[0] = piece + lines[0]
    return lines


def _shown(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:g}" if isinstance(value, float) else str(value)

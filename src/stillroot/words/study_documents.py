"""Studies as reports. Nothing is computed here."""

from __future__ import annotations

import re
from dataclasses import replace
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.answer import versions
from stillroot.answers.wording import band_of, rounded, with_error
from stillroot.inputs.vary import TRABECULAR
from stillroot.studies.bounds import Bounds
from stillroot.studies.comparison import Comparison
from stillroot.studies.spreads import CONFIDENCE, RARE, Spread
from stillroot.studies.sweeps import Sweep
from stillroot.words.check_document import NO_ANSWER
from stillroot.words.document import Column, Document, Section, Shown, Table, made_by
from stillroot.words.resolved import case_section
from stillroot.words.torques import torque_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from stillroot.answers.result import CheckResult
    from stillroot.studies.bounds import Answer
    from stillroot.studies.comparison import InputDifference, PairDifference
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.spreads import Interval

MOST_ROWS = 60
"""Rows of a sweep that a report has; the table in --out has all."""
MOST_BESIDE = 4
"""Cases whose inputs stand side by side in one table."""
LONGEST_NAME = 28
SINGLE = "The command stillroot check lists what limits a single case, such as bone that yields."
LONGEST_HEADING = 20
MODULUS = {f"bone.{name}" for name in TRABECULAR}
"""Inputs that take the place of the stated modulus."""


Study = Sweep | Spread | Bounds | Comparison


def study_document(found: Study, shown: Sequence[str] = ()) -> Document:
    """Return the report of a study, `shown` being the names of its pictures.

    Where it cannot be trusted, the warning stands before the answer.
    """
    told = _told(found)
    if isinstance(found, Comparison):
        cases, resolved = [result.case for result in found.results], []
    else:
        cases, resolved = [found.case], [case_section(found.case)]
    failures = None if isinstance(found, Bounds) else found.failures
    failed = failures.sentences if failures else ()
    pictures = tuple(map(Shown, shown))
    return replace(
        told,
        subject="; ".join(case.title for case in cases),
        answer=f"{failed[-1]} {told.answer}" if failures and failures.too_many else told.answer,
        limits=(*told.limits, *failed, SINGLE),
        first=pictures[:1],
        sections=(
            *told.sections,
            *((Section("Pictures", pictures[1:]),) if pictures[1:] else ()),
            *resolved,
        ),
        slides=tuple(shown),
        again=f"stillroot {told.again} --out DIR",
        made_by=made_by(
            versions(), "".join(case.fingerprint()[: 12 if resolved else 6] for case in cases)
        ),
    )


def _told(found: Study) -> Document:
    """Return what a study of its kind says for itself."""
    match found:
        case Sweep():
            return _of_sweep(found)
        case Spread():
            return _of_spread(found)
        case Bounds():
            return _of_bounds(found)
        case Comparison():
            return _of_comparison(found)


def _of_sweep(sweep: Sweep) -> Document:
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
    return Document(
        question=f"How does the peak micromotion change with {keys}?",
        answer=answer,
        limits=(error_line(sweep.relative_error),),
        sections=(Section("Case by case", (_sweep_table(sweep), *rest)),),
        again="sweep CASE.toml --vary …",
    )


def _of_spread(spread: Spread) -> Document:
    return Document(
        question="How far does the peak spread with inputs that are known only roughly?",
        answer=" ".join(spread_sentences(spread)),
        limits=(nominal_line(spread),),
        sections=(
            Section("Where the peak can lie", (_bands_table(spread),)),
            *((Section("What drives it", (_drivers_table(spread),)),) if spread.drivers else ()),
            _inputs_section(spread),
        ),
        again="spread CASE.toml",
    )


def _of_bounds(bounds: Bounds) -> Document:
    title = "Question by question"
    sentences = [answer_sentence(bounds, answer) for answer in bounds.answers]
    notes = [(*answer_notes(answer), *answer.failures.sentences) for answer in bounds.answers]
    whole = [text for one, more in zip(sentences, notes, strict=True) for text in (one, *more)]
    # On a terminal the sentences stand below all else, as the answer.
    short = [
        f"{_named(answer)}: {note}"
        for answer, more in zip(bounds.answers, notes, strict=True)
        for note in more
    ]
    return Document(
        question=f"How far may each number go with the peak at or below {bounds.below_um:g} µm?",
        answer=" ".join(sentences),
        limits=(bounds_premise(bounds),),
        sections=(
            Section(title, tuple(whole), ("clinician", "researcher")),
            Section(title, tuple(short), ("terminal",)),
            *((_inputs_section(bounds),) if bounds.inputs else ()),
        ),
        again=f"bounds CASE.toml --below {bounds.below_um:g}",
    )


def _of_comparison(comparison: Comparison) -> Document:
    told = tuple(pair_sentence(comparison, pair) for pair in comparison.pairs)
    answer, pairs = (told[0], ()) if len(told) == 1 else (_in_order(comparison), told)
    return Document(
        question="Which of these cases moves more, and is the difference larger than the errors?",
        answer=answer,
        sections=(
            Section("Side by side", (_cases_table(comparison), *pairs)),
            Section("What differs in the cases", tuple(_differences_tables(comparison))),
        ),
        again="compare A.toml B.toml …",
    )


def _inputs_section(found: Spread | Bounds) -> Section:
    title = "What is known only roughly"
    return Section(title, (Table(caption=title, columns=INPUTS, items=found.inputs),))


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


def _sweep_table(sweep: Sweep) -> Table:
    """Return the largest peak of the first cases of a sweep; a row is a point and its outcome."""

    def value(place: int) -> Callable[[Any], str]:
        return lambda row: f"{row[0][place]:g}"

    def band(row: tuple[Any, Outcome]) -> str:
        peak = row[1].peak_um
        return "" if peak is None else band_of(peak, sweep.case.threshold.bands_um)

    return Table(
        caption="Largest peak micromotion [µm]",
        columns=(
            *(Column(_folded(key), value(place), number=True) for place, key in enumerate(sweep.grid)),
            Column("Peak", lambda row: _rounded(row[1].peak_um, NO_ANSWER), number=True),
            Column("Band", band),
            Column("Governing load", lambda row: _governing(row[1])),
            Column("Torque [N·cm]", lambda row: _torque(row[1]), number=True),
            Column("Head movement", lambda row: _head(row[1]), number=True),
        ),
        items=list(zip(sweep.points, sweep.outcomes, strict=True))[:MOST_ROWS],
    )


def _rounded(value: float | None, none: str = "") -> str:
    return none if value is None else rounded(value)


def _governing(outcome: Outcome) -> str:
    """Return the load that governs, or why there is none."""
    return _folded(outcome.why_not) if outcome.governing is None else outcome.governing.name


def _torque(outcome: Outcome) -> str:
    return "" if outcome.torque_ncm is None else f"{outcome.torque_ncm:.0f}"


def _head(outcome: Outcome) -> str:
    return "" if outcome.governing is None else _rounded(outcome.governing.head_um)


def _bands_table(spread: Spread) -> Table:
    """Return the chance of each band; a row is a band, its chance and the interval of that."""
    rows = [
        (it.band, f"{it.chance.value:.0%}", f"{it.chance.low:.0%} to {it.chance.high:.0%}")
        for it in spread.bands
    ]
    if spread.without_answer:
        count = len(spread.peaks_um) + spread.without_answer
        rows.append((NO_ANSWER, f"{spread.without_answer / count:.0%}", ""))
    return Table(
        caption="Chance of each band",
        columns=(
            Column("Band", itemgetter(0)),
            Column("Chance", itemgetter(1), number=True),
            Column(f"{CONFIDENCE:.0%} interval", itemgetter(2), number=True),
        ),
        items=rows,
        wide=False,
    )


INPUTS = (
    Column("Input", lambda item: item.input.key, whole=True),
    Column("Value", lambda item: item.input.in_words, whole=True),
    Column("Source", lambda item: item.source),
)


def _drivers_table(spread: Spread) -> Table:
    return Table(
        caption=f"What drives it: share of the variance of ln(peak), {CONFIDENCE:.0%} interval",
        columns=(
            Column("Input", lambda driver: driver.key, whole=True),
            Column("With all others", lambda driver: _share(driver.total), number=True),
            Column("Alone", lambda driver: _share(driver.first), number=True),
        ),
        items=spread.drivers,
        wide=False,
    )


def _cases_table(comparison: Comparison) -> Table:
    """Return what came of each case; a row is a name, a result and the interval of its peak."""
    intervals = map(comparison.interval_um, range(len(comparison.results)))
    return Table(
        caption="Side by side [µm]",
        columns=CASES,
        items=zip(comparison.names, comparison.results, intervals, strict=True),
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
    Column("Held [mm]", lambda row: f"{row[1].case.engagement_length_mm:g}", number=True),
)


def _differences_tables(comparison: Comparison) -> Iterator[Table]:
    """Yield the inputs that differ, as many cases beside each other as are readable."""

    def value(place: int) -> Callable[[InputDifference], str]:
        return lambda item: _shown(item.values[place])

    named = list(enumerate(comparison.names))
    for first in range(0, len(named), MOST_BESIDE):
        cases = named[first : first + MOST_BESIDE]
        yield Table(
            caption="What differs in the cases",
            columns=(
                Column("Key", lambda item: item.key, whole=True),
                *(Column(name, value(place), number=True) for place, name in cases),
            ),
            items=comparison.inputs,
        )


def _share(interval: Interval) -> str:
    """Return a share of a variance; an estimate may lie outside 0 to 1, a share does not."""
    value, low, high = np.clip([interval.value, interval.low, interval.high], 0.0, 1.0)
    return f"{value:.2f} ({low:.2f} to {high:.2f})"


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

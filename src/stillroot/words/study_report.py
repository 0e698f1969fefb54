"""Studies as text and as plain data. Nothing is computed here."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from stillroot.answers.answer import versions
from stillroot.answers.summary import CAUTION, NO_LINE, band_of, rounded, with_error
from stillroot.inputs.vary import TRABECULAR
from stillroot.studies.bounds import Bounds, motion
from stillroot.studies.comparison import Comparison
from stillroot.studies.spreads import CONFIDENCE, RARE, Spread
from stillroot.studies.store import program
from stillroot.studies.sweeps import Sweep
from stillroot.words.document import Table
from stillroot.words.report import empty_table, torque_text

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table as RichTable
    from rich.text import Text

    from stillroot.studies.bounds import Answer
    from stillroot.studies.comparison import PairDifference
    from stillroot.studies.outcome import Outcome
    from stillroot.studies.shipped_spread import Sourced
    from stillroot.studies.spreads import Interval
    from stillroot.studies.trust import Failures

MOST_ROWS = 60
"""Rows of a sweep that are printed; the table in --out has all."""
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


def show(found: Study, console: Console) -> None:
    """Print a study to a console."""
    match found:
        case Sweep():
            show_sweep(found, console)
        case Spread():
            show_spread(found, console)
        case Bounds():
            show_bounds(found, console)
        case Comparison():
            show_comparison(found, console)


def data_of(found: Study) -> dict[str, Any]:
    """Return a study as plain data for JSON."""
    match found:
        case Sweep():
            return sweep_data(found)
        case Spread():
            return spread_data(found)
        case Bounds():
            return bounds_data(found)
        case Comparison():
            return comparison_data(found)


def show_sweep(sweep: Sweep, console: Console) -> None:
    """Print a sweep to a console."""
    _say(console, sweep.case.title, style="bold")
    console.print(_printed(sweep_table(sweep, most=MOST_ROWS)))
    if len(sweep.outcomes) > MOST_ROWS:
        more = len(sweep.outcomes) - MOST_ROWS
        _say(console, f"and {more} more cases; --out writes them all.\n")
    _say(console, error_line(sweep.relative_error))
    _end(console, sweep.failures)


def show_spread(spread: Spread, console: Console) -> None:
    """Print a spread to a console."""
    _say(console, spread.case.title, style="bold")
    console.print(_printed(inputs_table(spread.inputs)))
    for line in spread_sentences(spread):
        _say(console, line, style="bold")
    console.print(_printed(bands_table(spread), "\n"))
    if spread.drivers:
        console.print(_printed(drivers_table(spread), "\n"))
    _say(console, nominal_line(spread))
    _end(console, spread.failures)


def show_bounds(bounds: Bounds, console: Console) -> None:
    """Print how far each number may go."""
    _say(console, bounds.case.title, style="bold")
    if bounds.inputs:
        console.print(_printed(inputs_table(bounds.inputs)))
    _say(console, f"{bounds_premise(bounds)}\n")
    for answer in bounds.answers:
        _say(console, answer_sentence(bounds, answer), style="bold")
        for line in answer_notes(answer):
            _say(console, f"  {line}")
        for line in answer.failures.sentences:
            _say(console, f"  {line}")
    _say(console, "")
    _end(console, None)


def show_comparison(comparison: Comparison, console: Console) -> None:
    """Print cases side by side."""
    console.print(_printed(cases_table(comparison)))
    for table in differences_tables(comparison):
        console.print(_printed(table))
    for pair in comparison.pairs:
        _say(console, pair_sentence(comparison, pair), style="bold")
    _say(console, "")
    _end(console, comparison.failures)


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
        bands = (*bands, "no answer")
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


def answer_sentence(bounds: Bounds, answer: Answer) -> str:
    """Return what was found for one question."""
    question = answer.question
    subject = question.text[0].upper() + question.text[1:]
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
    keys = tuple(_folded(key) for key in sweep.grid)
    found = list(zip(sweep.points, sweep.outcomes, strict=True))[:most]
    return Table(
        caption="Largest peak micromotion [µm]",
        head=(*keys, "Peak", "Band", "Governing load", "Torque\n[N·cm]", "Head\nmovement"),
        rows=tuple(
            (*(f"{value:g}" for value in point), *_outcome_cells(outcome, bands))
            for point, outcome in found
        ),
        numbers=frozenset({*range(len(keys) + 1), len(keys) + 3, len(keys) + 4}),
    )


def bands_table(spread: Spread) -> Table:
    """Return the chance of each band."""
    rows = [
        (item.band, f"{item.chance.value:.0%}", _percent_range(item.chance)) for item in spread.bands
    ]
    if spread.without_answer:
        count = len(spread.peaks_um) + spread.without_answer
        rows.append(("no answer", f"{spread.without_answer / count:.0%}", ""))
    return Table(
        caption="Chance of each band",
        head=("Band", "Chance", f"{CONFIDENCE:.0%} interval"),
        rows=tuple(rows),
        numbers=frozenset({1, 2}),
        wide=False,
    )


def inputs_table(inputs: tuple[Sourced, ...]) -> Table:
    """Return the uncertain inputs and where they come from."""
    return Table(
        caption="What is known only roughly",
        head=("Input", "Value", "Source"),
        rows=tuple((item.input.key, item.input.in_words, item.source) for item in inputs),
        whole=frozenset({0, 1}),
    )


def drivers_table(spread: Spread) -> Table:
    """Return what drives the spread."""
    return Table(
        caption=f"What drives it: share of the variance of ln(peak), {CONFIDENCE:.0%} interval",
        head=("Input", "With all others", "Alone"),
        rows=tuple((d.key, _share(d.total), _share(d.first)) for d in spread.drivers),
        numbers=frozenset({1, 2}),
        whole=frozenset({0}),
        wide=False,
    )


def cases_table(comparison: Comparison) -> Table:
    """Return what came of each case."""
    rows = []
    for place, result in enumerate(comparison.results):
        worst, interval = result.governing, comparison.interval_um(place)
        cells = (
            comparison.names[place],
            with_error(worst.peak.total_um, worst.error.total_um),
            "" if interval is None else f"{rounded(interval[0])} to {rounded(interval[1])}",
            worst.band,
            with_error(worst.head.total_um, worst.head_error.total_um),
            "" if result.torque is None else torque_text(result.torque, case=result.case),
            f"{result.engagement_length_mm:g}",
        )
        rows.append(cells)
    return Table(
        caption="Side by side [µm]",
        head=("Case", "Peak", "5 to 95 %", "Band", "Head\nmovement", "Torque\n[N·cm]", "Held\n[mm]"),
        rows=tuple(rows),
        numbers=frozenset({1, 2, 4, 5, 6}),
    )


def differences_tables(comparison: Comparison) -> tuple[Table, ...]:
    """Return the inputs that differ, as many cases beside each other as are readable."""
    tables = []
    for first in range(0, len(comparison.names), MOST_BESIDE):
        beside = slice(first, first + MOST_BESIDE)
        names = comparison.names[beside]
        table = Table(
            caption="What differs in the cases",
            head=("Key", *names),
            rows=tuple((i.key, *map(_shown, i.values[beside])) for i in comparison.inputs),
            numbers=frozenset(range(1, len(names) + 1)),
            whole=frozenset({0}),
        )
        tables.append(table)
    return tuple(tables)


def _printed(table: Table, before: str = "") -> RichTable:
    """Return a table for a console; brackets in it are no markup."""
    printed = empty_table("")
    printed.title = _plain(f"{before}{table.caption}")
    for place, name in enumerate(table.head):
        printed.add_column(
            _plain(name),
            justify="right" if place in table.numbers else "left",
            no_wrap=place in table.whole,
            overflow="fold",
        )
    for row in table.rows:
        printed.add_row(*map(_plain, row))
    return printed


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
        return "no answer", "", _folded(outcome.why_not), torque, ""
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


def _plain(text: str) -> Text:
    """Return a text whose brackets are no markup: units, keys, and what users named."""
    from rich.text import Text  # noqa: PLC0415 - slow to import

    return Text(text)


def _say(console: Console, text: str, style: str = "") -> None:
    line = _plain(text)
    line.stylize(style)
    console.print(line)


def _end(console: Console, failures: Failures | None) -> None:
    for line in (*(failures.sentences if failures else ()), NO_LINE, LINEAR, CAUTION):
        _say(console, line)


# --- Data ---------------------------------------------------------------------------------------------


def sweep_data(sweep: Sweep) -> dict[str, Any]:
    """Return a sweep as plain data for JSON."""
    return {
        "study": "sweep",
        "grid": {key: list(values) for key, values in sweep.grid.items()},
        "relative_error": sweep.relative_error,
        "cases": [
            {"values": dict(zip(sweep.grid, point, strict=True)), **outcome.to_dict()}
            for point, outcome in zip(sweep.points, sweep.outcomes, strict=True)
        ],
        **_failed(sweep.failures),
        **_provenance(sweep.case.to_dict()),
    }


def spread_data(spread: Spread) -> dict[str, Any]:
    """Return a spread as plain data for JSON."""
    answered = spread.peaks_um.size > 0
    return {
        "study": "spread",
        "sentences": list(spread_sentences(spread)),
        "inputs": _inputs(spread.inputs),
        "median_um": _interval(spread.median_um) if answered else None,
        "p05_um": spread.quantile_um(0.05) if answered else None,
        "p95_um": spread.quantile_um(0.95) if answered else None,
        "bands": [{"band": item.band, **_interval(item.chance)} for item in spread.bands],
        "without_answer": spread.without_answer,
        "likely_bands": list(spread.likely_bands),
        "drivers": [
            {"key": d.key, "first_order": _interval(d.first), "total_order": _interval(d.total)}
            for d in spread.drivers
        ],
        "rows_for_drivers": spread.rows_for_drivers,
        "nominal": spread.nominal.to_dict(),
        "samples": [
            {"part": part, "values": dict(zip(spread.keys, row, strict=True)), "peak_um": o.peak_um}
            for part, row, o in zip(spread.part, spread.values.tolist(), spread.outcomes, strict=True)
        ],
        **_failed(spread.failures),
        **_provenance(spread.case.to_dict()),
    }


def bounds_data(bounds: Bounds) -> dict[str, Any]:
    """Return how far each number may go as plain data for JSON."""
    return {
        "study": "bounds",
        "below_um": bounds.below_um,
        "confidence": bounds.confidence,
        "samples": bounds.samples,
        "inputs": _inputs(bounds.inputs),
        "answers": [
            {
                "question": answer.question.name,
                "key": answer.question.key,
                "range": [answer.question.low, answer.question.high],
                "sentence": answer_sentence(bounds, answer),
                "value": answer.value,
                "below_everywhere": answer.below_everywhere,
                "peak_um": answer.peak_um,
                "engaged_threads": answer.engaged_threads,
                "relative_error": answer.relative_error,
                "monotone": answer.monotone,
                "below_in_part": answer.below_in_part,
                "tried": [{"value": x, "peak_um": motion(peak)} for x, peak in answer.tried],
                **_failed(answer.failures),
            }
            for answer in bounds.answers
        ],
        **_provenance(bounds.case.to_dict()),
    }


def comparison_data(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as plain data for JSON."""
    from stillroot.studies.outcome import outcome_of  # noqa: PLC0415 - beside its only use

    return {
        "study": "compare",
        "cases": [
            {
                "name": name,
                "interval_um": comparison.interval_um(place),
                **outcome_of(result).to_dict(),
                "case": result.case.to_dict(),
            }
            for place, (name, result) in enumerate(
                zip(comparison.names, comparison.results, strict=True)
            )
        ],
        "inputs": [{"key": item.key, "values": list(item.values)} for item in comparison.inputs],
        "pairs": [
            {
                "first": comparison.names[pair.first],
                "second": comparison.names[pair.second],
                "difference_um": pair.difference_um,
                "error_um": pair.error_um,
                "first_moves_more": pair.first_moves_more,
                "second_moves_more": pair.second_moves_more,
                "beyond_error": pair.beyond_error,
                "beyond_spread": pair.beyond_spread,
                "sentence": pair_sentence(comparison, pair),
            }
            for pair in comparison.pairs
        ],
        **(_failed(comparison.failures) if comparison.failures else {}),
        **_provenance(None),
    }


def _inputs(inputs: tuple[Sourced, ...]) -> list[dict[str, Any]]:
    return [
        {"key": i.input.key, "kind": i.input.kind, "is": i.input.written, "source": i.source}
        for i in inputs
    ]


def _interval(interval: Interval) -> dict[str, float]:
    return {"value": interval.value, "low": interval.low, "high": interval.high}


def _failed(failures: Failures) -> dict[str, Any]:
    return {
        "failed": failures.failed,
        "failed_share": failures.share,
        "can_be_trusted": not failures.too_many,
        "reasons": [{"reason": reason, "count": count} for reason, count in failures.reasons],
    }


def _provenance(case: dict[str, Any] | None) -> dict[str, Any]:
    return {
        **({} if case is None else {"case": case}),
        "program": program(),
        "versions": versions(),
        "caution": CAUTION,
    }

"""Pictures of a comparison: all peaks on one scale, and the sections side by side on one scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.result import peak_text
from stillroot.answers.summary import place_of
from stillroot.answers.wording import rounded
from stillroot.pictures.marks import Row, draw_answers
from stillroot.pictures.paper import WIDTH_IN, Picture, blank_sheet
from stillroot.pictures.scales import scale_um
from stillroot.pictures.side_by_side import Site, sites_side_by_side
from stillroot.pictures.words import (
    bands_text,
    given_way_text,
    head_text,
    marked_peak,
    number_text,
    quoted_name,
    shortened,
    whole_text,
)
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from stillroot.answers.result import CheckResult
    from stillroot.studies.comparison import Comparison


ROW_IN = 1.15


def compare_pictures(comparison: Comparison) -> tuple[Picture, ...]:
    """Return the peaks of all cases on one scale, and their sections side by side."""
    return _peaks(comparison), _sections(comparison)


def _bands(comparison: Comparison) -> tuple[float, ...]:
    """Return the bands of all cases, or of the first where they differ."""
    return comparison.results[0].case.threshold.bands_um


# --- Peaks --------------------------------------------------------------------------------------------


def _peaks(comparison: Comparison) -> Picture:
    names, count = comparison.names, len(comparison.results)
    message, title = _message(comparison), f"Governing loads of {', '.join(map(shortened, names))}"
    sheet = blank_sheet(message, title, tall_in=ROW_IN * count, foot_in=1.2, head_in=1.55)
    rows = _rows(comparison)
    highest = [row.spread_um[1] for row in rows if row.spread_um]
    right = 1.22 * max(scale_um(*comparison.results), *highest)
    draw_answers(sheet.axes(0.3, WIDTH_IN - 0.6), rows, _bands(comparison), right)
    sheet.note(*_note(comparison))
    return sheet.picture("compare", f"{message}. {_alt(comparison)}")


def _note(comparison: Comparison) -> list[str]:
    told = ["Dot: peak of the governing load, its bar the numerical error. Diamond: head movement."]
    if comparison.sampled_um.shape[1]:
        count = comparison.sampled_um.shape[1]
        told.append(f"Thin line: 5 to 95 % of the peaks over {count} samples of the uncertain inputs.")
    if len({result.case.threshold.bands_um for result in comparison.results}) > 1:
        told.append("The cases state different bands; the picture shows those of the first.")
    return told


def _ranked(comparison: Comparison) -> list[int]:
    """Return the places of the cases, those that give way and then the one that moves most first."""
    severity = [result.governing.severity for result in comparison.results]
    return sorted(range(len(severity)), key=lambda place: severity[place], reverse=True)


def _message(comparison: Comparison) -> str:
    """Say which case moves most and least, and whether errors and spread let one say it."""
    most, least = (_ranked(comparison)[place] for place in (0, -1))
    names, results = comparison.names, comparison.results
    if results[most].governing.gives_way_at is not None:
        return _message_of_giving_way(names[most], results[most], names[least], results[least])
    first, last = (results[place].governing.peak.total_um for place in (most, least))
    pair = next(p for p in comparison.pairs if {p.first, p.second} == {most, least})
    if not pair.beyond_error:
        low, high = rounded(last), rounded(first)
        return f"The peaks, {low} to {high} µm, differ by no more than the numerical error"
    spread = {None: "", True: ", also beyond the spread", False: ", but within the spread"}
    return (
        f"{quoted_name(names[most])} moves most, {whole_text(peak_text(results[most].governing))}: "
        f"{number_text(float(f'{first / last:.2g}'))} times {quoted_name(names[least])}"
        f"{spread[pair.beyond_spread]}"
    )


def _message_of_giving_way(first: str, gives_way: CheckResult, least: str, other: CheckResult) -> str:
    """Say which case gives way at the smallest share of its load, and what the best one does."""
    told = f"{quoted_name(first)} {given_way_text(gives_way.governing.gives_way_at or 0.0)}"
    if other.governing.gives_way_at is not None:
        return f"Every case gives way; {told}, the smallest share of all"
    return f"{told}; {quoted_name(least)} moves least, {whole_text(peak_text(other.governing))}"


def _rows(comparison: Comparison) -> list[Row]:
    return [
        Row(
            name=name,
            told=f"“{result.governing.name}”, {load_text(result.governing.resultant, lines=1)}",
            answer=result.governing,
            spread_um=comparison.interval_um(place),
        )
        for place, (name, result) in enumerate(zip(comparison.names, comparison.results, strict=True))
    ]


def _alt(comparison: Comparison) -> str:
    rows, bands = " ".join(row.in_words for row in _rows(comparison)), bands_text(_bands(comparison))
    return f"Peak micromotion of each case on one scale, over the bands {bands}. {rows}"


# --- Sections -----------------------------------------------------------------------------------------


def _sections(comparison: Comparison) -> Picture:
    message = _message_of_sections(comparison)
    title = "One scale of length and of motion; the lateral load points to the right"
    pairs = zip(comparison.names, comparison.results, strict=True)
    sites = [Site(name=name, result=result, lines=_words(result)) for name, result in pairs]
    alt = f"{message}. Sections side by side, the motion along each wall. {_alt(comparison)}"
    return sites_side_by_side(message, title, sites).picture("compare-sections", alt)


def _words(result: CheckResult) -> tuple[str, ...]:
    """Return what is written below a section."""
    worst, case = result.governing, result.case
    holds = " and ".join(f"{top:g} to {bottom:g}" for top, bottom in case.socket.holds_mm)
    return (
        marked_peak(worst) if worst.gives_way_at is None else given_way_text(worst.gives_way_at),
        f"head movement {head_text(worst)}",
        f"load: {shortened(worst.name)}",
        f"held {holds} mm deep",
    )


def _message_of_sections(comparison: Comparison) -> str:
    """Say where the case that moves most does so."""
    most = _ranked(comparison)[0]
    name, worst = quoted_name(comparison.names[most]), comparison.results[most].governing
    if worst.gives_way_at is not None:
        return f"{name} {given_way_text(worst.gives_way_at)}, and moves most {place_of(worst)}"
    where = [place_of(result.governing) for result in comparison.results]
    if len(set(where)) == 1:
        return f"Every case moves most {where[0]}; {name} most of all"
    return f"{name} moves most: {where[most]}"

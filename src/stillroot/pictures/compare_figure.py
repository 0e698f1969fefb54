"""Pictures of a comparison: all peaks on one scale, and the sections side by side on one scale."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from stillroot.answers.summary import place_of
from stillroot.answers.wording import rounded
from stillroot.pictures.bodies import View, draw_load, draw_motion, draw_site, ring_peak, show_section
from stillroot.pictures.marks import Row, draw_answers
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, WIDTH_IN, Picture, blank_sheet
from stillroot.pictures.scales import mark_colours_of_sections, scale_um
from stillroot.pictures.words import (
    bands_text,
    head_text,
    number_text,
    peak_text,
    quoted_name,
    shortened,
    whole_text,
)
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult
    from stillroot.studies.comparison import Comparison


ROW_IN = 1.15
COLUMNS = 4
TALLEST_IN = 5.6
WORDS_IN = 1.35
"""Room for the words below a section."""
LETTER_IN = 0.07
"""Width of a small letter, about."""
BESIDE_MM = 2.5
"""Bone that is shown at least beside and below every implant."""


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
    """Return the places of the cases, the one that moves most first."""
    peaks = [result.governing.peak.total_um for result in comparison.results]
    return sorted(range(len(peaks)), key=lambda place: -peaks[place])


def _message(comparison: Comparison) -> str:
    """Say which case moves most and least, and whether errors and spread let one say it."""
    most, least = (_ranked(comparison)[place] for place in (0, -1))
    names, results = comparison.names, comparison.results
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


def _view(comparison: Comparison, width_in: float) -> View:
    """Return what every section shows: the same for all, in axes of a width."""
    cases = [result.case for result in comparison.results]
    loads = [result.governing.resultant for result in comparison.results]
    low = -max(case.implant.length_mm for case in cases) - BESIDE_MM
    top = max(*(case.implant.abutment_height_mm for case in cases), *(load.height_mm for load in loads))
    arrow = 0.16 * (top - low)
    high = top + arrow + 0.5
    reach = max(case.implant.diameter_mm / 2 + case.socket.gap_width_mm for case in cases) + BESIDE_MM
    half = max(reach, width_in / 2 * (high - low) / TALLEST_IN)
    return View(half_width=half, low=low, high=high, arrow=arrow, reach=reach, block=reach)


def _sections(comparison: Comparison) -> Picture:
    count = len(comparison.results)
    rows = -(-count // COLUMNS)
    columns = -(-count // rows)
    width_in = (WIDTH_IN - 0.6 - 0.2 * (columns - 1)) / columns
    view = _view(comparison, width_in)
    tall_in = width_in * view.span / view.half_width / 2
    step = tall_in + WORDS_IN
    message = _message_of_sections(comparison)
    title = "One scale of length and of motion; the lateral load points to the right"
    foot_in = 0.9 + (rows - 1) * step + WORDS_IN
    sheet = blank_sheet(message, title, tall_in=tall_in, foot_in=foot_in, head_in=1.2)
    scale = scale_um(*comparison.results)
    letters = int(width_in / LETTER_IN)
    for place, (name, result) in enumerate(zip(comparison.names, comparison.results, strict=True)):
        row, column = divmod(place, columns)
        left, bottom = 0.3 + column * (width_in + 0.2), foot_in - row * step
        _draw_section(sheet.axes(left, width_in, bottom=bottom), result, view, scale)
        fits = int(0.85 * letters)
        head = textwrap.shorten(name, fits, placeholder=" …") or name[:fits]
        sheet.write((left, bottom - 0.08), head, fontsize=TEXT_PT, fontweight="bold", va="top")
        words = "\n".join(line for t in _words(result) for line in textwrap.wrap(t, letters)[:2])
        sheet.write((left, bottom - 0.28), words, fontsize=SMALL_PT, linespacing=1.25, va="top")
    strip = sheet.axes(0.5, WIDTH_IN - 1.0, bottom=0.66, height=0.14)
    mark_colours_of_sections(strip, _bands(comparison), scale)
    alt = f"{message}. Sections side by side, the motion along each wall. {_alt(comparison)}"
    return sheet.picture("compare-sections", alt)


def _draw_section(ax: Axes, result: CheckResult, view: View, scale: float) -> None:
    draw_site(ax, result.case)
    draw_motion(ax, result, result.governing, scale)
    draw_load(ax, result.case, result.governing.resultant, view.arrow)
    ring_peak(ax, result.governing)
    show_section(ax, view.half_width, view.low, view.high)


def _words(result: CheckResult) -> list[str]:
    """Return what is written below a section."""
    worst, case = result.governing, result.case
    holds = " and ".join(f"{top:g} to {bottom:g}" for top, bottom in case.socket.holds_mm)
    return [
        f"peak {peak_text(worst)}",
        f"head movement {head_text(worst)}",
        f"load: {shortened(worst.name)}",
        f"held {holds} mm deep",
    ]


def _message_of_sections(comparison: Comparison) -> str:
    """Say where the case that moves most does so."""
    most = _ranked(comparison)[0]
    name = quoted_name(comparison.names[most])
    where = [place_of(result.governing) for result in comparison.results]
    if len(set(where)) == 1:
        return f"Every case moves most {where[0]}; {name} most of all"
    return f"{name} moves most: {where[most]}"

"""Pictures of a comparison: all peaks on one scale, and the sections side by side on one scale."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stillroot.answers.summary import place_of, rounded
from stillroot.mechanics.outline import outline_of
from stillroot.pictures.drawing import (
    SMALL_PT,
    TEXT_PT,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    blank_figure,
    draw_bodies,
    draw_motion,
    draw_shared_scale,
    head_text,
    mark_head,
    mark_interval,
    peak_text,
    plain_axes,
    quoted_name,
    shade_bands,
    shortened,
    whole_text,
    write_headings,
    write_in,
)
from stillroot.pictures.figure_section import draw_load, ring_peak
from stillroot.pictures.study_drawing import number_text, write_note
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.answer import CheckResult
    from stillroot.pictures.drawing import Style
    from stillroot.studies.comparison import Comparison


ROW_IN = 1.05
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


def common_scale_um(comparison: Comparison) -> float:
    """Return the top of the scale of motion [µm]: one for all cases."""
    return max(max(r.case.threshold.bands_um[-1], r.governing.peak.total_um) for r in comparison.results)


def _bands(comparison: Comparison) -> tuple[float, ...]:
    """Return the bands of all cases, or of the first where they differ."""
    return comparison.results[0].case.threshold.bands_um


# --- Peaks --------------------------------------------------------------------------------------------


def _peaks(comparison: Comparison) -> Picture:
    count = len(comparison.results)
    figure = blank_figure(2.75 + ROW_IN * count)
    ax = axes_at(figure, left=0.3, bottom=1.2, width=WIDTH_IN - 0.6, height=ROW_IN * count)
    intervals = [comparison.interval_um(place) for place in range(count)]
    highest = [interval[1] for interval in intervals if interval]
    bands = _bands(comparison)
    right = 1.22 * max(common_scale_um(comparison), *highest, 0.0)
    shade_bands(ax, bands, right)
    rows = zip(comparison.names, comparison.results, intervals, strict=True)
    for row, (name, result, interval) in enumerate(rows):
        worst = result.governing
        ax.axhspan(row - 0.5, row - 0.2, facecolor="white", edgecolor="none", zorder=1)
        told = f"{shortened(name)}: “{worst.name}”, {load_text(worst.resultant, lines=1)}"
        told = textwrap.shorten(told, 100, placeholder=" …")
        write_in(ax, (0.012 * right, row - 0.345), told, va="center", beside=False, order=3)
        mark_interval(ax, worst, right, y=row - 0.03, drop=None)
        if interval is not None:
            ax.plot(interval, [row + 0.16] * 2, color="black", linewidth=1.6, zorder=4)
            for end in interval:
                ax.plot([end, end], [row + 0.11, row + 0.21], color="black", linewidth=1.6, zorder=4)
        mark_head(ax, worst, right, y=row + 0.36, drop=None)
    ax.set(xlim=(0, right), ylim=(count - 0.5, -0.5), yticks=[])
    ax.set_xticks(band_ticks(bands, right))
    ax.set_xlabel("micromotion at the interface, and head movement [µm]")
    plain_axes(ax)
    write_note(figure, *_note(comparison))
    message = _message(comparison)
    headings = write_headings(figure, message, _subtitle(comparison))
    return Picture(
        name="compare",
        figure=figure,
        alt=f"{message}. {_alt(comparison)}",
        message=message,
        headings=headings,
    )


def _note(comparison: Comparison) -> list[str]:
    told = ["Dot: peak of the governing load, its bar the numerical error. Diamond: head movement."]
    if comparison.sampled_um.shape[1]:
        count = comparison.sampled_um.shape[1]
        told.append(f"Thin line: 5 to 95 % of the peaks over {count} samples of the uncertain inputs.")
    if len({result.case.threshold.bands_um for result in comparison.results}) > 1:
        told.append("The cases state different bands; the picture shows those of the first.")
    return told


def _subtitle(comparison: Comparison) -> str:
    return "Governing loads of " + ", ".join(shortened(name) for name in comparison.names)


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
    factor = number_text(float(f"{first / last:.2g}"))
    told = (
        f"{quoted_name(names[most])} moves most, {whole_text(peak_text(results[most].governing))}: "
        f"{factor} times {quoted_name(names[least])}"
    )
    if pair.beyond_spread is None:
        return told
    return told + (", also beyond the spread" if pair.beyond_spread else ", but within the spread")


def _alt(comparison: Comparison) -> str:
    rows = []
    for place, (name, result) in enumerate(zip(comparison.names, comparison.results, strict=True)):
        worst, interval = result.governing, comparison.interval_um(place)
        spread = f", 5 to 95 % {rounded(interval[0])} to {rounded(interval[1])} µm" if interval else ""
        rows.append(
            f"“{name}”, under “{worst.name}”: peak {peak_text(worst)} ({worst.band}){spread}, head "
            f"movement {head_text(worst)}."
        )
    bands = ", ".join(f"{band:g}" for band in _bands(comparison))
    return f"Peak micromotion of each case on one scale, over the bands {bands} µm. {' '.join(rows)}"


# --- Sections -----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Window:
    """What every section shows [mm], and how large [in]: the same for all."""

    half_mm: float
    low_mm: float
    high_mm: float
    arrow_mm: float
    width_in: float
    tall_in: float


def _window(comparison: Comparison, columns: int) -> _Window:
    cases = [result.case for result in comparison.results]
    loads = [result.governing.resultant for result in comparison.results]
    low = -max(case.implant.length_mm for case in cases) - BESIDE_MM
    top = max(*(case.implant.abutment_height_mm for case in cases), *(load.height_mm for load in loads))
    arrow = 0.16 * (top - low)
    high = top + arrow + 0.5
    reach = max(case.implant.diameter_mm / 2 + case.socket.gap_width_mm for case in cases) + BESIDE_MM
    width = (WIDTH_IN - 0.6 - 0.2 * (columns - 1)) / columns
    inch_per_mm = min(width / (2 * reach), TALLEST_IN / (high - low))
    return _Window(
        half_mm=width / inch_per_mm / 2,
        low_mm=low,
        high_mm=high,
        arrow_mm=arrow,
        width_in=width,
        tall_in=inch_per_mm * (high - low),
    )


def _sections(comparison: Comparison) -> Picture:
    count = len(comparison.results)
    rows = -(-count // COLUMNS)
    columns = -(-count // rows)
    window = _window(comparison, columns)
    step = window.tall_in + WORDS_IN
    height = rows * step + 2.1
    figure = blank_figure(height)
    scale = common_scale_um(comparison)
    for place, (name, result) in enumerate(zip(comparison.names, comparison.results, strict=True)):
        row, column = divmod(place, columns)
        left = 0.3 + column * (window.width_in + 0.2)
        bottom = 0.9 + (rows - 1 - row) * step + WORDS_IN
        ax = axes_at(figure, left=left, bottom=bottom, width=window.width_in, height=window.tall_in)
        _draw_section(ax, result, window, scale)
        letters = int(window.width_in / LETTER_IN)
        at = (left / WIDTH_IN, (bottom - 0.08) / height)
        common: Style = {"va": "top", "parse_math": False}
        head = (
            textwrap.shorten(name, int(0.85 * letters), placeholder=" …") or name[: int(0.85 * letters)]
        )
        figure.text(*at, head, fontsize=TEXT_PT, fontweight="bold", **common)
        below = (at[0], at[1] - 0.2 / height)
        words = "\n".join(line for t in _words(result) for line in textwrap.wrap(t, letters)[:2])
        figure.text(*below, words, fontsize=SMALL_PT, linespacing=1.25, **common)
    strip = axes_at(figure, left=0.5, bottom=0.66, width=WIDTH_IN - 1.0, height=0.14)
    draw_shared_scale(strip, _bands(comparison), scale)
    message = _message_of_sections(comparison)
    headings = write_headings(
        figure, message, "One scale of length and of motion; the lateral load points to the right"
    )
    alt = f"{message}. Sections side by side, the motion along each wall. {_alt(comparison)}"
    return Picture(name="compare-sections", figure=figure, alt=alt, message=message, headings=headings)


def _draw_section(ax: Axes, result: CheckResult, window: _Window, scale: float) -> None:
    worst = result.governing
    draw_bodies(ax, outline_of(result.case))
    draw_motion(ax, result, worst, scale)
    ax.axhline(0, color="0.2", linewidth=1.0, linestyle=(0, (6, 3)), zorder=3)
    draw_load(ax, result.case, worst.resultant, window.arrow_mm)
    ring_peak(ax, worst)
    ax.set(
        xlim=(-window.half_mm, window.half_mm),
        ylim=(window.low_mm, window.high_mm),
        xticks=[],
        yticks=[],
    )
    for spine in ax.spines.values():
        spine.set_visible(False)


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
    name, where = comparison.names[_ranked(comparison)[0]], _places(comparison)
    if len(set(where)) == 1:
        return f"Every case moves most {where[0]}; {quoted_name(name)} most of all"
    return f"{quoted_name(name)} moves most: {where[_ranked(comparison)[0]]}"


def _places(comparison: Comparison) -> list[str]:
    return [place_of(result.governing) for result in comparison.results]

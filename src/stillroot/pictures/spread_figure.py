"""Pictures of a spread: where the peak can lie among the bands, and which inputs drive it."""

from __future__ import annotations

import textwrap
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from stillroot.answers.wording import rounded, with_error
from stillroot.pictures.labels import BESIDE, hide_spines, write_beside, write_off
from stillroot.pictures.paper import SMALL_PT, WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.scales import motion_axis, motion_limits, plain_numbers, shares_of
from stillroot.pictures.words import joined, key_words, um_text, whole_text
from stillroot.studies.spreads import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.studies.spreads import BandChance, Driver, Interval, Spread


LEFT_IN, ACROSS_IN = 1.75, WIDTH_IN - 2.1
BROAD_IN = 0.78
"""Width of a band from which on its chance is written in it."""
LOW, HIGH = 0.05, 0.95
CUT = 0.5
"""How far outside 0 to 1 an index is drawn: small samples put estimates there."""


def spread_pictures(spread: Spread) -> tuple[Picture, ...]:
    """Return the distribution of the peak and its drivers; what has no answers is left out."""
    drawn = []
    if len(spread.peaks_um) > 1:
        drawn.append(_distribution(spread))
    if spread.drivers:
        drawn.append(_drivers(spread))
    return tuple(drawn)


# --- Distribution -------------------------------------------------------------------------------------


def _distribution(spread: Spread) -> Picture:
    message, bands = _message_of_distribution(spread), spread.case.threshold.bands_um
    sheet = blank_sheet(message, spread.case.title, tall_in=3.0, foot_in=2.7, head_in=1.5)
    curve = sheet.axes(LEFT_IN, ACROSS_IN)
    marks = sheet.axes(LEFT_IN, ACROSS_IN, bottom=1.35, height=1.35)
    stated = [] if spread.nominal.peak_um is None else [spread.nominal.peak_um]
    shown = [*spread.peaks_um, *stated]
    begin, end = motion_limits(bands, min(shown), max(shown))
    for ax in (curve, marks):
        motion_axis(ax, bands, end, begin, named=False)
        plain_numbers(ax.xaxis)
    count = len(spread.peaks_um) + spread.without_answer
    shares = 100 * np.arange(1, len(spread.peaks_um) + 1) / count
    x = np.concatenate([[begin], spread.peaks_um, [end]])
    y = np.concatenate([[0.0], shares, [shares[-1]]])
    curve.step(x, y, where="post", color="black", linewidth=1.8, zorder=4)
    curve.set(ylim=(0, 100), ylabel="share of samples that\nmove no more [%]")
    curve.tick_params(labelbottom=False)
    unwritten = _write_chances(curve, spread, [begin, *bands, end])
    _mark_values(marks, spread)
    marks.set_xlabel("peak micromotion [µm]")
    sheet.note(*_note_on_distribution(spread, unwritten))
    return sheet.picture("spread", _alt_of_distribution(spread, message))


def _write_chances(ax: Axes, spread: Spread, edges: list[float]) -> list[BandChance]:
    """Write the chance of each band over it; return those of bands that are too narrow for it."""
    unwritten = []
    for chance, (left, right) in zip(spread.bands, pairwise(shares_of(ax, edges)), strict=True):
        if (right - left) * ACROSS_IN < BROAD_IN:
            unwritten.append(chance)
            continue
        style: Style = {"transform": ax.transAxes, "ha": "center", "va": "bottom", "fontsize": SMALL_PT}
        middle = (left + right) / 2
        ax.text(middle, 1.085, chance.band, **style)
        ax.text(middle, 1.02, _percent(chance.chance), fontweight="bold", **style)
    return unwritten


def _mark_values(ax: Axes, spread: Spread) -> None:
    """Mark what the case gives as it stands, the median and the middle of the distribution."""
    nominal, median = spread.nominal.governing, spread.median_um
    low, high = spread.quantile_um(LOW), spread.quantile_um(HIGH)
    # Each row: its name, from where to where, the mark between, and what is written.
    rows = [
        ("median", (median.low, median.high), median.value, "o", _median_text(spread)),
        ("5 to 95 %", (low, high), (low + high) / 2, "", f"{_middle_text(spread)} µm"),
    ]
    if nominal is not None and nominal.peak_um is not None:
        peak, error = nominal.peak_um, nominal.error_um or 0.0
        told = f"{with_error(peak, error)} µm"
        rows.insert(0, ("as stated", (peak - error, peak + error), peak, "D", told))
    for y, (_, span, x, mark, told) in enumerate(rows):
        bar: Style = {"color": "black", "linewidth": 3 if mark else 6, "solid_capstyle": "butt"}
        ax.plot(span, [y, y], zorder=4, **bar)
        if mark:
            ax.plot(x, y, mark, mfc="white", mec="black", mew=1.5, markersize=7.5, zorder=5)
        share = shares_of(ax, [x])[0]
        align = "left" if share < 0.2 else "right" if share > 0.8 else "center"
        write_off(ax, (x, y), (0, 7), told, ha=align, fontsize=SMALL_PT, bbox=BESIDE | {"pad": 0.4})
    ax.plot(spread.peaks_um, np.full(len(spread.peaks_um), len(rows)), "k|", markersize=9, mew=0.9)
    names = [*(row[0] for row in rows), "each sample"]
    ax.set(ylim=(len(rows) + 0.5, -0.9), yticks=range(len(names)), yticklabels=names)
    ax.tick_params(axis="y", length=0)


def _median_text(spread: Spread) -> str:
    median = spread.median_um
    return f"{um_text(median.value)} ({rounded(median.low)} to {rounded(median.high)})"


def _middle_text(spread: Spread) -> str:
    return f"{rounded(spread.quantile_um(LOW))} to {rounded(spread.quantile_um(HIGH))}"


def _percent(interval: Interval) -> str:
    return f"{100 * interval.value:.0f} % ({100 * interval.low:.0f} to {100 * interval.high:.0f})"


def _chance_text(chance: BandChance) -> str:
    return f"{chance.band}: {_percent(chance.chance)}"


def _note_on_distribution(spread: Spread, unwritten: list[BandChance]) -> list[str]:
    count = len(spread.peaks_um) + spread.without_answer
    brackets = f"In brackets: its {CONFIDENCE:.0%} interval from {count} samples."
    paragraphs = [f"On top: the chance of each band. {brackets}"]
    if unwritten:
        paragraphs.append(f"Bands too narrow for a label: {'; '.join(map(_chance_text, unwritten))}.")
    if spread.without_answer:
        paragraphs.append(f"{spread.without_answer} samples have no answer and lie in no band.")
    return paragraphs


def _message_of_distribution(spread: Spread) -> str:
    most = max(spread.bands, key=lambda band: band.chance.value)
    between = _middle_text(spread).replace(" to ", " and ")
    return (
        f"The uncertain inputs put the peak between {between} µm (5 to 95 %), most likely "
        f"{whole_text(most.band)} (chance {whole_text(f'{100 * most.chance.value:.0f} %')})"
    )


def _alt_of_distribution(spread: Spread, message: str) -> str:
    return (
        f"{message}. Cumulative distribution of the peak micromotion over the bands. As stated: "
        f"{um_text(spread.nominal.peak_um)}; median {_median_text(spread)}. "
        f"Chances, with their {CONFIDENCE:.0%} intervals: {'; '.join(map(_chance_text, spread.bands))}. "
        f"{spread.without_answer} samples have no answer."
    )


# --- Drivers ------------------------------------------------------------------------------------------


def _drivers(spread: Spread) -> Picture:
    rows = len(spread.drivers)
    message = _message_of_drivers(spread)
    sheet = blank_sheet(message, spread.case.title, tall_in=0.52 * rows, foot_in=1.1, head_in=1.4)
    ax = sheet.axes(2.6, 3.55)
    ends = [end for d in spread.drivers for i in (d.total, d.first) for end in (i.low, i.high)]
    left, right = max(min(0.0, *ends), -CUT), min(max(1.0, *ends), 1 + CUT)
    for row, driver in enumerate(spread.drivers):
        looks: tuple[tuple[Interval, str, float, Style], ...] = (
            (driver.total, "total", row - 0.19, {"facecolor": "0.35"}),
            (driver.first, "alone", row + 0.19, {"facecolor": "white", "hatch": "////"}),
        )
        for interval, word, y, look in looks:
            ax.barh(y, interval.value, height=0.34, edgecolor="black", linewidth=0.9, zorder=3, **look)
            for width, colour, order in ((4.0, "white", 4), (1.6, "black", 5)):
                span = [max(interval.low, left), min(interval.high, right)]
                ax.plot(span, [y, y], color=colour, linewidth=width, zorder=order)
            write_beside(ax, y, f"{_index(interval)} {word}", left=False, fontsize=SMALL_PT - 0.5)
    ax.axvline(0, color="black", linewidth=0.9, zorder=6)
    names = [textwrap.fill(key_words(driver.key), 32) for driver in spread.drivers]
    ax.set(xlim=(left, right), ylim=(rows - 0.45, -0.55), yticks=range(rows), yticklabels=names)
    ax.set_xlabel("share of the variance of ln(peak)")
    plain_numbers(ax.xaxis)
    ax.tick_params(axis="y", length=0)
    hide_spines(ax, "top", "right", "left")
    sheet.note(
        "Filled: an input with its interactions (total index). Hatched: the input alone (first order).",
        f"Lines: {CONFIDENCE:.0%} intervals, from {spread.rows_for_drivers} rows of the sample.",
    )
    listed = "; ".join(
        f"{key_words(d.key)}: total {_index(d.total)}, alone {_index(d.first)}" for d in spread.drivers
    )
    alt = f"{message}. Share of the variance of ln(peak) by input, largest first. {listed}."
    return sheet.picture("spread-drivers", alt)


def _index(interval: Interval) -> str:
    low, value, high = (
        f"{round(v, 2) + 0.0:.2f}".replace("-", "−")
        for v in (interval.low, interval.value, interval.high)
    )
    return f"{value} ({low} to {high})"


def _message_of_drivers(spread: Spread) -> str:
    """Name the strongest driver, and whoever the sample cannot rank below it."""
    first, *others = spread.drivers
    level = [d for d in others if d.total.high >= first.total.low]
    if not level:
        share = whole_text(f"{100 * min(first.total.value, 1.0):.0f} %")
        return f"{_named([first])} drives the peak most, with a part in {share} of its variance"
    rows = spread.rows_for_drivers
    return f"{_named([first, *level[:2]])} drive the peak most; {rows} rows cannot rank them"


def _named(drivers: list[Driver]) -> str:
    told = joined([key_words(driver.key) for driver in drivers])
    return told[0].upper() + told[1:]

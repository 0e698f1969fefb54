"""Pictures of a spread: where the peak can lie among the bands, and which inputs drive it."""

from __future__ import annotations

import textwrap
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, NullLocator

from stillroot.answers.summary import rounded, with_error
from stillroot.pictures.drawing import (
    BESIDE,
    SMALL_PT,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    blank_figure,
    plain_axes,
    shade_bands,
    um_text,
    whole_text,
    write_headings,
)
from stillroot.pictures.study_drawing import (
    SPAN_FOR_FACTORS,
    key_words,
    number_text,
    ticks_by_factors,
    write_note,
)
from stillroot.studies.spreads import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.pictures.drawing import Style
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
    figure = blank_figure(7.2)
    across: Style = {"left": LEFT_IN, "width": ACROSS_IN}
    curve = axes_at(figure, bottom=2.7, height=3.0, **across)
    marks = axes_at(figure, bottom=1.35, height=1.35, **across)
    begin, end = _limits(spread)
    bands = spread.case.threshold.bands_um
    for ax in (curve, marks):
        if begin > 0:
            ax.set_xscale("log")
        shade_bands(ax, bands, end, begin=begin, named=False)
    count = len(spread.peaks_um) + spread.without_answer
    shares = 100 * np.arange(1, len(spread.peaks_um) + 1) / count
    x = np.concatenate([[begin], spread.peaks_um, [end]])
    y = np.concatenate([[0.0], shares, [shares[-1]]])
    curve.step(x, y, where="post", color="black", linewidth=1.8, zorder=4)
    curve.set(ylim=(0, 100), ylabel="share of samples that\nmove no more [%]")
    unwritten = _write_chances(curve, spread)
    _mark_values(marks, spread)
    ticks = ticks_by_factors(begin, end, bands) if begin > 0 else band_ticks(bands, end)
    for ax in (curve, marks):
        ax.set_xticks(ticks)
        ax.xaxis.set_minor_locator(NullLocator())
        ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: number_text(v)))
        plain_axes(ax)
    curve.tick_params(labelbottom=False)
    marks.set_xlabel("peak micromotion [µm]")
    write_note(figure, *_note_on_distribution(spread, unwritten))
    message = _message_of_distribution(spread)
    headings = write_headings(figure, message, spread.case.title)
    return Picture(
        name="spread",
        figure=figure,
        alt=_alt_of_distribution(spread, message),
        message=message,
        headings=headings,
    )


def _limits(spread: Spread) -> tuple[float, float]:
    """Return the ends of the axis [µm]: it begins at 0, or above it where motion spans factors."""
    nominal = spread.nominal.peak_um
    shown = [*spread.peaks_um, *([] if nominal is None else [nominal])]
    least, most = max(min(shown), 1e-3), max(shown)
    bands = spread.case.threshold.bands_um
    if max(most, bands[-1]) / min(least, bands[0]) > SPAN_FOR_FACTORS:
        return 0.8 * min(least, bands[0]), 1.4 * max(most, bands[-1])
    return 0.0, 1.08 * max(most, 1.25 * bands[-1])


def _write_chances(ax: Axes, spread: Spread) -> list[BandChance]:
    """Write the chance of each band over it; return those of bands that are too narrow for it."""
    unwritten = []
    for chance, (left, right) in zip(spread.bands, _places(ax, spread), strict=True):
        if (right - left) * ACROSS_IN < BROAD_IN:
            unwritten.append(chance)
            continue
        style: Style = {"transform": ax.transAxes, "ha": "center", "va": "bottom", "fontsize": SMALL_PT}
        middle = (left + right) / 2
        ax.text(middle, 1.085, chance.band, **style)
        ax.text(middle, 1.02, _percent(chance.chance), fontweight="bold", **style)
    return unwritten


def _places(ax: Axes, spread: Spread) -> list[tuple[float, float]]:
    """Return where each band begins and ends, as shares of the axes."""
    begin, end = ax.get_xlim()
    edges = [begin, *spread.case.threshold.bands_um, end]
    to_axes = (ax.get_xaxis_transform() + ax.transAxes.inverted()).transform
    return list(pairwise(to_axes([(edge, 0.0) for edge in edges])[:, 0]))


def _mark_values(ax: Axes, spread: Spread) -> None:
    """Mark what the case gives as it stands, the median and the middle of the distribution."""
    rows: list[tuple[str, float, str]] = []
    nominal, median = spread.nominal.governing, spread.median_um
    bar: Style = {"color": "black", "solid_capstyle": "butt", "zorder": 4}
    mark: Style = {"mfc": "white", "mec": "black", "mew": 1.5, "zorder": 5, "markersize": 7.5}
    if nominal is not None and nominal.peak_um is not None:
        error = nominal.error_um or 0.0
        ax.plot([nominal.peak_um - error, nominal.peak_um + error], [len(rows)] * 2, linewidth=3, **bar)
        ax.plot(nominal.peak_um, len(rows), "D", **mark)
        rows.append(("as stated", nominal.peak_um, f"{with_error(nominal.peak_um, error)} µm"))
    ax.plot([median.low, median.high], [len(rows)] * 2, linewidth=3, **bar)
    ax.plot(median.value, len(rows), "o", **mark)
    told = f"{um_text(median.value)} ({rounded(median.low)} to {rounded(median.high)})"
    rows.append(("median", median.value, told))
    low, high = spread.quantile_um(LOW), spread.quantile_um(HIGH)
    ax.plot([low, high], [len(rows)] * 2, linewidth=6, **bar)
    rows.append(("5 to 95 %", (low + high) / 2, f"{rounded(low)} to {rounded(high)} µm"))
    style: Style = {"textcoords": "offset points", "fontsize": SMALL_PT, "zorder": 6}
    for row, (_, x, text) in enumerate(rows):
        share = float((ax.get_xaxis_transform() + ax.transAxes.inverted()).transform((x, 0))[0])
        align = "left" if share < 0.2 else "right" if share > 0.8 else "center"
        ax.annotate(text, (x, row), (0, 7), ha=align, va="bottom", bbox=BESIDE | {"pad": 0.4}, **style)
    ax.plot(spread.peaks_um, np.full(len(spread.peaks_um), len(rows)), "k|", markersize=9, mew=0.9)
    names = [*(name for name, _, _ in rows), "each sample"]
    ax.set(ylim=(len(rows) + 0.5, -0.9), yticks=range(len(names)), yticklabels=names)
    ax.tick_params(axis="y", length=0)


def _percent(interval: Interval) -> str:
    return f"{100 * interval.value:.0f} % ({100 * interval.low:.0f} to {100 * interval.high:.0f})"


def _chance_text(chance: BandChance) -> str:
    return f"{chance.band}: {_percent(chance.chance)}"


def _note_on_distribution(spread: Spread, unwritten: list[BandChance]) -> list[str]:
    told = (
        f"On top: the chance of each band. In brackets: its {CONFIDENCE:.0%} interval from "
        f"{len(spread.peaks_um) + spread.without_answer} samples."
    )
    paragraphs = [told]
    if unwritten:
        paragraphs.append(f"Bands too narrow for a label: {'; '.join(map(_chance_text, unwritten))}.")
    if spread.without_answer:
        paragraphs.append(f"{spread.without_answer} samples have no answer and lie in no band.")
    return paragraphs


def _message_of_distribution(spread: Spread) -> str:
    most = max(spread.bands, key=lambda band: band.chance.value)
    low, high = rounded(spread.quantile_um(LOW)), rounded(spread.quantile_um(HIGH))
    return (
        f"The uncertain inputs put the peak between {low} and {high} µm (5 to 95 %), most likely "
        f"{whole_text(most.band)} (chance {whole_text(f'{100 * most.chance.value:.0f} %')})"
    )


def _alt_of_distribution(spread: Spread, message: str) -> str:
    nominal = spread.nominal.peak_um
    stated = "no answer" if nominal is None else um_text(nominal)
    median = spread.median_um
    return (
        f"{message}. Cumulative distribution of the peak micromotion over the bands. As stated: "
        f"{stated}; median {um_text(median.value)} ({rounded(median.low)} to {rounded(median.high)}). "
        f"Chances, with their {CONFIDENCE:.0%} intervals: {'; '.join(map(_chance_text, spread.bands))}. "
        f"{spread.without_answer} samples have no answer."
    )


# --- Drivers ------------------------------------------------------------------------------------------


def _drivers(spread: Spread) -> Picture:
    rows = len(spread.drivers)
    height = 0.52 * rows
    figure = blank_figure(2.5 + height)
    ax = axes_at(figure, left=2.6, bottom=1.1, width=3.55, height=height)
    ends = [
        end for d in spread.drivers for end in (d.total.low, d.first.low, d.total.high, d.first.high)
    ]
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
            style: Style = {"xycoords": ax.get_yaxis_transform(), "textcoords": "offset points"}
            told = f"{_index(interval)} {word}"
            ax.annotate(told, (1.0, y), (6, 0), va="center", fontsize=SMALL_PT - 0.5, **style)
    ax.axvline(0, color="black", linewidth=0.9, zorder=6)
    names = [textwrap.fill(key_words(driver.key), 32) for driver in spread.drivers]
    ax.set(xlim=(left, right), ylim=(rows - 0.45, -0.55), yticks=range(rows), yticklabels=names)
    ax.set_xlabel("share of the variance of ln(peak)")
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: number_text(v)))
    plain_axes(ax)
    ax.tick_params(axis="y", length=0)
    for spine in ("top", "right", "left"):
        ax.spines[spine].set_visible(False)
    write_note(
        figure,
        "Filled: an input with its interactions (total index). Hatched: the input alone (first order).",
        f"Lines: {CONFIDENCE:.0%} intervals, from {spread.rows_for_drivers} rows of the sample.",
    )
    message = _message_of_drivers(spread)
    headings = write_headings(figure, message, spread.case.title)
    listed = "; ".join(
        f"{key_words(d.key)}: total {_index(d.total)}, alone {_index(d.first)}" for d in spread.drivers
    )
    alt = f"{message}. Share of the variance of ln(peak) by input, largest first. {listed}."
    return Picture(name="spread-drivers", figure=figure, alt=alt, message=message, headings=headings)


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
    words = [key_words(driver.key) for driver in drivers]
    joined = f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]
    return joined[0].upper() + joined[1:]

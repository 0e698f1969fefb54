"""Pictures of an answer: all loads at a glance, and all the others in order.

Everything here is drawing. Each picture says one thing, in its title, and reads without colour: motion
on the wall is colour and thickness, states are greys, marks differ in shape. All pictures of one answer
share one colour scale, from 0 to the largest band (or the largest peak, where that is above it).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.explained import as_explained
from stillroot.mechanics.fields import displacement
from stillroot.pictures.directions_figure import six_arrows
from stillroot.pictures.drawing import (
    BEYOND,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    beside_axes,
    blank_figure,
    head_text,
    headroom_in,
    mark_head,
    mark_interval,
    no_word_of_missing_letters,
    peak_text,
    plain_axes,
    quoted_name,
    scale_um,
    shade_bands,
    shortened,
    um_text,
    whole_text,
    write_headings,
    write_in,
)
from stillroot.pictures.figure_section import section
from stillroot.pictures.figure_unrolled import unrolled
from stillroot.pictures.gauge_figure import gauge
from stillroot.pictures.levers_figure import led_to, levers_figure, write_why_no_peak
from stillroot.pictures.moved_figure import moved
from stillroot.pictures.pressure_figure import seat_pressure
from stillroot.studies.levers import largest_after
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text

    from stillroot.answers.answer import CheckResult
    from stillroot.answers.explained import Explained
    from stillroot.mechanics.fields import Displacement
    from stillroot.pictures.levers_figure import Row


ROW_IN = 0.3
EDGE_PX = 8.0
"""White kept between a load's text and the frame."""


def pictures(
    answered: CheckResult | Explained, field: Displacement | None = None
) -> tuple[Picture, ...]:
    """Return every picture of an answer; `field` is the governing load's, where it is solved already.

    The summary, then section and unrolled wall of each load, then what else was asked for; and of the
    governing load the bodies moved, the pressure during insertion, and a gauge at the head.
    """
    explained = as_explained(answered)
    result = explained.answer
    drawn = [summary(result)]
    for answer in result.loads:
        drawn += [section(result, answer), unrolled(result, answer)]
    if explained.directions is not None:
        drawn.append(six_arrows(explained.directions))
    if explained.levers:
        drawn.append(_levers(explained))
    if explained.choices:
        drawn.append(other_choices(explained))
    worst = result.governing
    field = field or displacement(result.seated, worst.state, worst.resultant)
    for picture in (moved(result, field), seat_pressure(result), gauge(result)):
        if picture is not None:
            drawn.append(picture)
    return tuple(drawn)


def _levers(explained: Explained) -> Picture:
    """Draw what each change does to the largest peak: what a plan can change, and the rest."""
    result = explained.answer
    worst = result.governing
    rows: dict[bool, list[Row]] = {True: [], False: []}
    for lever in explained.levers:
        after = largest_after(result, lever)
        then = "" if after is None or after[0] is worst else f" ({quoted_name(after[0].name)} governs)"
        peak = None if after is None else after[1]
        rows[lever.by_plan].append((f"{lever.text}{then}", peak, lever.reason))
    return levers_figure(
        worst.name,
        worst.peak.total_um,
        rows[True],
        rows[False],
        result.case.threshold.bands_um,
        title=result.case.title,
    )


def summary(result: CheckResult) -> Picture:
    """Draw the peak with its error, and the head movement, of every load against the bands."""
    count = len(result.loads)
    height_in = 2.4 + 0.95 * count
    figure = blank_figure(height_in)
    ax = axes_at(figure, left=0.3, bottom=0.92, width=WIDTH_IN - 0.6, height=0.95 * count)
    right = 1.22 * scale_um(result)
    shade_bands(ax, result.case.threshold.bands_um, right)
    for row, answer in enumerate(result.loads):
        ax.axhspan(row - 0.5, row - 0.17, facecolor="white", edgecolor="none", zorder=1)
        told = load_text(answer.resultant, lines=1)
        place = (0.012 * right, row - 0.33)
        text = write_in(ax, place, f"{answer.name}: {told}", va="center", beside=False, order=3)
        _fit(ax, text, answer.name, f": {told}")
        mark_interval(ax, answer, right, y=row + 0.03, drop=None)
        mark_head(ax, answer, right, y=row + 0.31, drop=None)
    ax.set(xlim=(0, right), ylim=(count - 0.5, -0.5), yticks=[])
    ax.set_xticks(band_ticks(result.case.threshold.bands_um, right))
    ax.set_xlabel("micromotion at the interface, and head movement [µm]")
    plain_axes(ax)
    worst = result.governing
    message = (
        f"{quoted_name(worst.name)}{' governs' if count > 1 else ''}: peak micromotion "
        f"{whole_text(peak_text(worst))} ({whole_text(worst.band)})"
    )
    headings = write_headings(figure, message, result.case.title)
    return Picture(
        name="summary", figure=figure, alt=_summary_alt(result), message=message, headings=headings
    )


def _fit(ax: Axes, text: Text, name: str, rest: str) -> None:
    """Cut a name until it and the rest end within the axes: letters differ in width."""
    with no_word_of_missing_letters():
        end = float(ax.get_window_extent().x1) - EDGE_PX
        kept = shortened(name)
        text.set_text(kept + rest)
        while kept and text.get_window_extent().x1 > end:
            kept = kept.removesuffix("…").rstrip()[:-1].rstrip()
            text.set_text(f"{kept}…{rest}")


def other_choices(explained: Explained) -> Picture:
    """Draw the governing load's peak as answered and under every other choice, against the bands."""
    result = explained.answer
    worst = result.governing
    index = result.loads.index(worst)
    answered = worst.peak.total_um
    rows: list[tuple[str, float | None, str]] = [("base case", answered, "")]
    rows += [(f"{c.subject}: {c.text}", c.peaks_um[index], c.reason) for c in explained.choices]
    known = [peak for _, peak, _ in rows if peak is not None]
    bands = result.case.threshold.bands_um
    right = 1.1 * min(max(*bands, *known), BEYOND * max(*bands, answered))
    height = ROW_IN * len(rows)
    message = (
        f"{quoted_name(worst.name)}: choices without an agreed value put the peak anywhere from "
        f"{whole_text(um_text(min(known)))} to {whole_text(um_text(max(known)))}"
    )
    figure = blank_figure(0.92 + height + headroom_in(message, least=0.98))
    ax = axes_at(figure, left=3.5, bottom=0.92, width=WIDTH_IN - 4.7, height=height)
    shade_bands(ax, bands, right, named=False)
    ax.axvline(answered, color="black", linewidth=1.2, zorder=3)
    for row, (name, peak, reason) in enumerate(rows):
        weight = "bold" if row == 0 else "normal"
        beside_axes(ax, row, name, left=True, fontweight=weight)
        if peak is None:
            write_why_no_peak(ax, row, reason)
            continue
        beside_axes(ax, row, um_text(peak), left=False, fontweight=weight)
        mark = ">" if peak > right else "o"
        ax.plot(min(peak, right), row, mark, color="black", markersize=7, clip_on=False, zorder=5)
    ax.set(xlim=(0, right), ylim=(len(rows) - 0.5, -0.5), yticks=[])
    ax.set_xticks(band_ticks(bands, right))
    ax.set_xlabel("peak micromotion [µm]; shades are the bands")
    plain_axes(ax)
    headings = write_headings(figure, message, result.case.title)
    told = "; ".join(f"{row[0]}: {led_to(row)}" for row in rows)
    alt = f"Peak micromotion of “{worst.name}” under other choices. {told}."
    return Picture(name="choices", figure=figure, alt=alt, message=message, headings=headings)


def _summary_alt(result: CheckResult) -> str:
    rows = " ".join(
        f"“{a.name}”: peak {peak_text(a)} ({a.band}), head movement {head_text(a)}."
        for a in result.loads
    )
    bands = ", ".join(f"{band:g}" for band in result.case.threshold.bands_um)
    return f"Peak micromotion and head movement of each load against the bands {bands} µm. {rows}"

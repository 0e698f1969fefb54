"""A gauge at the head of the implant: what it reads, and how much of that is motion at the wall."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Circle

from stillroot.answers.summary import with_error
from stillroot.mechanics.head_parts import head_parts
from stillroot.mechanics.outline import outline_of
from stillroot.pictures.drawing import (
    WIDTH_IN,
    Picture,
    axes_at,
    beside_axes,
    blank_figure,
    draw_bodies,
    headroom_in,
    peak_text,
    picture_name,
    plain_axes,
    point_out,
    quoted_name,
    um_text,
    whole_text,
    write_headings,
    write_in,
)
from stillroot.pictures.figure_section import draw_load, ring_peak, view_of
from stillroot.pictures.study_drawing import write_note
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.mechanics.head_parts import HeadParts
    from stillroot.pictures.drawing import Floats, Style


HEIGHT_IN, ROW_IN, NAMES_IN = 4.7, 0.36, 2.95
"""Height of the sketch, of a row of bars, and the width that the names of the bars take."""
AXIAL = 0.8
"""Share of the head movement along the axis from which on the gauge stands on top."""
UPRIGHT = 1e-6
"""Less aside than this, a gauge on top stands upright, and on the left."""
HATCHED: Style = {"facecolor": "white", "edgecolor": "0.15", "hatch": "////", "linewidth": 1.0}
DARK: Style = {"facecolor": "0.35", "edgecolor": "0.15", "linewidth": 1.0}


def gauge(result: CheckResult) -> Picture | None:
    """Draw a gauge at the head under the governing load, what it reads, and what that is made of.

    None where no force acts: under a torque alone the head turns where it is.
    """
    answer = result.governing
    if not (answer.resultant.lateral_n or answer.resultant.axial_n):
        return None
    parts = head_parts(result.seated, answer.state, answer.head)
    bars_in = 4 * ROW_IN
    message = _message(answer)
    height_in = HEIGHT_IN + bars_in + 1.35 + headroom_in(message, least=1.0)
    figure = blank_figure(height_in)
    width_in = WIDTH_IN - 0.6
    sketch = axes_at(figure, left=0.3, bottom=bars_in + 1.35, width=width_in, height=HEIGHT_IN)
    _draw_sketch(sketch, result, answer, width_in / HEIGHT_IN)
    bars = axes_at(figure, left=NAMES_IN, bottom=1.0, width=WIDTH_IN - NAMES_IN - 1.3, height=bars_in)
    _draw_bars(bars, answer, parts)
    write_note(
        figure,
        "Motion at the wall reaches the head through the lever; the rest is elastic give of bone and "
        "implant.",
    )
    headings = write_headings(figure, message, result.case.title)
    alt = (
        f"{message}. A gauge at the head of the implant under {load_text(answer.resultant, lines=1)}. "
        f"Of what it reads, {um_text(parts.interface_um)} is motion at the wall carried up to the head "
        f"and {um_text(parts.give_um)} the elastic give of bone and implant."
    )
    name = picture_name(result, answer, "gauge")
    return Picture(name=name, figure=figure, alt=alt, message=message, headings=headings)


def _draw_sketch(ax: Axes, result: CheckResult, answer: LoadAnswer, aspect: float) -> None:
    case, load, head = result.case, answer.resultant, answer.head
    way = np.array([head.lateral_um, -head.axial_um]) / head.total_um
    on_top = bool(abs(way[1]) > AXIAL)
    view = view_of(case, load, aspect)
    rises = abs(float(way[1])) if on_top else max(float(way[1]), 0.0)
    top = head.height_mm + (0.2 * rises + 0.08) * view.span
    view = view.with_room(1.3 * max(top - view.high, 0.0))  # the gauge grows with what is shown
    draw_bodies(ax, outline_of(case))
    ax.axhline(0, color="0.2", linewidth=1.0, linestyle=(0, (6, 3)), zorder=3)
    far = draw_load(ax, case, load, view.arrow)
    side = _draw_gauge(ax, result, answer, way, on_top, view.span)
    beside = -side * (case.implant.abutment_diameter_mm / 2 + 0.06 * view.span)
    place = (beside, 0.72 * load.height_mm)
    if far is not None:
        outer = min if side > 0 else max
        place = (outer(far[0] - side * 0.03 * view.span, beside), far[1])
    ha = "right" if side > 0 else "left"
    write_in(ax, place, load_text(load), ha=ha, va="center", bold=True)
    ring_peak(ax, answer)
    at_peak = 1.0 if np.cos(np.radians(answer.peak.angle_deg)) > -1e-9 else -1.0
    at = (at_peak * answer.peak.radius_mm, -answer.peak.depth_mm)
    y = min(max(at[1], view.low + 0.05 * view.span), -0.06 * view.span)
    edge = at_peak * min(0.6 * view.half_width, case.block_mm[0])
    text = f"at the wall:\n{peak_text(answer)}"
    point_out(ax, at, (edge, y), text, ha="left" if at_peak > 0 else "right", bold=True, away=7)
    ax.set(xlim=(-view.half_width, view.half_width), ylim=(view.low, view.high), xticks=[], yticks=[])
    for spine in ax.spines.values():
        spine.set_visible(False)


def _draw_gauge(
    ax: Axes, result: CheckResult, answer: LoadAnswer, way: Floats, on_top: bool, span: float
) -> float:
    """Draw a dial gauge that touches the head along the way it moves; return its side, 1 or -1.

    On top it stands on a plate, out of the load's way.
    """
    implant, height = result.case.implant, answer.head.height_mm
    if on_top:
        along = way if way[1] > 0 else -way
        side = float(np.copysign(1.0, along[0])) if abs(along[0]) > UPRIGHT else -1.0
        reach = side * (implant.abutment_diameter_mm / 2 + 0.11 * span)
        plate = [reach + side * 0.02 * span, 0.0]
        ax.plot(plate, [height, height], color="0.15", linewidth=3.0, zorder=5)
        tip = np.array([reach, height])
    else:
        along, side = way, float(np.copysign(1.0, way[0]))
        radius = implant.abutment_diameter_mm / 2 if height <= implant.abutment_height_mm else 0.0
        tip = np.array([side * radius, height])
    stem, dial = tip + 0.07 * span * along, tip + 0.2 * span * along
    line: Style = {"color": "0.1", "solid_capstyle": "butt", "zorder": 5.5}
    ax.plot(*np.stack([tip, dial], axis=1), linewidth=1.8, **line)
    ax.plot(*np.stack([stem, dial], axis=1), linewidth=6.5, **line)
    ax.plot(*tip, "o", markersize=5.5, color="0.1", zorder=6)
    size = 0.062 * span
    face: Style = {"facecolor": "white", "edgecolor": "0.1", "linewidth": 2.2, "zorder": 6}
    ax.add_patch(Circle((float(dial[0]), float(dial[1])), size, **face))
    for angle in np.radians(np.arange(0, 360, 30)):
        ray = np.array([np.cos(angle), np.sin(angle)])
        ends = np.stack([dial + 0.78 * size * ray, dial + 0.93 * size * ray], axis=1)
        ax.plot(*ends, color="0.1", linewidth=1.0, zorder=6.1)
    needle = np.array([np.cos(0.9), np.sin(0.9)])
    ax.plot(
        *np.stack([dial, dial + 0.7 * size * needle], axis=1), color="0.1", linewidth=2.0, zorder=6.2
    )
    place = (float(dial[0] + 1.3 * side * size), float(dial[1]))
    text = f"the gauge reads\n{_reading(answer)}"
    write_in(ax, place, text, ha="left" if side > 0 else "right", va="center", bold=True)
    return side


def _draw_bars(ax: Axes, answer: LoadAnswer, parts: HeadParts) -> None:
    """Draw what the gauge reads as an arrow, its two parts end to end below it, and the peak."""
    total, wall, peak = answer.head.total_um, parts.interface_um, answer.peak.total_um
    arrow: Style = {"arrowstyle": "-|>", "linewidth": 3.2, "color": "black", "mutation_scale": 17}
    ax.annotate("", (total, 0), (0, 0), arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0}, zorder=4)
    ax.barh(1, wall, height=0.56, zorder=3, **DARK)
    ax.barh(2, parts.give_um, left=wall, height=0.56, zorder=3, **HATCHED)
    ax.plot([wall, wall], [0.7, 2.3], color="0.15", linewidth=0.9, linestyle=":", zorder=2)
    ax.plot([total, total], [0.0, 2.3], color="0.15", linewidth=0.9, linestyle=":", zorder=2)
    bar: Style = {"capsize": 4.5, "elinewidth": 2.0, "ecolor": "black", "zorder": 4}
    ax.barh(3, peak, height=0.56, zorder=3, **DARK)
    ax.errorbar(peak, 3, xerr=answer.error.total_um, fmt="none", **bar)
    rows = (
        ("head movement, read by the gauge", _reading(answer), "bold"),
        ("motion at the wall, carried up to the head", um_text(wall), "normal"),
        ("elastic give of bone and implant", um_text(parts.give_um), "normal"),
        ("largest motion at the wall itself", f"{peak_text(answer)}", "bold"),
    )
    for row, (name, value, weight) in enumerate(rows):
        beside_axes(ax, row, name, left=True, fontweight=weight)
        beside_axes(ax, row, value, left=False, fontweight=weight)
    ends = (0.0, total, wall, peak + answer.error.total_um)
    ax.set(xlim=(1.03 * min(ends), 1.03 * max(ends)), ylim=(3.5, -0.5), yticks=[])
    ax.set_xlabel("motion from seated to loaded [µm]")
    plain_axes(ax)
    for spine in ("top", "right"):
        ax.spines[spine].set_visible(False)


def _reading(answer: LoadAnswer) -> str:
    """Return what the gauge reads with its error, as the table has it."""
    return f"{with_error(answer.head.total_um, answer.head_error.total_um)} µm"


def _message(answer: LoadAnswer) -> str:
    """Say what the gauge reads, and what the wall does."""
    head = answer.head
    height = whole_text(f"{head.height_mm:g} mm")
    return (
        f"Under {quoted_name(answer.name)} a gauge {height} above the crest reads "
        f"{whole_text(_reading(answer))}; the wall itself moves at most "
        f"{whole_text(peak_text(answer))}"
    )

"""A gauge at the head of the implant: what it reads, and how much of that is motion at the wall."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Circle

from stillroot.answers.wording import with_error
from stillroot.mechanics.head_parts import head_parts
from stillroot.pictures.bodies import (
    draw_load,
    draw_site,
    ring_peak,
    show_section,
    side_of_peak,
    view_of,
)
from stillroot.pictures.labels import draw_arrow, hide_spines, name_rows, point_out, write_in
from stillroot.pictures.paper import WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.words import peak_words, picture_name, um_text, under_text, whole_text
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.arrays import Floats
    from stillroot.mechanics.head_parts import HeadParts


HEIGHT_IN, ROW_IN, NAMES_IN = 4.7, 0.36, 2.95
"""Height of the sketch, of a row of bars, and the width that the names of the bars take."""
AXIAL = 0.8
"""Share of the head movement along the axis from which on the gauge stands on top."""
UPRIGHT = 1e-6
"""Less aside than this, a gauge on top stands upright, and on the left."""
HATCHED: Style = {"facecolor": "white", "edgecolor": "0.15", "hatch": "////", "linewidth": 1.0}
DARK: Style = {"facecolor": "0.35", "edgecolor": "0.15", "linewidth": 1.0}
GIVE = ("elastic give of bone and implant", "give of implant and bone, crushed or not")
"""What of the head movement is no motion at the wall: where no bone has yielded, and where some has."""
NOTE = "Motion at the wall reaches the head through the lever; the rest is"


def gauge(result: CheckResult) -> Picture | None:
    """Draw a gauge at the head under the governing load, what it reads, and what that is made of.

    None where no force acts: under a torque alone the head turns where it is.
    """
    answer = result.governing
    if not (answer.resultant.lateral_n or answer.resultant.axial_n):
        return None
    parts = head_parts(result.seated, answer.state, answer.head)
    height = whole_text(f"{answer.head.height_mm:g} mm")
    message = (
        f"{under_text(answer)} a gauge {height} above the crest reads "
        f"{whole_text(_reading(answer))}; the wall itself moves at most {whole_text(peak_words(answer))}"
    )
    bars_in = 4 * ROW_IN
    sheet = blank_sheet(message, result.case.title, tall_in=HEIGHT_IN, foot_in=bars_in + 1.35)
    width_in = WIDTH_IN - 0.6
    _draw_sketch(sheet.axes(0.3, width_in), result, answer, width_in / HEIGHT_IN)
    bars = sheet.axes(NAMES_IN, WIDTH_IN - NAMES_IN - 1.3, bottom=1.0, height=bars_in)
    _draw_bars(bars, answer, parts)
    give = GIVE[answer.bone_strain.yielded_mm3 > 0]
    sheet.note(f"{NOTE} {give}.")
    alt = (
        f"{message}. A gauge at the head of the implant under {load_text(answer.resultant, lines=1)}. "
        f"Of what it reads, {um_text(parts.interface_um)} is motion at the wall carried up to the head "
        f"and {um_text(parts.give_um)} {give}."
    )
    return sheet.picture(picture_name(result, answer, "gauge"), alt)


def _draw_sketch(ax: Axes, result: CheckResult, answer: LoadAnswer, aspect: float) -> None:
    case, load, head = result.case, answer.resultant, answer.head
    way = np.array([head.lateral_um, -head.axial_um]) / head.total_um
    on_top = bool(abs(way[1]) > AXIAL)
    view = view_of(case, load, aspect)
    rises = abs(float(way[1])) if on_top else max(float(way[1]), 0.0)
    top = head.height_mm + (0.2 * rises + 0.08) * view.span
    view = view.with_room(1.3 * max(top - view.high, 0.0))  # the gauge grows with what is shown
    draw_site(ax, case)
    far = draw_load(ax, case, load, view.arrow)
    side = _draw_gauge(ax, result, answer, way, on_top, view.span)
    beside = -side * (case.implant.abutment_diameter_mm / 2 + 0.06 * view.span)
    place = (beside, 0.72 * load.height_mm)
    if far is not None:
        outer = min if side > 0 else max
        place = (outer(far[0] - side * 0.03 * view.span, beside), far[1])
    write_in(ax, place, load_text(load), side=-side, bold=True)
    at, at_peak = ring_peak(ax, answer), side_of_peak(answer)
    edge = at_peak * min(0.6 * view.half_width, case.block_mm[0])
    text = f"at the wall:\n{peak_words(answer)}"
    point_out(ax, at, (edge, view.beside(at, 1.0)[1]), text, side=at_peak, bold=True, away=7)
    show_section(ax, view.half_width, view.low, view.high)


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
    dial, size = tip + 0.2 * span * along, 0.062 * span

    def line(start: Floats, end: Floats, width: float, order: float) -> None:
        look: Style = {"color": "0.1", "solid_capstyle": "butt", "linewidth": width, "zorder": order}
        ax.plot(*np.stack([start, end], axis=1), **look)

    line(tip, dial, 1.8, 5.5)
    line(tip + 0.07 * span * along, dial, 6.5, 5.5)
    ax.plot(*tip, "o", markersize=5.5, color="0.1", zorder=6)
    face: Style = {"facecolor": "white", "edgecolor": "0.1", "linewidth": 2.2, "zorder": 6}
    ax.add_patch(Circle((float(dial[0]), float(dial[1])), size, **face))
    for angle in np.radians(np.arange(0, 360, 30)):
        ray = size * np.array([np.cos(angle), np.sin(angle)])
        line(dial + 0.78 * ray, dial + 0.93 * ray, 1.0, 6.1)
    line(dial, dial + 0.7 * size * np.array([np.cos(0.9), np.sin(0.9)]), 2.0, 6.2)
    place = (float(dial[0] + 1.3 * side * size), float(dial[1]))
    text = f"the gauge reads\n{_reading(answer)}"
    write_in(ax, place, text, side=side, bold=True)
    return side


def _draw_bars(ax: Axes, answer: LoadAnswer, parts: HeadParts) -> None:
    """Draw what the gauge reads as an arrow, its two parts end to end below it, and the peak."""
    total, wall, peak = answer.head.total_um, parts.interface_um, answer.peak.total_um
    draw_arrow(ax, (0, 0), (total, 0), linewidth=3.2, mutation_scale=17)
    ax.barh(1, wall, height=0.56, zorder=3, **DARK)
    ax.barh(2, parts.give_um, left=wall, height=0.56, zorder=3, **HATCHED)
    for x, top in ((wall, 0.7), (total, 0.0)):
        ax.plot([x, x], [top, 2.3], color="0.15", linewidth=0.9, linestyle=":", zorder=2)
    bar: Style = {"capsize": 4.5, "elinewidth": 2.0, "ecolor": "black", "zorder": 4}
    ax.barh(3, peak, height=0.56, zorder=3, **DARK)
    ax.errorbar(peak, 3, xerr=answer.error.total_um, fmt="none", **bar)
    rows = (
        ("head movement, read by the gauge", _reading(answer), True),
        ("motion at the wall, carried up to the head", um_text(wall), False),
        (GIVE[answer.bone_strain.yielded_mm3 > 0], um_text(parts.give_um), False),
        ("largest motion at the wall itself", peak_words(answer), True),
    )
    name_rows(ax, rows)
    ends = (0.0, total, wall, peak + answer.error.total_um)
    ax.set(xlim=(1.03 * min(ends), 1.03 * max(ends)), ylim=(3.5, -0.5), yticks=[])
    ax.set_xlabel("motion from seated to loaded [µm]")
    hide_spines(ax, "top", "right")


def _reading(answer: LoadAnswer) -> str:
    """Return what the gauge reads with its error, as the table has it; without where it gives way."""
    if answer.gives_way_at is not None:
        return um_text(answer.head.total_um)
    return f"{with_error(answer.head.total_um, answer.head_error.total_um)} µm"

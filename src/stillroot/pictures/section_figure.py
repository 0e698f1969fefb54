"""The half-section mirrored to a whole, in the plane of the load, with the motion on its wall."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import Normalize
from matplotlib.ticker import FuncFormatter, MultipleLocator

from stillroot.answers.result import peak_text
from stillroot.answers.summary import place_of
from stillroot.pictures.bodies import (
    View,
    draw_axis,
    draw_crushed,
    draw_holds,
    draw_load,
    draw_motion,
    draw_site,
    name_load,
    point_out_gaps,
    ring_peak,
    side_of_peak,
    turn_height,
    unit_force,
    view_of,
)
from stillroot.pictures.labels import CRUSHED, hide_spines, point_out, write_in
from stillroot.pictures.marks import mark_head, mark_interval
from stillroot.pictures.paper import WIDTH_IN, Picture, blank_sheet
from stillroot.pictures.scales import motion_strip, scale_um
from stillroot.pictures.words import (
    head_text,
    marked_peak,
    number_text,
    peak_words,
    picture_name,
    quoted_name,
    under_text,
    whole_text,
)
from stillroot.words.loads import load_text, signed_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.mechanics.resultant import Resultant


TALL_IN = 7.5
"""Of the drawing."""
LARGE = 0.3
"""Of the largest crushed triangle: so large are those one of which is pointed at."""


def section(result: CheckResult, answer: LoadAnswer) -> Picture:
    """Draw the section in the plane of the load, true to scale, with the motion on the wall.

    The right side is at angle 0, to where a positive lateral load points; the left side at 180°.
    """
    case, load = result.case, answer.resultant
    message = _message(answer)
    sheet = blank_sheet(message, case.title, tall_in=TALL_IN, foot_in=1.95, head_in=1.15)
    ax = sheet.axes(0.78, WIDTH_IN - 1.0)
    view = view_of(case, load, aspect=(WIDTH_IN - 1.0) / TALL_IN)
    draw_site(ax, case)
    crushed = draw_crushed(ax, result, answer)
    draw_motion(ax, result, answer, scale_um(result))
    draw_axis(ax, view.low, view.high)
    write_in(ax, (view.edge, 0.012 * view.span), "crest of the bone", side=-1, va="bottom")
    _draw_named_load(ax, view, case, load)
    _name_bodies(ax, view, case, answer)
    _mark_peak(ax, view, answer)
    _name_crushed(ax, view, answer, crushed)
    frame_section(ax, view, load)
    _draw_scale(sheet.axes(0.78, WIDTH_IN - 1.0, bottom=0.85, height=0.62), result, answer)
    alt = (
        f"Section through implant and bone in the plane of the load “{answer.name}” "
        f"({load_text(load, lines=1)}). The interface motion is drawn along the wall as colour and "
        f"thickness. {_peak_in_words(answer)}. Head movement is {head_text(answer)}, "
        f"{answer.head.height_mm:g} mm above the crest."
    )
    if crushed.size:
        size = number_text(answer.bone_strain.yielded_mm3)
        alt += f" {CRUSHED.capitalize()} is hatched: {size} mm³ in all."
    return sheet.picture(picture_name(result, answer, "section"), alt)


def _message(answer: LoadAnswer) -> str:
    """Say how far the wall moves where it moves most, and at which load if not the whole."""
    if answer.gives_way_at is None:
        peak = f"{whole_text(peak_text(answer))} ({whole_text(answer.band)})"
        return f"Peak micromotion under {quoted_name(answer.name)}: {peak}, {place_of(answer)}"
    moves = f"the wall moves {whole_text(peak_words(answer))}, {place_of(answer)}"
    return f"{under_text(answer)} {moves}"


def _peak_in_words(answer: LoadAnswer) -> str:
    if answer.gives_way_at is None:
        peak = f"The peak micromotion is {peak_text(answer)}"
        return f"{peak}, {place_of(answer)}, in the band {answer.band}"
    return f"{_message(answer)}; all is drawn as it is there"


def _draw_named_load(ax: Axes, view: View, case: Case, load: Resultant) -> None:
    far = draw_load(ax, case, load, view.arrow)
    if far is None:
        at = (0.97 * view.half_width, load.height_mm + 0.02 * view.span)
        write_in(ax, at, load_text(load), side=-1, bold=True, va="bottom")
        return
    implant = case.implant
    beside = far[1] < implant.abutment_height_mm + 0.3
    name_load(ax, view, far, load, implant.abutment_diameter_mm / 2 if beside else 0.0)


def _name_bodies(ax: Axes, view: View, case: Case, answer: LoadAnswer) -> None:
    """Write names into the drawing, on the side that the peak leaves free."""
    side = -side_of_peak(answer)
    write_in(ax, (0, _free_height(view, case, answer.resultant)), "abutment", side=0)
    write_in(ax, (0, -0.5 * case.implant.length_mm), "implant", side=0)
    edge = side * view.edge
    thickness = min(case.bone.cortical_thickness_mm, case.block_mm[1])
    if thickness > 0.05 * view.span:
        write_in(ax, (edge, -thickness / 2), "cortical bone", side=-side)
    elif thickness > 0:
        place = (edge, -thickness - 0.035 * view.span)
        inside = (side * 0.68 * view.edge, -thickness / 2)
        point_out(ax, inside, place, "cortical bone", side=-side)
    if thickness < -view.low:
        name = "trabecular bone" if thickness else "bone block"
        write_in(ax, (edge, 0.5 * (view.low - thickness)), name, side=-side)
    draw_holds(ax, case, side, view.reach + 0.035 * view.span, view.span)
    point_out_gaps(ax, case, side, side * (view.reach + 0.065 * view.span), outwards=True)


def _free_height(view: View, case: Case, load: Resultant) -> float:
    """Return the height in the abutment that is farthest from what is drawn of the load."""
    up = max(-unit_force(load)[1], 0.0)
    drawn = [load.height_mm, load.height_mm + view.arrow * up / 2, load.height_mm + view.arrow * up]
    if load.torque_nmm:
        drawn.append(turn_height(case, load))
    heights = np.array([0.3, 0.5, 0.7, 0.9]) * case.implant.abutment_height_mm
    away = np.min(np.abs(heights[:, None] - np.array(drawn)), axis=1)
    return float(heights[np.argmax(away)])


def _mark_peak(ax: Axes, view: View, answer: LoadAnswer) -> None:
    peak, side = answer.peak, side_of_peak(answer)
    place = ring_peak(ax, answer)
    text = marked_peak(answer)
    if peak.all_round:
        text += "\nall round"
    elif abs(np.sin(np.radians(peak.angle_deg))) > 1e-6:
        signed = (peak.angle_deg + 180) % 360 - 180
        text += f"\nat {signed_number(signed)}°, not in this plane"
    point_out(ax, place, view.beside(place, side), text, side=-side, bold=True, away=7)


def _name_crushed(ax: Axes, view: View, answer: LoadAnswer, crushed: Floats) -> None:
    """Name the crushed bone on the side of the peak, or on the other one where it is there alone."""
    at, side = crushed.mean(axis=1), side_of_peak(answer)
    seen = (np.abs(at[:, 0]) < view.edge) & (at[:, 1] > view.low)
    if not np.any(seen):
        return
    if not np.any(seen & (side * at[:, 0] > 0)):
        side = -side
    beside_peak = view.beside((0.0, -answer.peak.depth_mm), side)[1]
    above = beside_peak + 0.12 * view.span < -0.08 * view.span
    y = beside_peak + (0.12 if above else -0.14) * view.span
    seen &= side * at[:, 0] > 0
    (a, b), (c, d) = (crushed[:, 1:] - crushed[:, :1]).transpose(1, 2, 0)
    size = np.where(seen, np.abs(a * d - b * c), 0.0)
    large = at[size > LARGE * size.max()]  # not a corner of the bone, where there is more
    x, z = large[np.argmin(np.hypot(large[:, 0] - side * view.edge, large[:, 1] - y))]
    point_out(ax, (float(x), float(z)), (side * view.edge, y), CRUSHED, side=-side)


def frame_section(ax: Axes, view: View, load: Resultant) -> None:
    """Lay out axes true to scale, and name the sides of the load."""
    ax.set(
        xlim=(-view.half_width, view.half_width),
        ylim=(view.low, view.high),
        xlabel="distance from the axis [mm]",
        ylabel="below (−) and above (+) the crest [mm]",
    )
    ax.set_aspect("equal", adjustable="box")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MultipleLocator(5))
        axis.set_minor_locator(MultipleLocator(1))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{abs(x):g}"))
    for side in (1.0, -1.0) if load.lateral_n else ():
        way = "points to" if side * load.lateral_n > 0 else "comes from"
        place = (side * view.edge, view.low + 0.012 * view.span)
        write_in(ax, place, f"side the load {way}", side=-side, fontstyle="italic", va="bottom")


def _draw_scale(ax: Axes, result: CheckResult, answer: LoadAnswer) -> None:
    """Draw the colour scale as the strip of bands, the peak's interval and the head above it."""
    scale = scale_um(result)
    end = 1.12 * scale
    label = "micromotion [µm]: colour and thickness on the wall; lines are the bands"
    motion_strip(ax, result.case.threshold.bands_um, Normalize(0, scale), label, end=end)
    ax.set_ylim(0, 3.4)
    hide_spines(ax, "left", "right", "top")
    mark_interval(ax, answer, end, y=1.65, drop=1.0)
    mark_head(ax, answer, end, y=2.75, drop=1.0)

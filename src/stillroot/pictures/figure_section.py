"""The half-section mirrored to a whole, in the plane of the load, with the motion on its wall."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import Normalize
from matplotlib.ticker import FuncFormatter, MultipleLocator

from stillroot.answers.summary import place_of
from stillroot.mechanics.outline import gaps_between, outline_of
from stillroot.pictures.drawing import (
    MOTION,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    blank_figure,
    draw_bodies,
    draw_motion,
    gap_text,
    head_text,
    mark_head,
    mark_interval,
    peak_text,
    picture_name,
    plain_axes,
    point_out,
    quoted_name,
    scale_um,
    signed_deg,
    whole_text,
    write_headings,
    write_in,
)
from stillroot.words.loads import load_text, signed_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.resultant import Resultant
    from stillroot.pictures.drawing import Place, Style


def section(result: CheckResult, answer: LoadAnswer) -> Picture:
    """Draw the section in the plane of the load, true to scale, with the motion on the wall.

    The right side is at angle 0, to where a positive lateral load points; the left side at 180°.
    """
    height_in = 10.6
    figure = blank_figure(height_in)
    ax = axes_at(figure, left=0.78, bottom=1.95, width=WIDTH_IN - 1.0, height=height_in - 3.1)
    view = view_of(result.case, answer.resultant, aspect=(WIDTH_IN - 1.0) / (height_in - 3.1))
    draw_bodies(ax, outline_of(result.case))
    draw_motion(ax, result, answer, scale_um(result))
    _draw_crest_and_axis(ax, view)
    _draw_named_load(ax, view, result.case, answer.resultant)
    _name_bodies(ax, view, result.case, answer)
    _mark_peak_on_section(ax, view, answer)
    frame_section(ax, view, answer.resultant)
    strip = axes_at(figure, left=0.78, bottom=0.85, width=WIDTH_IN - 1.0, height=0.62)
    _draw_scale(strip, result, answer)
    message = (
        f"Peak micromotion under {quoted_name(answer.name)}: {whole_text(peak_text(answer))} "
        f"({whole_text(answer.band)}), {place_of(answer)}"
    )
    headings = write_headings(figure, message, result.case.title)
    return Picture(
        name=picture_name(result, answer, "section"),
        figure=figure,
        alt=_section_alt(answer),
        message=message,
        headings=headings,
    )


@dataclass(frozen=True, kw_only=True)
class View:
    """What of the section is shown [mm]: `reach` is the radius of implant and gap, `block` of bone."""

    half_width: float
    low: float
    high: float
    arrow: float
    reach: float
    block: float

    @property
    def edge(self) -> float:
        """Where labels at the side of the bone end."""
        return min(0.97 * self.half_width, self.block - 0.03 * self.half_width)

    @property
    def span(self) -> float:
        """Height of what is shown."""
        return self.high - self.low

    def with_room(self, above: float) -> View:
        """Return the view with so much more to be seen above, in axes of the same shape."""
        wider = self.half_width * (self.span + above) / self.span
        return replace(self, high=self.high + above, half_width=wider)


def view_of(case: Case, load: Resultant, aspect: float) -> View:
    """Return what is shown of a case, in axes that are `aspect` as wide as high."""
    implant = case.implant
    radius, depth = case.block_mm
    low = -min(implant.length_mm + 2.0, depth)
    top = max(implant.abutment_height_mm, load.height_mm)
    arrow = 0.13 * (top - low)
    _, up = unit_force(load)
    high = max(implant.abutment_height_mm, load.height_mm + arrow * max(0.15, abs(up))) + 1.0
    gap = case.socket.gap_width_mm if _gaps(case) else 0.0
    return View(
        half_width=aspect * (high - low) / 2,
        low=low,
        high=high,
        arrow=arrow,
        reach=implant.diameter_mm / 2 + gap,
        block=radius,
    )


def _draw_crest_and_axis(ax: Axes, view: View) -> None:
    ax.axhline(0, color="0.2", linewidth=1.0, linestyle=(0, (6, 3)), zorder=3)
    ax.plot([0, 0], [view.low, view.high], color="0.55", linewidth=0.7, linestyle="-.", zorder=3)
    write_in(ax, (view.edge, 0.012 * view.span), "crest of the bone", ha="right")


def unit_force(load: Resultant) -> Place:
    """Return the direction (x, z) of the force, (0, 0) where there is none."""
    size = float(np.hypot(load.lateral_n, load.axial_n))
    return (load.lateral_n / size, -load.axial_n / size) if size else (0.0, 0.0)


def draw_load(ax: Axes, case: Case, load: Resultant, arrow_mm: float) -> Place | None:
    """Draw a load's turn and its force as an arrow; return the far end of that, None without a force."""
    height, top = load.height_mm, case.implant.abutment_height_mm
    if height > top:
        ax.plot([0, 0], [top, height], color="0.15", linewidth=1.4, zorder=5)
    if load.torque_nmm:
        place = (0.8 * case.implant.abutment_diameter_mm, _turn_height(case, load))
        _draw_turn(ax, place, load.torque_nmm > 0)
    return draw_force(ax, load, (0.0, height), arrow_mm)


def draw_force(ax: Axes, load: Resultant, at: Place, arrow_mm: float) -> Place | None:
    """Draw a load's force as an arrow at a place; return the far end of that, None without a force."""
    x, up = unit_force(load)
    if not (x or up):
        return None
    far = (at[0] - arrow_mm * x, at[1] - arrow_mm * up)
    ends = [far, at]
    if up > 1e-9:  # a pull starts where it acts
        far = (at[0] + arrow_mm * x, at[1] + arrow_mm * up)
        ends = [at, far]
    arrow: Style = {"arrowstyle": "-|>", "linewidth": 2.6, "color": "black", "mutation_scale": 18}
    ax.annotate("", ends[1], ends[0], arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0}, zorder=6)
    ax.plot(*at, "o", color="black", markersize=4.5, zorder=6)
    return far


def _draw_named_load(ax: Axes, view: View, case: Case, load: Resultant) -> None:
    far = draw_load(ax, case, load, view.arrow)
    height, top = load.height_mm, case.implant.abutment_height_mm
    if far is None:
        at = (0.97 * view.half_width, height + 0.02 * view.span)
        write_in(ax, at, load_text(load), ha="right", bold=True)
        return
    radius = case.implant.abutment_diameter_mm / 2
    name_load(ax, view, far, load, radius if far[1] < top + 0.3 else 0.0)


def _turn_height(case: Case, load: Resultant) -> float:
    """Return where a torque is drawn: at the load's height, or out of the way of a force."""
    top = case.implant.abutment_height_mm
    return 0.72 * top if load.lateral_n or load.axial_n else load.height_mm


def name_load(ax: Axes, view: View, far: Place, load: Resultant, clear: float) -> None:
    """Write the load beside the far end of its arrow, right of a steep one; `clear` of the axis."""
    x, up = unit_force(load)
    if abs(up) > abs(x):
        side = 1.0
        place = (max(far[0], clear) + 0.04 * view.span, far[1])
    else:
        side = 1.0 if far[0] > 0 else -1.0
        place = (side * max(abs(far[0]), clear) + side * 0.015 * view.span, far[1])
    write_in(ax, place, load_text(load), ha="left" if side > 0 else "right", va="center", bold=True)


def _draw_turn(ax: Axes, place: Place, positive: bool) -> None:
    """Draw a torque as seen from the front: about +z the near side goes from left to right."""
    a, height = place
    turn = np.radians(np.linspace(160, 380, 60))
    x, z = a * np.cos(turn), height + 0.28 * a * np.sin(turn)
    if not positive:
        x = -x
    ax.plot(x[:-3], z[:-3], color="black", linewidth=2.2, zorder=6)
    arrow: Style = {"arrowstyle": "-|>", "linewidth": 2.2, "color": "black", "mutation_scale": 16}
    ends = (float(x[-1]), float(z[-1])), (float(x[-6]), float(z[-6]))
    ax.annotate("", *ends, arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0}, zorder=6)


def _name_bodies(ax: Axes, view: View, case: Case, answer: LoadAnswer) -> None:
    """Write names into the drawing, on the side that the peak leaves free."""
    side = -_side_of_peak(answer)
    write_in(ax, (0, _free_height(view, case, answer.resultant)), "abutment", ha="center", va="center")
    write_in(ax, (0, -0.5 * case.implant.length_mm), "implant", ha="center", va="center")
    edge, align = side * view.edge, "right" if side > 0 else "left"
    thickness = min(case.bone.cortical_thickness_mm, case.block_mm[1])
    if thickness > 0.05 * view.span:
        write_in(ax, (edge, -thickness / 2), "cortical bone", ha=align, va="center")
    elif thickness > 0:
        place = (edge, -thickness - 0.035 * view.span)
        inside = (side * 0.68 * view.edge, -thickness / 2)
        point_out(ax, inside, place, "cortical bone", ha=align)
    if thickness < -view.low:
        name = "trabecular bone" if thickness else "bone block"
        write_in(ax, (edge, 0.5 * (view.low - thickness)), name, ha=align, va="center")
    _name_holds(ax, view, case, side)


def _free_height(view: View, case: Case, load: Resultant) -> float:
    """Return the height in the abutment that is farthest from what is drawn of the load."""
    up = max(-unit_force(load)[1], 0.0)
    drawn = [load.height_mm, load.height_mm + view.arrow * up / 2, load.height_mm + view.arrow * up]
    if load.torque_nmm:
        drawn.append(_turn_height(case, load))
    heights = np.array([0.3, 0.5, 0.7, 0.9]) * case.implant.abutment_height_mm
    away = np.min(np.abs(heights[:, None] - np.array(drawn)), axis=1)
    return float(heights[np.argmax(away)])


def _name_holds(ax: Axes, view: View, case: Case, side: float) -> None:
    x = side * (view.reach + 0.035 * view.span)
    for top, bottom in case.socket.holds_mm:
        style: Style = {"arrowstyle": "|-|", "mutation_scale": 3.5, "linewidth": 1.2, "color": "0.1"}
        ends = (x, -top), (x, -bottom)
        ax.annotate("", *ends, arrowprops={**style, "shrinkA": 0, "shrinkB": 0}, zorder=5)
        place = (x + side * 0.012 * view.span, -(top + bottom) / 2)
        text = f"hold\n{bottom - top:g} mm"
        write_in(ax, place, text, ha="left" if side > 0 else "right", va="center")
    socket = case.socket
    for top, bottom in _gaps(case):
        radius = case.implant.diameter_mm / 2 + 0.5 * socket.gap_width_mm
        place = (x + side * 0.03 * view.span, -(top + bottom) / 2)
        inside = (side * radius, -(top + bottom) / 2)
        point_out(ax, inside, place, gap_text(case), ha="left" if side > 0 else "right")


def _side_of_peak(answer: LoadAnswer) -> float:
    return 1.0 if np.cos(np.radians(answer.peak.angle_deg)) > -1e-9 else -1.0


def ring_peak(ax: Axes, answer: LoadAnswer) -> None:
    """Draw a ring about the peak, on both sides where it is all round."""
    x, z = _side_of_peak(answer) * answer.peak.radius_mm, -answer.peak.depth_mm
    for side in (x, -x) if answer.peak.all_round else (x,):
        ax.plot(side, z, "o", markersize=13, mfc="none", mec="white", mew=4.2, zorder=7)
        ax.plot(side, z, "o", markersize=13, mfc="none", mec="black", mew=1.8, zorder=7)


def _mark_peak_on_section(ax: Axes, view: View, answer: LoadAnswer) -> None:
    peak, side = answer.peak, _side_of_peak(answer)
    place = (side * peak.radius_mm, -peak.depth_mm)
    ring_peak(ax, answer)
    text = f"peak {peak_text(answer)}"
    if peak.all_round:
        text += "\nall round"
    elif abs(np.sin(np.radians(peak.angle_deg))) > 1e-6:
        text += f"\nat {signed_number(signed_deg(peak.angle_deg))}°, not in this plane"
    low = view.low + 0.13 * view.span
    at = (side * view.edge, min(max(place[1], low), -0.05 * view.span))
    point_out(ax, place, at, text, ha="right" if side > 0 else "left", bold=True, away=7)


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
    plain_axes(ax)
    if not load.lateral_n:
        return
    points_to = 1.0 if load.lateral_n > 0 else -1.0
    for side in (1.0, -1.0):
        text = "side the load points to" if side == points_to else "side the load comes from"
        place = (side * view.edge, view.low + 0.012 * view.span)
        write_in(ax, place, text, ha="right" if side > 0 else "left", italic=True)


def _draw_scale(ax: Axes, result: CheckResult, answer: LoadAnswer) -> None:
    """Draw the colour scale as the strip of bands, the peak's interval and the head above it."""
    bands, scale = result.case.threshold.bands_um, scale_um(result)
    right = 1.12 * scale
    shade = np.linspace(0, right, 512)[None]
    limits = (0.0, right, 0.0, 1.0)
    ax.imshow(shade, cmap=MOTION, norm=Normalize(0, scale), extent=limits, aspect="auto")
    for band in bands:
        ax.plot([band, band], [0, 1], color="white", linewidth=3.0)
        ax.plot([band, band], [0, 1], color="black", linewidth=1.2)
    ax.set(xlim=(0, right), ylim=(0, 3.4), yticks=[], xticks=band_ticks(bands, right))
    ax.set_xlabel("micromotion [µm]: colour and thickness on the wall; lines are the bands")
    plain_axes(ax)
    for spine in ("left", "right", "top"):
        ax.spines[spine].set_visible(False)
    mark_interval(ax, answer, right, y=1.65, drop=1.0)
    mark_head(ax, answer, right, y=2.75, drop=1.0)


def _gaps(case: Case) -> tuple[Place, ...]:
    return gaps_between(case.socket.holds_mm, case.implant.length_mm)


def _head_words(answer: LoadAnswer) -> str:
    return f"Head movement is {head_text(answer)}, {answer.head.height_mm:g} mm above the crest."


def _section_alt(answer: LoadAnswer) -> str:
    load = load_text(answer.resultant, lines=1)
    return (
        f"Section through implant and bone in the plane of the load “{answer.name}” ({load}). The "
        "interface motion is drawn along the wall as colour and thickness. The peak micromotion is "
        f"{peak_text(answer)}, {place_of(answer)}, in the band {answer.band}. {_head_words(answer)}"
    )

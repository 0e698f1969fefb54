"""Pictures of an answer: the half-section, the interface unrolled, and all loads at a glance.

Everything here is drawing. Each picture says one thing, in its title, and reads without colour: motion
on the wall is colour and thickness, states are greys, marks differ in shape. All pictures of one answer
share one colour scale, from 0 to the largest band (or the largest peak, where that is above it).

Only `matplotlib.figure.Figure` objects are made; whoever wants a file calls `figure.savefig`. User's
text is never read as mathematics (a load may be called "$").
"""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from stillroot.outline import ABUTMENT, CORTICAL, GAP, IMPLANT, TRABECULAR, gaps_between, outline_of
from stillroot.verdict import band_of, place_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stillroot.answer import CheckResult, LoadAnswer
    from stillroot.case import Case
    from stillroot.fourier import Fourier
    from stillroot.loading import Resultant
    from stillroot.outline import Outline

    Floats = NDArray[np.float64]
    Place = tuple[float, float]
    Style = dict[str, Any]

DPI = 150
WIDTH_IN = 8.0
"""With `DPI`, a picture is 1200 pixels wide."""

TITLE_PT, TEXT_PT, SMALL_PT = 13.0, 10.0, 8.5
TITLE_LETTERS, NAME_LETTERS = 66, 56
"""Letters to a line of the title; letters that are kept of a name."""

MOTION = colormaps["cividis"]
THIN_PT, THICK_PT = 1.5, 7.0
"""Width of the wall's line at no motion and at the top of the scale."""

REGION_LOOK: dict[str, dict[str, Any]] = {
    TRABECULAR: {"facecolor": "0.93", "edgecolor": "0.78", "hatch": ".."},
    CORTICAL: {"facecolor": "0.80", "edgecolor": "0.66", "hatch": "///"},
    GAP: {"facecolor": "white", "edgecolor": "0.45"},
    IMPLANT: {"facecolor": "0.985", "edgecolor": "0.15"},
    ABUTMENT: {"facecolor": "0.985", "edgecolor": "0.15"},
}
OPEN, STICK, SLIDE = 0, 1, 2
STATE_GREYS = ("0.15", "0.93", "0.60")
"""Greys of open, stick and slide."""

CAUTION = "For research and teaching; not a medical device. It decides nothing about a patient."
BESIDE = {"facecolor": "white", "edgecolor": "none", "alpha": 0.88, "pad": 1.6}


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture: `name` is unique in one answer and fit for a file, `alt` tells it in words."""

    name: str
    figure: Figure
    alt: str


def pictures(result: CheckResult) -> tuple[Picture, ...]:
    """Return every picture of an answer: the summary, then section and unrolled wall a load."""
    drawn = [summary(result)]
    for answer in result.loads:
        drawn += [section(result, answer), unrolled(result, answer)]
    return tuple(drawn)


def scale_um(result: CheckResult) -> float:
    """Return the top of the scale [µm]: one for all loads, so that their pictures compare."""
    peaks = [answer.peak.total_um for answer in result.loads]
    return max(*result.case.threshold.bands_um, *peaks)


# --- The half-section -------------------------------------------------------------------------------


def section(result: CheckResult, answer: LoadAnswer) -> Picture:
    """Draw the section in the plane of the load, true to scale, with the motion on the wall.

    The right side is at angle 0, to where a positive lateral load points; the left side at 180°.
    """
    height_in = 10.6
    figure = _figure(height_in)
    ax = _axes(figure, left=0.78, bottom=1.95, width=WIDTH_IN - 1.0, height=height_in - 3.1)
    view = _view_of(result.case, answer.resultant, aspect=(WIDTH_IN - 1.0) / (height_in - 3.1))
    _draw_bodies(ax, outline_of(result.case))
    _draw_motion(ax, result, answer, scale_um(result))
    _draw_crest_and_axis(ax, view)
    _draw_load(ax, view, result.case, answer.resultant)
    _name_bodies(ax, view, result.case, answer)
    _mark_peak_on_section(ax, view, answer)
    _frame_section(ax, view, answer.resultant)
    strip = _axes(figure, left=0.78, bottom=0.85, width=WIDTH_IN - 1.0, height=0.62)
    _draw_scale(strip, result, answer)
    message = (
        f"Peak micromotion under {_quoted(answer.name)}: {_whole(_peak_text(answer))} "
        f"({_whole(answer.band)}), {place_of(answer)}"
    )
    _headings(figure, message, result.case.title)
    return Picture(name=_name(result, answer, "section"), figure=figure, alt=_section_alt(answer))


@dataclass(frozen=True, kw_only=True)
class _View:
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
        return self.high - self.low


def _view_of(case: Case, load: Resultant, aspect: float) -> _View:
    implant = case.implant
    low = -min(implant.length_mm + 2.0, case.bone.depth_mm)
    top = max(implant.abutment_height_mm, load.height_mm)
    arrow = 0.13 * (top - low)
    _, up = _unit_force(load)
    high = max(implant.abutment_height_mm, load.height_mm + arrow * max(0.15, abs(up))) + 1.0
    gap = case.socket.gap_width_mm if _gaps(case) else 0.0
    return _View(
        half_width=aspect * (high - low) / 2,
        low=low,
        high=high,
        arrow=arrow,
        reach=implant.diameter_mm / 2 + gap,
        block=case.bone.radius_mm,
    )


def _draw_bodies(ax: Axes, outline: Outline) -> None:
    """Fill the regions, both halves as one shape; where they overlap the earlier one lies on top."""
    for rank, region in enumerate(reversed(outline.regions)):
        whole = Polygon(_mirrored(region.corners_mm), linewidth=0.8, zorder=1 + 0.01 * rank)
        whole.set(**REGION_LOOK[region.name])
        ax.add_patch(whole)


def _mirrored(corners: Floats) -> Floats:
    """Return the whole shape (2k, 2) of a half (k, 2) that has one edge on the axis."""
    on_axis = corners[:, 0] == 0
    last = int(np.flatnonzero(on_axis & np.roll(on_axis, -1))[0])
    half = np.roll(corners, -(last + 1), axis=0)
    return np.vstack([half, half[::-1] * [-1.0, 1.0]])


def _draw_motion(ax: Axes, result: CheckResult, answer: LoadAnswer, scale: float) -> None:
    """Draw the motion of the held wall as a line: colour and thickness up to `scale`, on a dark edge."""
    motion = answer.micromotion
    edges = _unroll(result).edges
    place = np.stack([motion.radius_mm, -motion.depth_mm], axis=1)
    total = motion.total_um
    for side, degrees in ((1.0, 0.0), (-1.0, 180.0)):
        column = int(np.argmin(np.abs(np.degrees(motion.angles) - degrees)))
        halves = np.concatenate([edges[:, :2], edges[:, 1:]])
        values = total[halves, column].mean(axis=1)
        width = THIN_PT + (THICK_PT - THIN_PT) * values / scale
        lines = place[halves] * [side, 1.0]
        for extra, order in ((1.6, 4.0), (0.0, 4.1)):
            drawn = LineCollection(list(lines), linewidths=width + extra, capstyle="round", zorder=order)
            if extra:
                drawn.set_color("black")
            else:
                drawn.set(array=values, cmap=MOTION, norm=Normalize(0, scale))
            ax.add_collection(drawn, autolim=False)


def _draw_crest_and_axis(ax: Axes, view: _View) -> None:
    ax.axhline(0, color="0.2", linewidth=1.0, linestyle=(0, (6, 3)), zorder=3)
    ax.plot([0, 0], [view.low, view.high], color="0.55", linewidth=0.7, linestyle="-.", zorder=3)
    _write(ax, (view.edge, 0.012 * view.span), "crest of the bone", ha="right")


def _unit_force(load: Resultant) -> Place:
    """Return the direction (x, z) of the force, (0, 0) where there is none."""
    size = float(np.hypot(load.lateral_n, load.axial_n))
    return (load.lateral_n / size, -load.axial_n / size) if size else (0.0, 0.0)


def _draw_load(ax: Axes, view: _View, case: Case, load: Resultant) -> None:
    x, up = _unit_force(load)
    height, top = load.height_mm, case.implant.abutment_height_mm
    if height > top:
        ax.plot([0, 0], [top, height], color="0.15", linewidth=1.4, zorder=5)
    radius = case.implant.abutment_diameter_mm / 2
    if load.torque_nmm:
        _draw_turn(ax, (1.6 * radius, _turn_height(case, load)), load.torque_nmm > 0)
    if not (x or up):
        at = (0.97 * view.half_width, height + 0.02 * view.span)
        _write(ax, at, _load_text(load), ha="right", bold=True)
        return
    tail = (-view.arrow * x, height - view.arrow * up)
    ends = [tail, (0.0, height)]
    if up > 1e-9:  # a pull starts where it acts
        ends = [(0.0, height), (view.arrow * x, height + view.arrow * up)]
    arrow: Style = {"arrowstyle": "-|>", "linewidth": 2.6, "color": "black", "mutation_scale": 18}
    ax.annotate("", ends[1], ends[0], arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0}, zorder=6)
    ax.plot(0, height, "o", color="black", markersize=4.5, zorder=6)
    far = max(ends, key=lambda end: np.hypot(end[0], end[1] - height))
    _name_load(ax, view, far, load, radius if far[1] < top + 0.3 else 0.0)


def _turn_height(case: Case, load: Resultant) -> float:
    """Return where a torque is drawn: at the load's height, or out of the way of a force."""
    top = case.implant.abutment_height_mm
    return 0.72 * top if load.lateral_n or load.axial_n else load.height_mm


def _name_load(ax: Axes, view: _View, far: Place, load: Resultant, clear: float) -> None:
    """Write the load beside the far end of its arrow, right of a steep one; `clear` of the axis."""
    x, up = _unit_force(load)
    if abs(up) > abs(x):
        side = 1.0
        place = (max(far[0], clear) + 0.04 * view.span, far[1])
    else:
        side = 1.0 if far[0] > 0 else -1.0
        place = (side * max(abs(far[0]), clear) + side * 0.015 * view.span, far[1])
    _write(ax, place, _load_text(load), ha="left" if side > 0 else "right", va="center", bold=True)


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


def _name_bodies(ax: Axes, view: _View, case: Case, answer: LoadAnswer) -> None:
    """Write names into the drawing, on the side that the peak leaves free."""
    side = -_side_of_peak(answer)
    _write(ax, (0, _free_height(view, case, answer.resultant)), "abutment", ha="center", va="center")
    _write(ax, (0, -0.5 * case.implant.length_mm), "implant", ha="center", va="center")
    edge, align = side * view.edge, "right" if side > 0 else "left"
    thickness = min(case.bone.cortical_thickness_mm, case.bone.depth_mm)
    if thickness > 0.05 * view.span:
        _write(ax, (edge, -thickness / 2), "cortical bone", ha=align, va="center")
    elif thickness > 0:
        place = (edge, -thickness - 0.035 * view.span)
        inside = (side * 0.68 * view.edge, -thickness / 2)
        _point_out(ax, inside, place, "cortical bone", ha=align)
    if thickness < -view.low:
        name = "trabecular bone" if thickness else "bone block"
        _write(ax, (edge, 0.5 * (view.low - thickness)), name, ha=align, va="center")
    _name_holds(ax, view, case, side)


def _free_height(view: _View, case: Case, load: Resultant) -> float:
    """Return the height in the abutment that is farthest from what is drawn of the load."""
    up = max(-_unit_force(load)[1], 0.0)
    drawn = [load.height_mm, load.height_mm + view.arrow * up / 2, load.height_mm + view.arrow * up]
    if load.torque_nmm:
        drawn.append(_turn_height(case, load))
    heights = np.array([0.3, 0.5, 0.7, 0.9]) * case.implant.abutment_height_mm
    away = np.min(np.abs(heights[:, None] - np.array(drawn)), axis=1)
    return float(heights[np.argmax(away)])


def _name_holds(ax: Axes, view: _View, case: Case, side: float) -> None:
    x = side * (view.reach + 0.035 * view.span)
    for top, bottom in case.socket.holds_mm:
        style: Style = {"arrowstyle": "|-|", "mutation_scale": 3.5, "linewidth": 1.2, "color": "0.1"}
        ends = (x, -top), (x, -bottom)
        ax.annotate("", *ends, arrowprops={**style, "shrinkA": 0, "shrinkB": 0}, zorder=5)
        place = (x + side * 0.012 * view.span, -(top + bottom) / 2)
        text = f"hold\n{bottom - top:g} mm"
        _write(ax, place, text, ha="left" if side > 0 else "right", va="center")
    socket = case.socket
    for top, bottom in _gaps(case):
        radius = case.implant.diameter_mm / 2 + 0.5 * socket.gap_width_mm
        place = (x + side * 0.03 * view.span, -(top + bottom) / 2)
        inside = (side * radius, -(top + bottom) / 2)
        _point_out(ax, inside, place, _gap_text(case), ha="left" if side > 0 else "right")


def _side_of_peak(answer: LoadAnswer) -> float:
    return 1.0 if np.cos(np.radians(answer.peak.angle_deg)) > -1e-9 else -1.0


def _mark_peak_on_section(ax: Axes, view: _View, answer: LoadAnswer) -> None:
    peak, side = answer.peak, _side_of_peak(answer)
    place = (side * peak.radius_mm, -peak.depth_mm)
    for x in (place[0], -place[0]) if peak.all_round else (place[0],):
        ax.plot(x, place[1], "o", markersize=13, mfc="none", mec="white", mew=4.2, zorder=7)
        ax.plot(x, place[1], "o", markersize=13, mfc="none", mec="black", mew=1.8, zorder=7)
    text = f"peak {_peak_text(answer)}"
    if peak.all_round:
        text += "\nall round"
    elif abs(np.sin(np.radians(peak.angle_deg))) > 1e-6:
        text += f"\nat {_signed(_signed_deg(peak.angle_deg))}°, not in this plane"
    low = view.low + 0.13 * view.span
    at = (side * view.edge, min(max(place[1], low), -0.05 * view.span))
    _point_out(ax, place, at, text, ha="right" if side > 0 else "left", bold=True, away=7)


def _frame_section(ax: Axes, view: _View, load: Resultant) -> None:
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
    _plain(ax)
    if not load.lateral_n:
        return
    points_to = 1.0 if load.lateral_n > 0 else -1.0
    for side in (1.0, -1.0):
        text = "side the load points to" if side == points_to else "side the load comes from"
        place = (side * view.edge, view.low + 0.012 * view.span)
        _write(ax, place, text, ha="right" if side > 0 else "left", italic=True)


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
    ax.set(xlim=(0, right), ylim=(0, 3.4), yticks=[], xticks=_ticks(bands, right))
    ax.set_xlabel("micromotion [µm]: colour and thickness on the wall; lines are the bands")
    _plain(ax)
    for spine in ("left", "right", "top"):
        ax.spines[spine].set_visible(False)
    _mark_interval(ax, answer, right, y=1.65, drop=1.0)
    _mark_head(ax, answer, right, y=2.75, drop=1.0)


# --- The interface unrolled -------------------------------------------------------------------------


def unrolled(result: CheckResult, answer: LoadAnswer) -> Picture:
    """Draw the interface rolled out flat: micromotion, and where it sticks, slides or is open.

    Downwards runs the length along the wall, flanks and end face included, with the depth at the ticks.
    """
    figure = _figure(7.45)
    wall = _unroll(result)
    size = {"bottom": 1.62, "height": 4.45}
    profile = _axes(figure, left=0.72, width=0.62, **size)
    motion = _axes(figure, left=1.46, width=2.95, **size)
    state = _axes(figure, left=4.83, width=2.92, **size)
    _draw_profile(profile, result.case, wall)
    _draw_map(motion, result, answer, wall)
    _draw_state(state, result, answer, wall)
    for ax in (motion, state):
        _frame_map(ax, result.case, answer, wall)
    bar = _axes(figure, left=1.46, bottom=0.78, width=2.95, height=0.14)
    _draw_colour_bar(bar, result)
    band = result.case.threshold.bands_um[0]
    share = answer.micromotion.share_above(band)
    part = f"{_whole(_percent(share))} of the" if share else "No part of the"
    message = (
        f"{part} held wall moves more than {band:g}\N{NO-BREAK SPACE}µm under "
        f"{_quoted(answer.name)}; the peak is {_whole(_peak_text(answer))}"
    )
    _headings(figure, message, result.case.title)
    alt = _unrolled_alt(result, answer)
    return Picture(name=_name(result, answer, "unrolled"), figure=figure, alt=alt)


@dataclass(frozen=True, kw_only=True)
class _Wall:
    """The wall rolled out: lengths [mm] along it from the crest.

    `corners_mm` (c, 2) r and z of the whole wall, at the lengths `corner_at` (c,); `at` (p,) the length
    of each interface point; `edges` (k, 3) points of each held edge, downwards, in order.
    """

    corners_mm: Floats
    corner_at: Floats
    at: Floats
    edges: NDArray[np.int64]

    @property
    def runs(self) -> tuple[NDArray[np.int64], ...]:
        """Edges (k, 3) of each unbroken stretch."""
        breaks = self.at[self.edges[1:, 0]] - self.at[self.edges[:-1, 2]] > 1e-6
        return tuple(np.split(self.edges, np.flatnonzero(breaks) + 1))

    @property
    def gaps(self) -> tuple[Place, ...]:
        """Lengths (from, to) that no hold covers."""
        ends = [0.0]
        for run in self.runs:
            ends += [float(self.at[run[0, 0]]), float(self.at[run[-1, 2]])]
        ends.append(float(self.corner_at[-1]))
        return tuple((a, b) for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a > 1e-6)

    @property
    def has_end_face(self) -> bool:
        """Whether the wall ends in a flat across the axis."""
        return bool(abs(self.corners_mm[-1, 1] - self.corners_mm[-2, 1]) < 1e-9)

    @property
    def rim(self) -> float:
        """The length at which the last straight of the wall begins."""
        return float(self.corner_at[-2])

    def at_depth(self, depth_mm: Floats) -> Floats:
        """Return the lengths at which the wall first gets to the depths."""
        deepest = np.maximum.accumulate(-self.corners_mm[:, 1])
        # A ledge across the axis has one depth: a trace of its length makes the depths rise.
        rising: Floats = np.interp(depth_mm, deepest + 1e-9 * self.corner_at, self.corner_at)
        return rising


def _unroll(result: CheckResult) -> _Wall:
    layer = result.seated.layer
    corners = outline_of(result.case).wall_mm
    length = np.linalg.norm(np.diff(corners, axis=0), axis=1)
    corner_at = np.concatenate([[0.0], np.cumsum(length)])
    points = np.stack([layer.radius_mm, layer.height_mm], axis=1)
    at = _length_along(corners, corner_at, points)
    edges = np.arange(len(at)).reshape(-1, 3)[layer.held[1::3]]
    up = at[edges[:, 0]] > at[edges[:, 2]]
    edges[up] = edges[up, ::-1]
    edges = edges[np.argsort(at[edges[:, 1]])]
    return _Wall(corners_mm=corners, corner_at=corner_at, at=at, edges=edges)


def _length_along(corners: Floats, corner_at: Floats, points: Floats) -> Floats:
    """Return the length along a line of corners (c, 2) at which points (p, 2) on it lie."""
    step = np.diff(corners, axis=0)
    offset = points[:, None] - corners[None, :-1]
    share = np.clip(np.sum(offset * step, axis=2) / np.sum(step**2, axis=1), 0, 1)
    missed = np.linalg.norm(offset - share[..., None] * step, axis=2)
    nearest = np.argmin(missed, axis=1)
    size = np.diff(corner_at)[nearest]
    length: Floats = corner_at[nearest] + share[np.arange(len(points)), nearest] * size
    return length


def _draw_profile(ax: Axes, case: Case, wall: _Wall) -> None:
    """Draw the radius along the wall, so that threads and end face are known in the maps."""
    look: Style = {"facecolor": "0.985", "edgecolor": "0.15", "linewidth": 1.0}
    ax.fill_betweenx(wall.corner_at, wall.corners_mm[:, 0], 0, **look)
    step = max(1, round(case.implant.length_mm / 6))
    depths = np.arange(0, case.implant.length_mm + 1e-6, step)
    ax.set(
        xlim=(0, 1.1 * float(wall.corners_mm[:, 0].max())),
        ylim=(wall.corner_at[-1], 0),
        yticks=wall.at_depth(depths),
        yticklabels=[f"{depth:g}" for depth in depths],
        xticks=[],
        ylabel="depth below the crest [mm], along the wall",
    )
    ax.set_title("wall", fontsize=TEXT_PT, pad=6)
    if wall.has_end_face:
        ax.axhline(wall.rim, color="black", linewidth=1.0, linestyle=(0, (4, 2)))
        corner: Style = {"ha": "right", "va": "bottom", "transform": ax.transAxes}
        ax.text(1.06, 0.005, "end\nface", fontsize=SMALL_PT, **corner)
    _plain(ax)
    for spine in ("top", "right", "bottom"):
        ax.spines[spine].set_visible(False)


def _draw_map(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: _Wall) -> None:
    scale, bands = scale_um(result), result.case.threshold.bands_um
    peak = answer.peak.total_um
    degrees, total = _centred(answer.micromotion.angles, answer.micromotion.total_um)
    between = MaxNLocator(4, steps=[1, 2, 5, 10]).tick_values(0, peak)
    finer = [v for v in between if 0 < v < peak and v not in bands] if peak < bands[0] else []
    for run in wall.runs:
        rows = np.append(run[:, :2].ravel(), run[-1, 2])
        at, values = wall.at[rows], total[rows]
        field = ax.pcolormesh(degrees, at, values, shading="gouraud", cmap=MOTION, rasterized=True)
        field.set_clim(0, scale)
        for levels, width in ((list(bands), 1.8), (finer, 0.9)):
            crossed = [v for v in levels if values.min() < v < values.max()]
            if crossed:
                lines = ax.contour(degrees, at, values, levels=crossed, colors="white")
                lines.set(linewidths=width, path_effects=_edged(width + 1.0))
                ax.clabel(lines, fmt="%g", fontsize=SMALL_PT, colors="white", inline=False)
    _thin_out(ax)
    ax.set_title("micromotion [µm]", fontsize=TEXT_PT, pad=6)
    _mark_peak_on_map(ax, answer, wall)


def _edged(width: float) -> list[AbstractPathEffect]:
    return [withStroke(linewidth=width, foreground="black")]


def _thin_out(ax: Axes) -> None:
    """Leave out contour labels that run into one already there or say the same a third time."""
    apart_px = 3.2 * SMALL_PT / 72 * DPI
    kept: list[tuple[str, Floats]] = []
    for text in list(ax.texts):
        word, at = text.get_text(), ax.transData.transform(text.get_position())
        close = any(np.hypot(*(at - other)) < apart_px for _, other in kept)
        if close or sum(word == other for other, _ in kept) >= 2:
            text.remove()
            continue
        text.set_path_effects(_edged(2.4))
        kept.append((word, at))


def _mark_peak_on_map(ax: Axes, answer: LoadAnswer, wall: _Wall) -> None:
    motion = answer.micromotion
    largest = np.where(motion.held, motion.total_um.max(axis=1), -1.0)
    y = float(wall.at[int(np.argmax(largest))])
    x = 0.0 if answer.peak.all_round else _signed_deg(answer.peak.angle_deg)
    for place in {x, -x} if abs(x) > 179.9 else {x}:
        ring: Style = {"markersize": 12, "mfc": "none", "clip_on": False, "zorder": 7}
        ax.plot(place, y, "o", mec="white", mew=4.0, **ring)
        ax.plot(place, y, "o", mec="black", mew=1.7, **ring)
    upper = y > 0.5 * wall.corner_at[-1]
    right = -180 < x <= -90 or abs(x) > 179.9
    align = "left" if right else ("right" if x >= 90 else "center")
    text = f"peak {_peak_text(answer)}" + (", all round" if answer.peak.all_round else "")
    shift = 9.0 if right else (-9.0 if align == "right" else 0.0)
    start = -180.0 if right else x
    ax.annotate(
        text,
        (start, y),
        (shift, 11 if upper else -11),
        textcoords="offset points",
        ha=align,
        va="bottom" if upper else "top",
        fontsize=TEXT_PT,
        fontweight="bold",
        bbox=BESIDE,
        zorder=8,
    )


def _draw_state(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: _Wall) -> None:
    t = answer.state.tractions
    codes = np.where(t.closed, np.where(t.sliding, SLIDE, STICK), OPEN)
    degrees, whole = _all_round(answer.state.fourier, codes)
    for run in wall.runs:
        first, last = wall.at[run[:, 0]], wall.at[run[:, 2]]
        # Heights of the cells are the weights of the Lobatto points: ends 1/6, middle 4/6.
        bounds = (first[:, None] + (last - first)[:, None] * np.array([0, 1, 5]) / 6).ravel()
        rows = np.append(bounds, last[-1])
        greys = ListedColormap(STATE_GREYS)
        field = ax.pcolormesh(degrees, rows, whole[run.ravel()], cmap=greys, rasterized=True)
        field.set_clim(-0.5, 2.5)
    _key_of_states(ax, state_shares(result, answer), result.case.interface.kind == "bonded")


def state_shares(result: CheckResult, answer: LoadAnswer) -> dict[str, float]:
    """Return the shares of the held area that "stick", "slide" and are "open" under the full load."""
    t, layer = answer.state.tractions, result.seated.layer
    area = np.where(layer.held, layer.weight_mm2, 0.0)[:, None]
    whole = float(area.sum()) * t.closed.shape[1]
    parts = {"stick": t.closed & ~t.sliding, "slide": t.closed & t.sliding, "open": ~t.closed}
    return {name: float(np.sum(area * here)) / whole for name, here in parts.items()}


def _key_of_states(ax: Axes, shares: dict[str, float], bonded: bool) -> None:
    """Write the three states with their shares above the panel, each behind its grey."""
    keys = ((0.0, STICK, "stick"), (0.36, SLIDE, "slide"), (0.70, OPEN, "open"))
    for place, code, word in keys[:1] if bonded else keys:
        box = Rectangle((place, 1.018), 0.05, 0.036, transform=ax.transAxes, clip_on=False)
        box.set(facecolor=STATE_GREYS[code], edgecolor="black", linewidth=0.8)
        ax.add_patch(box)
        name = "bonded" if bonded and code == STICK else word
        text = f"{name} {_percent(shares[word])}"
        ax.text(place + 0.065, 1.036, text, transform=ax.transAxes, va="center", fontsize=TEXT_PT)


def _frame_map(ax: Axes, case: Case, answer: LoadAnswer, wall: _Wall) -> None:
    length = float(wall.corner_at[-1])
    for top, bottom in wall.gaps:
        hatched: Style = {"facecolor": "white", "edgecolor": "0.7", "hatch": "////", "linewidth": 0.0}
        ax.axhspan(top, bottom, zorder=2, **hatched)
        if bottom - top > 0.05 * length:
            place = (0.0, (top + bottom) / 2)
            _write(ax, place, _gap_text(case), ha="center", va="center", order=3)
    if wall.has_end_face:
        ax.axhline(wall.rim, color="black", linewidth=1.0, linestyle=(0, (4, 2)), zorder=4)
        ax.axhline(wall.rim, color="white", linewidth=2.2, zorder=3.9)
    ax.set(xlim=(-180, 180), ylim=(length, 0), xticks=np.arange(-180, 181, 90), yticks=[])
    ax.set_xlabel(_angle_label(answer.resultant))
    _plain(ax)


def _angle_label(load: Resultant) -> str:
    if load.lateral_n > 0:
        return "angle [°]; the load points to 0"
    return "angle [°]; the load points to ±180" if load.lateral_n < 0 else "angle [°]"


def _ticks(bands: Sequence[float], right: float) -> list[float]:
    """Return 0, the bands and, far above them, round numbers: all with room for their figures."""
    kept = [0.0]
    round_ones = MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(0, right)
    for tick in (*sorted(bands, reverse=True), *round_ones):
        beyond = tick not in bands and tick < 1.2 * max(bands)
        if not beyond and tick <= right and min(abs(tick - k) for k in kept) > 0.06 * right:
            kept.append(float(tick))
    return sorted(kept)


def _draw_colour_bar(ax: Axes, result: CheckResult) -> None:
    scale, bands = scale_um(result), result.case.threshold.bands_um
    shade = np.linspace(0, scale, 512)[None]
    ax.imshow(shade, cmap=MOTION, extent=(0, scale, 0, 1), aspect="auto")
    for band in bands:
        ax.axvline(band, color="white", linewidth=1.8)
    ax.set(yticks=[], xticks=_ticks(bands, scale))
    ax.set_xlabel("micromotion [µm]; thick lines are the bands")
    _plain(ax)


def _centred(angles: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return degrees (a + 1,) from -180 to 180 and the values (p, a + 1) there."""
    signed = (np.degrees(angles) + 180) % 360 - 180
    order = np.argsort(signed)
    degrees = np.append(signed[order], signed[order[0]] + 360)
    return degrees, np.concatenate([values[:, order], values[:, order[:1]]], axis=1)


def _all_round(fourier: Fourier, codes: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """Return bounds (a + 1,) from -180 to 180° and the codes (p, a) between them."""
    count = codes.shape[1]
    if count == 1:
        return np.array([-180.0, 180.0]), codes
    if fourier.twin:
        return np.linspace(-180, 180, count + 1), np.roll(codes, count // 2, axis=1)
    mirrored = np.concatenate([codes[:, ::-1], codes], axis=1)
    return np.linspace(-180, 180, 2 * count + 1), mirrored


# --- All loads at a glance --------------------------------------------------------------------------


def summary(result: CheckResult) -> Picture:
    """Draw the peak with its error, and the head movement, of every load against the bands."""
    count = len(result.loads)
    height_in = 2.4 + 0.95 * count
    figure = _figure(height_in)
    ax = _axes(figure, left=0.3, bottom=0.92, width=WIDTH_IN - 0.6, height=0.95 * count)
    right = 1.22 * scale_um(result)
    _shade_bands(ax, result.case.threshold.bands_um, right)
    for row, answer in enumerate(result.loads):
        ax.axhspan(row - 0.5, row - 0.17, facecolor="white", edgecolor="none", zorder=1)
        name = f"{_short(answer.name)}: {_load_text(answer.resultant, lines=1)}"
        _write(ax, (0.012 * right, row - 0.33), name, va="center", beside=False, order=3)
        _mark_interval(ax, answer, right, y=row + 0.03, drop=None)
        _mark_head(ax, answer, right, y=row + 0.31, drop=None)
    ax.set(xlim=(0, right), ylim=(count - 0.5, -0.5), yticks=[])
    ax.set_xticks(_ticks(result.case.threshold.bands_um, right))
    ax.set_xlabel("micromotion at the interface, and head movement [µm]")
    _plain(ax)
    worst = result.governing
    message = (
        f"{_quoted(worst.name)}{' governs' if count > 1 else ''}: peak micromotion "
        f"{_whole(_peak_text(worst))} ({_whole(worst.band)})"
    )
    _headings(figure, message, result.case.title)
    return Picture(name="summary", figure=figure, alt=_summary_alt(result))


def _shade_bands(ax: Axes, bands: Sequence[float], right: float) -> None:
    """Shade and name the bands: darker is more motion; no colour says pass or fail."""
    ends = [0.0, *bands, right]
    for index, (low, high) in enumerate(pairwise(ends)):
        grey = 0.97 - 0.22 * index / len(bands)
        ax.axvspan(low, high, facecolor=str(grey), edgecolor="none", zorder=0)
        if high - low < 0.13 * right:
            continue  # no room for its name; the ticks tell
        name = band_of((low + high) / 2, tuple(bands))
        at = ((low + high) / 2, 1.0)
        style: Style = {"ha": "center", "va": "bottom", "fontsize": TEXT_PT}
        ax.annotate(name, at, (0, 4), ax.get_xaxis_transform(), "offset points", **style)


def _mark_interval(ax: Axes, answer: LoadAnswer, right: float, *, y: float, drop: float | None) -> None:
    """Draw the peak as a filled mark with its ± as a bar; `drop` is where a line goes down to."""
    peak, error = answer.peak.total_um, answer.error.total_um
    if drop is not None:
        ax.plot([peak, peak], [drop, y], color="black", linewidth=1.0, clip_on=False)
    bar: Style = {
        "capsize": 5.5,
        "elinewidth": 3.0,
        "capthick": 1.6,
        "ecolor": "black",
        "zorder": 5,
        "clip_on": False,
    }
    ax.errorbar(peak, y, xerr=error, fmt="o", color="black", markersize=5.5, **bar)
    text, span = f"peak {_peak_text(answer)}", (peak - error, peak + error)
    _beside_mark(ax, span, y, text, left=peak > right / 2, bold=True, boxed=drop is not None)


def _mark_head(ax: Axes, answer: LoadAnswer, right: float, *, y: float, drop: float | None) -> None:
    """Draw head movement as an open diamond, or as an arrow at the edge where it lies beyond."""
    head = answer.head.total_um
    text = f"head movement {_head_text(answer)}"
    if head > right:
        mark: Style = {"markersize": 8, "mfc": "white", "mec": "black", "mew": 1.5, "clip_on": False}
        ax.plot(right, y, ">", zorder=6, **mark)
        _beside_mark(ax, (right, right), y, f"{text}, beyond the scale", left=True)
        return
    if drop is not None:
        ax.plot([head, head], [drop, y], color="black", linewidth=1.0, linestyle=":")
    ax.plot(head, y, "D", markersize=7, mfc="white", mec="black", mew=1.5, clip_on=False, zorder=5)
    _beside_mark(ax, (head, head), y, text, left=head > right / 2)


def _beside_mark(
    ax: Axes, span: Place, y: float, text: str, *, left: bool, bold: bool = False, boxed: bool = False
) -> None:
    """Write left or right of a mark that spans `span`."""
    ax.annotate(
        text,
        (span[0] if left else span[1], y),
        (-9 if left else 9, 0),
        textcoords="offset points",
        ha="right" if left else "left",
        va="center",
        fontsize=TEXT_PT,
        fontweight="bold" if bold else "normal",
        bbox=BESIDE | {"pad": 0.5} if boxed else None,
        zorder=6,
    )


# --- Words ------------------------------------------------------------------------------------------


def _um(value_um: float) -> str:
    return f"{value_um:.1f} µm" if value_um < 100 else f"{value_um:.0f} µm"


def _head_text(answer: LoadAnswer) -> str:
    """Return the head movement, with its turn where there is a torque."""
    head = answer.head
    turn = f" and {_signed(head.rotation_deg)}° of turn" if answer.resultant.torque_nmm else ""
    return _um(head.total_um) + turn


def _peak_text(answer: LoadAnswer) -> str:
    """Return the peak with its error; an error never reads as zero."""
    peak, error = answer.peak.total_um, answer.error.total_um
    digits = 1 if peak < 100 else 0
    return f"{peak:.{digits}f} ± {max(error, 10.0**-digits):.{digits}f} µm"


def _percent(share: float) -> str:
    """Return a share in per cent; a share that is not nothing never reads as nothing."""
    return "<1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"


def _whole(text: str) -> str:
    """Return a text that is not broken over lines."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def _short(name: str) -> str:
    return textwrap.shorten(name, NAME_LETTERS, placeholder=" …") or name[:NAME_LETTERS]


def _quoted(name: str) -> str:
    return f"“{_short(name)}”"


def _signed_deg(angle_deg: float) -> float:
    return (angle_deg + 180) % 360 - 180


def _load_text(load: Resultant, lines: int = 2) -> str:
    """Return direction, size and height of a load."""
    parts = []
    if load.lateral_n or load.axial_n:
        parts.append(f"{np.hypot(load.lateral_n, load.axial_n):.3g} N, {_direction_text(load)}")
    if load.torque_nmm:
        joined = "and torque" if parts else "torque"
        parts.append(f"{joined} {_signed(load.torque_nmm / 10)} N·cm")
    text = ("\n" if lines > 1 else " ").join(parts)
    return text + ("\n" if lines > 1 else ", ") + f"{load.height_mm:g} mm above the crest"


def _direction_text(load: Resultant) -> str:
    if not load.axial_n:
        return "lateral"
    from_axis = np.degrees(np.arctan2(abs(load.lateral_n), abs(load.axial_n)))
    if from_axis < 0.05:
        return "pressing in" if load.axial_n > 0 else "pulling out"
    return f"{'' if load.axial_n > 0 else 'pulling out at '}{from_axis:.3g}° from the axis"


def _signed(value: float) -> str:
    """Return a number with a true minus."""
    return f"{value:.3g}".replace("-", "−")


def _gaps(case: Case) -> tuple[Place, ...]:
    return gaps_between(case.socket.holds_mm, case.implant.length_mm)


def _gap_text(case: Case) -> str:
    socket = case.socket
    if socket.gap_fill is None:
        return f"gap ({socket.gap_stiffness_mpa:g} MPa)"
    return f"gap ({socket.gap_fill})"


def _name(result: CheckResult, answer: LoadAnswer, kind: str) -> str:
    """Return a name fit for a file; the load's place in the case keeps it unique."""
    number = next(i for i, other in enumerate(result.loads) if other is answer)
    return f"{kind}-{result.load_slugs[number]}"


def _head_words(answer: LoadAnswer) -> str:
    return f"Head movement is {_head_text(answer)}, {answer.head.height_mm:g} mm above the crest."


def _section_alt(answer: LoadAnswer) -> str:
    load = _load_text(answer.resultant, lines=1)
    return (
        f"Section through implant and bone in the plane of the load “{answer.name}” ({load}). The "
        "interface motion is drawn along the wall as colour and thickness. The peak micromotion is "
        f"{_peak_text(answer)}, {place_of(answer)}, in the band {answer.band}. {_head_words(answer)}"
    )


def _unrolled_alt(result: CheckResult, answer: LoadAnswer) -> str:
    shares = ", ".join(f"{k} {_percent(v)}" for k, v in state_shares(result, answer).items())
    above = ", ".join(
        f"{_percent(answer.micromotion.share_above(band))} above {band:g} µm"
        for band in result.case.threshold.bands_um
    )
    return (
        f"The interface rolled out flat under “{answer.name}”: angle across, depth below the crest "
        f"downwards. Left: micromotion, peak {_peak_text(answer)}, {place_of(answer)}; of the held "
        f"surface {above}. Right: state under the full load, by area: {shares}."
    )


def _summary_alt(result: CheckResult) -> str:
    rows = " ".join(
        f"“{a.name}”: peak {_peak_text(a)} ({a.band}), head movement {_head_text(a)}."
        for a in result.loads
    )
    bands = ", ".join(f"{band:g}" for band in result.case.threshold.bands_um)
    return f"Peak micromotion and head movement of each load against the bands {bands} µm. {rows}"


# --- Paper and pen ----------------------------------------------------------------------------------


def _figure(height_in: float) -> Figure:
    return Figure(figsize=(WIDTH_IN, height_in), dpi=DPI, facecolor="white")


def _axes(figure: Figure, *, left: float, bottom: float, width: float, height: float) -> Axes:
    """Add axes at a place in inches."""
    w, h = figure.get_size_inches()
    return figure.add_axes((left / w, bottom / h, width / w, height / h))


def _headings(figure: Figure, message: str, title: str) -> None:
    """Write the message on top, the case's title below it, the caution at the foot."""
    height = float(figure.get_size_inches()[1])
    lines = _balanced(re.sub(r"(?<=\d) (?=(mm|µm|N)\b)", "\N{NO-BREAK SPACE}", message))
    at = 0.3 / WIDTH_IN
    common: Style = {"ha": "left", "va": "top", "parse_math": False}
    bold: Style = {"fontsize": TITLE_PT, "fontweight": "bold"}
    figure.text(at, 1 - 0.17 / height, "\n".join(lines), **common, **bold)
    below = 0.17 + 0.215 * len(lines) + 0.07
    case = textwrap.shorten(title, 100, placeholder=" …")
    figure.text(at, 1 - below / height, case, fontsize=TEXT_PT, color="0.3", **common)
    foot: Style = {"ha": "left", "va": "bottom", "fontsize": SMALL_PT - 1, "color": "0.4"}
    figure.text(at, 0.06 / height, CAUTION, **foot)


def _balanced(text: str) -> list[str]:
    """Return the fewest lines that hold a title, as even as they can be."""
    fewest = len(textwrap.wrap(text, TITLE_LETTERS))
    widths = range(TITLE_LETTERS // 2, TITLE_LETTERS + 1)
    return next(w for w in (textwrap.wrap(text, width) for width in widths) if len(w) == fewest)


def _write(
    ax: Axes,
    place: Place,
    text: str,
    *,
    ha: str = "left",
    va: str = "bottom",
    bold: bool = False,
    italic: bool = False,
    beside: bool = True,
    order: float = 6.5,
) -> None:
    ax.text(
        *place,
        text,
        ha=ha,
        va=va,
        fontsize=TEXT_PT,
        fontweight="bold" if bold else "normal",
        fontstyle="italic" if italic else "normal",
        bbox=BESIDE if beside else None,
        parse_math=False,
        zorder=order,
    )


def _point_out(
    ax: Axes,
    inside: Place,
    place: Place,
    text: str,
    *,
    ha: str,
    bold: bool = False,
    away: float = 0.0,
) -> None:
    """Write beside the drawing with a line to what is named, ending `away` points before it."""
    line: Style = {"arrowstyle": "-", "linewidth": 1.1, "color": "black", "shrinkA": 1, "shrinkB": away}
    ax.annotate(
        text,
        inside,
        place,
        ha=ha,
        va="center",
        fontsize=TEXT_PT,
        fontweight="bold" if bold else "normal",
        bbox=BESIDE,
        arrowprops=line,
        zorder=6.5,
    )


def _plain(ax: Axes) -> None:
    ax.tick_params(labelsize=SMALL_PT + 0.5)
    ax.xaxis.label.set_fontsize(TEXT_PT)
    ax.yaxis.label.set_fontsize(TEXT_PT)

"""Implant, bone and load in section, true to scale [mm]: what all pictures of a section are made of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.colors import Normalize
from matplotlib.patches import Polygon

from stillroot.mechanics.outline import (
    ABUTMENT,
    CORTICAL,
    GAP,
    IMPLANT,
    TRABECULAR,
    gaps_between,
    outline_of,
)
from stillroot.pictures.labels import (
    Place,
    draw_arrow,
    hatch_crushed,
    hide_spines,
    point_out,
    ring,
    write_in,
)
from stillroot.pictures.paper import MOTION, Style
from stillroot.pictures.wall import unrolled_wall
from stillroot.pictures.words import gap_text
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.mechanics.resultant import Resultant

THIN_PT, THICK_PT = 1.5, 7.0
"""Width of the wall's line at no motion and at the top of the scale."""
HALF = 0.5
"""Of the points of a triangle: so many have yielded where it is drawn as crushed."""
REGION_LOOK: dict[str, Style] = {
    TRABECULAR: {"facecolor": "0.93", "edgecolor": "0.78", "hatch": ".."},
    CORTICAL: {"facecolor": "0.80", "edgecolor": "0.66", "hatch": "///"},
    GAP: {"facecolor": "white", "edgecolor": "0.45"},
    IMPLANT: {"facecolor": "0.985", "edgecolor": "0.15"},
    ABUTMENT: {"facecolor": "0.985", "edgecolor": "0.15"},
}


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

    def beside(self, place: Place, side: float) -> Place:
        """Return where a label at a side of the bone names a place of the wall: about as deep as it."""
        deepest = self.low + 0.1 * self.span
        return side * self.edge, min(max(place[1], deepest), -0.05 * self.span)

    def with_room(self, above: float) -> View:
        """Return the view with so much more to be seen above, in axes of the same shape."""
        wider = self.half_width * (self.span + above) / self.span
        return replace(self, high=self.high + above, half_width=wider)


def view_of(case: Case, load: Resultant, aspect: float) -> View:
    """Return what is shown of a case, in axes that are `aspect` as wide as high."""
    implant = case.implant
    radius, depth = case.block_mm
    low = -min(implant.length_mm + 2.0, depth)
    arrow = 0.13 * (max(implant.abutment_height_mm, load.height_mm) - low)
    _, up = unit_force(load)
    high = max(implant.abutment_height_mm, load.height_mm + arrow * max(0.15, abs(up))) + 1.0
    return View(
        half_width=aspect * (high - low) / 2,
        low=low,
        high=high,
        arrow=arrow,
        reach=implant.diameter_mm / 2 + (case.socket.gap_width_mm if gaps_of(case) else 0.0),
        block=radius,
    )


def gaps_of(case: Case) -> tuple[Place, ...]:
    """Return depths (from, to) of the wall that no hold covers."""
    return gaps_between(case.socket.holds_mm, case.implant.length_mm)


# --- Bodies -------------------------------------------------------------------------------------------


def draw_site(ax: Axes, case: Case) -> None:
    """Fill the regions, both halves as one, the earlier on top where they overlap; draw the crest."""
    for rank, region in enumerate(reversed(outline_of(case).regions)):
        whole = Polygon(mirrored_corners(region.corners_mm), linewidth=0.8, zorder=1 + 0.01 * rank)
        whole.set(**REGION_LOOK[region.name])
        ax.add_patch(whole)
    ax.axhline(0, color="0.2", linewidth=1.0, linestyle=(0, (6, 3)), zorder=3)


def draw_holds(ax: Axes, case: Case, side: float, x_mm: float, span_mm: float) -> None:
    """Mark each hold beside the implant, so far from the axis, and write its length."""
    look = {"arrowstyle": "|-|", "mutation_scale": 3.5, "linewidth": 1.2, "color": "0.1"}
    for top, bottom in case.socket.holds_mm:
        draw_arrow(ax, (side * x_mm, -bottom), (side * x_mm, -top), **look)
        place = (side * (x_mm + 0.012 * span_mm), -(top + bottom) / 2)
        write_in(ax, place, f"hold\n{bottom - top:.4g} mm", side=side)


def mirrored_corners(corners: Floats) -> Floats:
    """Return the whole shape (2k, 2) of a half (k, 2) that has one edge on the axis."""
    on_axis = corners[:, 0] == 0
    last = int(np.flatnonzero(on_axis & np.roll(on_axis, -1))[0])
    half = np.roll(corners, -(last + 1), axis=0)
    return np.vstack([half, half[::-1] * [-1.0, 1.0]])


def draw_axis(ax: Axes, low: float, high: float) -> None:
    """Draw the implant's axis."""
    ax.plot([0, 0], [low, high], color="0.55", linewidth=0.7, linestyle="-.", zorder=3)


def show_section(ax: Axes, half_width: float, low: float, high: float) -> None:
    """Show so much of a section, without ticks and frame."""
    ax.set(xlim=(-half_width, half_width), ylim=(low, high), xticks=[], yticks=[])
    hide_spines(ax)


def point_out_gaps(ax: Axes, case: Case, side: float, x: float, *, outwards: bool) -> None:
    """Name what fills each gap of a side, at `x`; the name begins there, or ends at an outer edge."""
    for top, bottom in gaps_of(case):
        middle = -(top + bottom) / 2
        inside = (side * (case.implant.diameter_mm + case.socket.gap_width_mm) / 2, middle)
        point_out(ax, inside, (x, middle), gap_text(case), side if outwards else -side)


def draw_crushed(ax: Axes, result: CheckResult, answer: LoadAnswer) -> Floats:
    """Hatch the bone that has yielded in the section; return its triangles (e, 3, 2)."""
    pair, bone, state = result.seated.site.pair, result.seated.site.bone, answer.state.bone
    if bone is None or state is None:
        return np.empty((0, 3, 2))
    yielded, angles = bone.yielded(state).mean(axis=1) >= HALF, answer.state.fourier.angles
    corners = pair.bone.nodes_mm.T[bone.nodes[:, :3]]
    parts = [
        corners[yielded[:, np.argmax(np.cos(angles - angle))]] * [side, 1.0]
        for side, angle in ((1.0, 0.0), (-1.0, np.pi))
    ]
    crushed: Floats = np.concatenate(parts)
    hatch_crushed(ax, crushed, zorder=2.5)
    return crushed


# --- Motion -------------------------------------------------------------------------------------------


def draw_motion(ax: Axes, result: CheckResult, answer: LoadAnswer, scale: float) -> None:
    """Draw the motion of the held wall as a line: colour and thickness up to `scale`, on a dark edge."""
    motion = answer.micromotion
    edges = unrolled_wall(result).edges
    halves = np.concatenate([edges[:, :2], edges[:, 1:]])
    place = np.stack([motion.radius_mm, -motion.depth_mm], axis=1)[halves]
    for side, degrees in ((1.0, 0.0), (-1.0, 180.0)):
        column = int(np.argmin(np.abs(np.degrees(motion.angles) - degrees)))
        values = motion.total_um[halves, column].mean(axis=1)
        width = THIN_PT + (THICK_PT - THIN_PT) * np.minimum(values / scale, 1.0)
        lines = list(place * [side, 1.0])
        dark = LineCollection(lines, linewidths=width + 1.6, colors="black", zorder=4.0)
        shown = LineCollection(lines, linewidths=width, zorder=4.1)
        shown.set(array=values, cmap=MOTION, norm=Normalize(0, scale))
        for drawn in (dark, shown):
            drawn.set_capstyle("round")
            ax.add_collection(drawn, autolim=False)


def side_of_peak(answer: LoadAnswer) -> float:
    """Return the side of the section on which the peak lies: 1 right, -1 left."""
    return 1.0 if np.cos(np.radians(answer.peak.angle_deg)) > -1e-9 else -1.0


def ring_peak(ax: Axes, answer: LoadAnswer) -> Place:
    """Draw a ring about the peak, on both sides where it is all round; return where it is."""
    x, z = side_of_peak(answer) * answer.peak.radius_mm, -answer.peak.depth_mm
    for side in (x, -x) if answer.peak.all_round else (x,):
        ring(ax, side, z)
    return x, z


# --- Load ---------------------------------------------------------------------------------------------


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
        place = (0.8 * case.implant.abutment_diameter_mm, turn_height(case, load))
        _draw_turn(ax, place, load.torque_nmm > 0)
    return draw_force(ax, load, (0.0, height), arrow_mm)


def draw_force(ax: Axes, load: Resultant, at: Place, arrow_mm: float) -> Place | None:
    """Draw a load's force as an arrow at a place; return the far end of that, None without a force."""
    x, up = unit_force(load)
    if not (x or up):
        return None
    pulls = up > 1e-9  # a pull starts where it acts
    length = arrow_mm if pulls else -arrow_mm
    far = (at[0] + length * x, at[1] + length * up)
    draw_arrow(ax, *((at, far) if pulls else (far, at)), linewidth=2.6, mutation_scale=18)
    ax.plot(*at, "o", color="black", markersize=4.5, zorder=6)
    return far


def turn_height(case: Case, load: Resultant) -> float:
    """Return where a torque is drawn: at the load's height, or out of the way of a force."""
    top = case.implant.abutment_height_mm
    return 0.72 * top if load.lateral_n or load.axial_n else load.height_mm


def name_load(ax: Axes, view: View, far: Place, load: Resultant, clear: float) -> None:
    """Write the load beside the far end of its arrow, right of a steep one; `clear` of the axis."""
    x, up = unit_force(load)
    if abs(up) > abs(x):
        side, aside = 1.0, max(far[0], clear) + 0.04 * view.span
    else:
        side = 1.0 if far[0] > 0 else -1.0
        aside = max(abs(far[0]), clear) + 0.015 * view.span
    place = (side * aside, far[1])
    write_in(ax, place, load_text(load), side=side, bold=True)


def _draw_turn(ax: Axes, place: Place, positive: bool) -> None:
    """Draw a torque as seen from the front: about +z the near side goes from left to right."""
    a, height = place
    turn = np.radians(np.linspace(160, 380, 60))
    x, z = a * np.cos(turn) * (1 if positive else -1), height + 0.28 * a * np.sin(turn)
    ax.plot(x[:-3], z[:-3], color="black", linewidth=2.2, zorder=6)
    draw_arrow(ax, (float(x[-6]), float(z[-6])), (float(x[-1]), float(z[-1])))

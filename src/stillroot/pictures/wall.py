"""The wall unrolled: places along it from the crest, and the panels that share that length."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stillroot.mechanics.outline import outline_of
from stillroot.pictures.labels import Place, hide_spines, write_in
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, Style
from stillroot.pictures.words import gap_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats, Ints
    from stillroot.inputs.case import Case

DASHES = (0, (4, 2))


@dataclass(frozen=True, kw_only=True)
class UnrolledWall:
    """The wall rolled out: lengths [mm] along it from the crest.

    `corners_mm` (c, 2) r and z of the whole wall, at the lengths `corner_at` (c,); `at` (p,) the length
    of each interface point; `edges` (k, 3) points of each held edge, downwards, in order.
    """

    corners_mm: Floats
    corner_at: Floats
    at: Floats
    edges: Ints

    @property
    def length(self) -> float:
        """Of the whole wall."""
        return float(self.corner_at[-1])

    @property
    def runs(self) -> tuple[Ints, ...]:
        """Edges (k, 3) of each unbroken stretch."""
        breaks = self.at[self.edges[1:, 0]] - self.at[self.edges[:-1, 2]] > 1e-6
        return tuple(np.split(self.edges, np.flatnonzero(breaks) + 1))

    @property
    def gaps(self) -> tuple[Place, ...]:
        """Lengths (from, to) that no hold covers."""
        ends = [0.0]
        for run in self.runs:
            ends += [float(self.at[run[0, 0]]), float(self.at[run[-1, 2]])]
        ends.append(self.length)
        return tuple((a, b) for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a > 1e-6)

    @property
    def rim(self) -> float | None:
        """The length at which a flat across the axis begins; None where the wall ends in none."""
        flat = abs(self.corners_mm[-1, 1] - self.corners_mm[-2, 1]) < 1e-9
        return float(self.corner_at[-2]) if flat else None

    def at_depth(self, depth_mm: Floats) -> Floats:
        """Return the lengths at which the wall first gets to the depths."""
        deepest = np.maximum.accumulate(-self.corners_mm[:, 1])
        # A ledge across the axis has one depth: a trace of its length makes the depths rise.
        rising: Floats = np.interp(depth_mm, deepest + 1e-9 * self.corner_at, self.corner_at)
        return rising


def unrolled_wall(result: CheckResult) -> UnrolledWall:
    """Return the wall unrolled: places along it, and what is held, for a result."""
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
    return UnrolledWall(corners_mm=corners, corner_at=corner_at, at=at, edges=edges)


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


def draw_profile(ax: Axes, case: Case, wall: UnrolledWall) -> None:
    """Draw the radius along the wall, so that threads and end face are known in the panels beside it."""
    look: Style = {"facecolor": "0.985", "edgecolor": "0.15", "linewidth": 1.0}
    ax.fill_betweenx(wall.corner_at, wall.corners_mm[:, 0], 0, **look)
    step = max(1, round(case.implant.length_mm / 6))
    depths = np.arange(0, case.implant.length_mm + 1e-6, step)
    ax.set(
        xlim=(0, 1.1 * float(wall.corners_mm[:, 0].max())),
        ylim=(wall.length, 0),
        yticks=wall.at_depth(depths),
        yticklabels=[f"{depth:g}" for depth in depths],
        xticks=[],
        ylabel="depth below the crest [mm], along the wall",
    )
    ax.set_title("wall", fontsize=TEXT_PT, pad=6)
    if wall.rim is not None:
        ax.axhline(wall.rim, color="black", linewidth=1.0, linestyle=DASHES)
        corner: Style = {"ha": "right", "va": "bottom", "transform": ax.transAxes}
        ax.text(1.06, 0.005, "end\nface", fontsize=SMALL_PT, **corner)
    hide_spines(ax, "top", "right", "bottom")


def frame_panel(ax: Axes, case: Case, wall: UnrolledWall, across: Place) -> None:
    """Lay a panel out along the wall, from the crest downwards; hatch gaps, and mark the end face."""
    for top, bottom in wall.gaps:
        hatched: Style = {"facecolor": "white", "edgecolor": "0.7", "hatch": "////"}
        ax.axhspan(top, bottom, zorder=2, linewidth=0.0, **hatched)
        if bottom - top > 0.05 * wall.length:
            place = (sum(across) / 2, (top + bottom) / 2)
            write_in(ax, place, gap_text(case), side=0, zorder=3)
    if wall.rim is not None:
        ax.axhline(wall.rim, color="white", linewidth=2.2, zorder=3.9)
        ax.axhline(wall.rim, color="black", linewidth=1.0, linestyle=DASHES, zorder=4)
    ax.set(xlim=across, ylim=(wall.length, 0), yticks=[])

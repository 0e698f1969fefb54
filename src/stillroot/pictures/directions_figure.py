"""The picture of the six directions: the implant in section, an arrow for each way it could move.

How far it moves shows in the arrow itself: solid where it moves little, hatched and dashed where much,
hollow and thin where it gives way; the less it moves under the reference load, the thicker. Grey alone,
so that it reads in print; what an arrow stands for is written beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Polygon

from stillroot.answers.wording import rounded
from stillroot.mechanics.six_directions import GIVES_WAY, LITTLE, MUCH, SMALL
from stillroot.pictures.bodies import draw_axis, draw_site, show_section
from stillroot.pictures.labels import point_out, write_in
from stillroot.pictures.paper import SMALL_PT, WIDTH_IN, Picture, Style, blank_sheet
from stillroot.words.directions import IN_PLAIN_WORDS, in_words, load_in_words, place_in_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import DirectionsResult
    from stillroot.arrays import Floats
    from stillroot.inputs.case import Case
    from stillroot.mechanics.six_directions import Direction, SixDirections
    from stillroot.pictures.labels import Place


DASHED: Style = {"hatch": "/////", "linewidth": 1.4, "linestyle": (0, (3, 1.6))}
LOOK: dict[str, Style] = {
    LITTLE: {"facecolor": "0.1", "edgecolor": "0.1", "linewidth": 1.0},
    MUCH: {"facecolor": "white", "edgecolor": "0.1", **DASHED},
    GIVES_WAY: {"facecolor": "white", "edgecolor": "0.1", "linewidth": 1.1},
}
THICK, THIN = 0.036, 0.010
"""Width of an arrow's shaft, of the height of the drawing: at 1 µm or less, and where it gives way."""
STILL_UM, MUCH_UM = 1.0, 300.0
"""Motions at which an arrow is thickest and thinnest; between them by their logarithm."""
TALL_IN, ACROSS_IN = 7.6, WIDTH_IN - 0.4
"""Height and width of the drawing."""
NOTE = "At the arrows: peak micromotion under the load. The thicker an arrow, the less it moves."


def directions_pictures(answer: DirectionsResult) -> tuple[Picture, ...]:
    """Return the pictures of six directions: one."""
    return (six_arrows(answer),)


def six_arrows(answer: DirectionsResult) -> Picture:
    """Draw the implant in section with an arrow for each of its directions."""
    six, case = answer.six, answer.case
    message = in_words(six)
    sheet = blank_sheet(message, case.title, tall_in=TALL_IN, foot_in=0.5, head_in=1.1)
    ax = sheet.axes(0.2, ACROSS_IN)
    view = _view_of(case)
    half_width = view.span * ACROSS_IN / TALL_IN / 2
    draw_site(ax, case)
    crest = (-0.97 * min(half_width, case.block_mm[0]), -0.012 * view.span)
    write_in(ax, crest, "crest", va="top")
    for row in six.directions:
        _draw_arrow(ax, view, row)
    _mark_places(ax, view, six)
    show_section(ax, half_width, view.low, view.high)
    sheet.write((WIDTH_IN / 2, 0.33), NOTE, fontsize=SMALL_PT, ha="center", va="bottom")
    rows = " ".join(
        f"{IN_PLAIN_WORDS[row.name]}: {_told(row).replace(chr(10), ' ')}." for row in six.directions
    )
    alt = (
        "The implant in section with an arrow for each direction in which it could move, solid where it "
        f"moves little, hatched where it moves much, hollow where it gives way. {message} "
        f"{rows} Loads act at {place_in_words(six.height_mm)}."
    )
    return sheet.picture("directions", alt)


@dataclass(frozen=True, kw_only=True)
class _View:
    """What is shown [mm], from `low` to `high`.

    The arrows stand about a head of `top` and `radius`: the abutment's, or a little more where it is
    too small for them.
    """

    low: float
    high: float
    top: float
    radius: float

    @property
    def span(self) -> float:
        return self.high - self.low


WIDEST, NARROWEST = 0.12, 0.09
"""Radius of the head, of the height of the drawing, that leaves room for labels and arrows."""


def _view_of(case: Case) -> _View:
    implant = case.implant
    low = -min(implant.length_mm + 1.0, case.block_mm[1])
    radius = implant.abutment_diameter_mm / 2
    top = max(implant.abutment_height_mm, -0.4 * low)
    span = max(top - 1.5 * low, radius / WIDEST)
    low = -min(-low + 0.4 * (span - top + 1.5 * low), case.block_mm[1])
    head = {"top": max(top, 0.2 * span), "radius": max(radius, NARROWEST * span)}
    return _View(low=low, high=low + span, **head)


def _draw_arrow(ax: Axes, view: _View, row: Direction) -> None:
    path, ends_left = _path(view, row.name)
    width = view.span * _width(row)
    arrow = Polygon(_ribbon(path, width), closed=True, zorder=6, joinstyle="miter", **LOOK[row.state])
    ax.add_patch(arrow)
    told = path[0] if row.name == "axial in" else path[-1]
    aside = (-1.0 if ends_left else 1.0) * (0.012 * view.span + width)
    place = (float(told[0] + aside), float(told[1]))
    label = f"{IN_PLAIN_WORDS[row.name]}\n{_told(row)}"
    write_in(ax, place, label, side=-1 if ends_left else 1, zorder=7)


def _width(row: Direction) -> float:
    """Return the width of an arrow: by how little it moves, thin where it gives way."""
    if row.micromotion is None:
        return THIN
    motion = np.clip(row.micromotion.peak.total_um, STILL_UM, MUCH_UM)
    share = np.log(MUCH_UM / motion) / np.log(MUCH_UM / STILL_UM)
    return float(THIN + (THICK - THIN) * share)


def _path(view: _View, name: str) -> tuple[Floats, bool]:
    """Return the middle line (k, 2) of an arrow, tail first, and whether its label goes left of it."""
    a, top, s, up = view.radius, view.top, view.span, view.high - view.top
    size = (a + 0.1 * s, 0.16 * s)
    paths = {
        "axial in": ([(-0.5 * a, top + 0.88 * up), (-0.5 * a, top + 0.12 * up)], True),
        "axial out": ([(0.5 * a, top + 0.12 * up), (0.5 * a, top + 0.88 * up)], False),
        "lateral x": ([(a + 0.01 * s, 0.15 * top), (a + 0.15 * s, 0.15 * top)], False),
        # Towards the viewer, drawn aslant.
        "lateral y": ([(-a - 0.01 * s, 0.33 * top), (-a - 0.14 * s, 0.33 * top - 0.04 * s)], True),
        "rotation about the axis": (_arc(0.68 * top, (a + 0.07 * s, 0.045 * s), 190, 358), False),
        "tilt about x": (_arc(top, (0.85 * size[0], size[1]), 124, 182), True),
        "tilt about y": (_arc(top, size, 60, 2), False),
    }
    path, left = paths[name]
    return np.asarray(path, dtype=np.float64), left


def _arc(height: float, size: Place, first_deg: float, last_deg: float) -> Floats:
    """Return an arc about a place on the axis."""
    angle = np.radians(np.linspace(first_deg, last_deg, 60))
    return np.array([0.0, height]) + np.array(size) * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def _ribbon(path: Floats, width: float) -> Floats:
    """Return the outline of an arrow along a path: a shaft, and a head that ends at the last point."""
    head = 1.5 * width + 0.35
    along = np.append(0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    at = np.linspace(0, max(along[-1] - head, 0.2 * along[-1]), 40)
    shaft = np.stack([np.interp(at, along, path[:, i]) for i in (0, 1)], axis=1)
    tangent = np.gradient(shaft, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    normal *= 0.5 * width / np.linalg.norm(normal, axis=1)[:, None]
    barb = (1.0 + 0.6 / width**0.5) * normal[-1]
    neck = shaft[-1]
    return np.vstack([shaft + normal, neck + barb, path[-1], neck - barb, (shaft - normal)[::-1]])


def _told(row: Direction) -> str:
    """Return how far it moves in a direction, or that it gives way."""
    load = load_in_words(row)
    if row.micromotion is not None:
        return f"{rounded(row.micromotion.peak.total_um)} µm at {load}:\n{row.state}"
    if row.stiffness == 0:
        return f"gives way at {SMALL:.0%} of {load}"
    return f"gives way before {load}"


def _mark_places(ax: Axes, view: _View, six: SixDirections) -> None:
    """Mark the reference point, and the centre of rotation where it is in the picture."""
    draw_axis(ax, view.low, view.top)
    if view.low < six.height_mm < view.high:
        ax.plot(0, six.height_mm, "o", markersize=7, mfc="white", mec="black", mew=1.5, zorder=7)
    centre = six.centre_of_rotation_mm
    if centre is not None and view.low < centre < view.high:
        ax.plot(0, centre, "+", markersize=14, color="black", mew=2.2, zorder=7)
        place = (view.radius + 0.1 * view.span, centre)
        point_out(ax, (0, centre), place, "turns about here\nunder a lateral load", side=1, away=8)

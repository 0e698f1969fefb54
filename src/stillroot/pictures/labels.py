"""Letters in and beside a drawing: one patch that keeps them readable, one line to what they name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from matplotlib.patches import PathPatch
from matplotlib.path import Path

from stillroot.pictures.paper import SMALL_PT, TEXT_PT, Style

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes
    from matplotlib.text import Text

    from stillroot.arrays import Floats

Place = tuple[float, float]

CRUSHED = "crushed bone"
"""Bone that has yielded, in all pictures."""
BESIDE = {"facecolor": "white", "edgecolor": "none", "alpha": 0.88, "pad": 1.6}


def letters(side: float, bold: bool) -> Style:
    """Return the look of a text that lies right (1), left (-1) or in the middle (0) of its place."""
    ha = "left" if side > 0 else "right" if side < 0 else "center"
    return {"ha": ha, "va": "center", "fontsize": TEXT_PT, "fontweight": "bold" if bold else "normal"}


def write_in(
    ax: Axes,
    place: Place,
    text: str,
    side: float = 1,
    *,
    bold: bool = False,
    beside: bool = True,
    **style: Any,
) -> Text:
    """Write beside a place of the data, on a patch that keeps it readable."""
    common = letters(side, bold) | {"bbox": BESIDE if beside else None, "zorder": 6.5}
    return ax.text(*place, text, parse_math=False, **(common | style))


def point_out(
    ax: Axes,
    inside: Place,
    place: Place,
    text: str,
    side: float,
    *,
    bold: bool = False,
    away: float = 0.0,
) -> None:
    """Write beside a place with a line to what is named, ending `away` points before it."""
    line = {"arrowstyle": "-", "linewidth": 1.1, "color": "black", "shrinkA": 1, "shrinkB": away}
    common = letters(side, bold) | {"bbox": BESIDE, "zorder": 6.5}
    ax.annotate(text, inside, place, arrowprops=line, **common)


def write_off(
    ax: Axes, place: Place, off_pt: Place, text: str, *, bold: bool = False, **style: Any
) -> None:
    """Write a text some points off a place of the data, from which it leads away."""
    upright = "bottom" if off_pt[1] > 0 else "top" if off_pt[1] < 0 else "center"
    common = letters(off_pt[0], bold) | {"va": upright, "zorder": 6, "parse_math": False}
    ax.annotate(text, place, off_pt, textcoords="offset points", **(common | style))


def write_beside(ax: Axes, row: float, text: str, *, left: bool, **style: Any) -> None:
    """Write left or right of the axes, at a row."""
    at, off = (0.0, -9) if left else (1.0, 9)
    common: Style = {"xycoords": ax.get_yaxis_transform(), "fontsize": SMALL_PT}
    write_off(ax, (at, row), (off, 0), text, annotation_clip=False, **(common | style))


def name_rows(ax: Axes, rows: Iterable[tuple[str, str, bool]]) -> None:
    """Write rows of names left and values right of the axes, bold ones too."""
    for row, (name, told, bold) in enumerate(rows):
        write_beside(ax, row, name, left=True, bold=bold)
        write_beside(ax, row, told, left=False, bold=bold)


def draw_arrow(ax: Axes, start: Place, end: Place, **look: Any) -> None:
    """Draw an arrow from a place of the data to another."""
    common = {"arrowstyle": "-|>", "linewidth": 2.2, "color": "black", "mutation_scale": 16}
    ends = {"shrinkA": 0, "shrinkB": 0}
    ax.annotate("", end, start, arrowprops=common | ends | look, zorder=6)


def ring(ax: Axes, *place: float, size: float = 13) -> None:
    """Draw a ring about a place of the data, white round black."""
    for colour, width in (("white", 4.2), ("black", 1.8)):
        look: Style = {"mfc": "none", "mec": colour, "mew": width, "clip_on": False}
        ax.plot(*place, "o", markersize=size, zorder=7, **look)


def hatch_crushed(ax: Axes, corners: Floats, *, colour: str = "0.3", **style: Any) -> None:
    """Hatch polygons (e, c, 2) of a place of crushed bone or beside it, as one."""
    if not corners.size:
        return
    whole = Path.make_compound_path(*(Path(shape, closed=False) for shape in corners))
    look: Style = {"facecolor": "none", "edgecolor": colour, "hatch": "xxx", "linewidth": 0.0}
    ax.add_patch(PathPatch(whole, **(look | style)))


def hide_spines(ax: Axes, *sides: str) -> None:
    """Draw axes without the lines at some of their sides, at all where none is named."""
    ax.spines[list(sides or ax.spines)].set_visible(False)

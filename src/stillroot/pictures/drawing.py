"""What all pictures share: paper, letters, marks, and the implant in its site.

Only `matplotlib.figure.Figure` objects are made; whoever wants a file calls `figure.savefig`. A user's
text is never read as mathematics (a load may be called "$").
"""

from __future__ import annotations

import re
import textwrap
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps
from matplotlib.collections import LineCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.ticker import MaxNLocator

from stillroot.answers.summary import CAUTION, band_of, with_error
from stillroot.mechanics.outline import ABUTMENT, CORTICAL, GAP, IMPLANT, TRABECULAR, outline_of
from stillroot.words.loads import signed_number

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.axes import Axes
    from matplotlib.text import Text
    from numpy.typing import NDArray

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.outline import Outline

    Floats = NDArray[np.float64]
    Place = tuple[float, float]
    Style = dict[str, Any]

DPI = 150

WIDTH_IN = 8.0
"""With `DPI`, a picture is 1200 pixels wide."""

BEYOND = 2.0
"""How far a scale of peaks under changes goes past the bands and the answer, at most."""

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

BESIDE = {"facecolor": "white", "edgecolor": "none", "alpha": 0.88, "pad": 1.6}


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture, and what is said of it.

    `name` is unique in one answer and fit for a file; `alt` tells the picture in words; `message` is the
    one thing that it says. `headings` are what a page that says it itself leaves out.
    """

    name: str
    figure: Figure
    alt: str
    message: str
    headings: tuple[Text, ...]


@contextmanager
def no_word_of_missing_letters() -> Iterator[None]:
    """Say nothing of letters that the font lacks, while a picture is measured or saved.

    They are drawn as boxes, for all to see; warnings would bury what else is said.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from ", UserWarning)
        yield


def scale_um(result: CheckResult) -> float:
    """Return the top of the scale [µm]: one for all loads, so that their pictures compare."""
    peaks = [answer.peak.total_um for answer in result.loads]
    return max(*result.case.threshold.bands_um, *peaks)


def draw_bodies(ax: Axes, outline: Outline) -> None:
    """Fill the regions, both halves as one shape; where they overlap the earlier one lies on top."""
    for rank, region in enumerate(reversed(outline.regions)):
        whole = Polygon(mirrored_corners(region.corners_mm), linewidth=0.8, zorder=1 + 0.01 * rank)
        whole.set(**REGION_LOOK[region.name])
        ax.add_patch(whole)


def mirrored_corners(corners: Floats) -> Floats:
    """Return the whole shape (2k, 2) of a half (k, 2) that has one edge on the axis."""
    on_axis = corners[:, 0] == 0
    last = int(np.flatnonzero(on_axis & np.roll(on_axis, -1))[0])
    half = np.roll(corners, -(last + 1), axis=0)
    return np.vstack([half, half[::-1] * [-1.0, 1.0]])


def draw_motion(ax: Axes, result: CheckResult, answer: LoadAnswer, scale: float) -> None:
    """Draw the motion of the held wall as a line: colour and thickness up to `scale`, on a dark edge."""
    motion = answer.micromotion
    edges = unrolled_wall(result).edges
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


def draw_shared_scale(ax: Axes, bands: Sequence[float], scale: float) -> None:
    """Draw the colours of motion up to `scale`, for sections side by side."""
    shade = np.linspace(0, scale, 512)[None]
    norm = Normalize(0, scale)
    ax.imshow(shade, cmap=MOTION, norm=norm, extent=(0, scale, 0, 1), aspect="auto")
    for band in bands:
        ax.axvline(band, color="white", linewidth=1.8)
    ax.set(yticks=[], xticks=band_ticks(bands, scale))
    ax.set_xlabel("micromotion [µm]: colour and thickness on the held wall; ring: the peak")
    plain_axes(ax)
    ax.xaxis.label.set_fontsize(SMALL_PT + 0.5)


@dataclass(frozen=True, kw_only=True)
class UnrolledWall:
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


def band_ticks(bands: Sequence[float], right: float) -> list[float]:
    """Return 0, the bands and, far above them, round numbers: all with room for their figures."""
    kept = [0.0]
    round_ones = MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(0, right)
    for tick in (*sorted(bands, reverse=True), *round_ones):
        beyond = tick not in bands and tick < 1.2 * max(bands)
        if not beyond and tick <= right and min(abs(tick - k) for k in kept) > 0.06 * right:
            kept.append(float(tick))
    return sorted(kept)


def shade_bands(
    ax: Axes,
    bands: Sequence[float],
    end: float,
    *,
    begin: float = 0.0,
    named: bool = True,
    upward: bool = False,
) -> None:
    """Shade and name the bands: darker is more motion; no colour says pass or fail.

    Motion runs to the right from `begin` to `end`, names on top; or `upward`, names on the right.
    """
    span, along = (
        (ax.axhspan, ax.get_yaxis_transform) if upward else (ax.axvspan, ax.get_xaxis_transform)
    )
    (ax.set_ylim if upward else ax.set_xlim)(begin, end)
    edges = [begin, *(band for band in bands if begin < band < end), end]
    points = [(0.0, edge) if upward else (edge, 0.0) for edge in edges]
    # Shares of the axes, for names in the middle of their band on a logarithmic axis too.
    shares = (along() + ax.transAxes.inverted()).transform(points)[:, int(upward)]
    for (low, high), (first, last) in zip(pairwise(edges), pairwise(shares), strict=True):
        darker = sum(band <= low for band in bands)
        span(low, high, facecolor=str(0.97 - 0.22 * darker / len(bands)), edgecolor="none", zorder=0)
        if not named or last - first < (0.045 if upward else 0.13):
            continue  # no room for its name; the ticks tell
        place = (1.0, (first + last) / 2) if upward else ((first + last) / 2, 1.0)
        ax.annotate(
            band_of((low + high) / 2, tuple(bands)),
            place,
            (6, 0) if upward else (0, 4),
            xycoords="axes fraction",
            textcoords="offset points",
            ha="left" if upward else "center",
            va="center" if upward else "bottom",
            fontsize=TEXT_PT,
        )


def mark_interval(ax: Axes, answer: LoadAnswer, right: float, *, y: float, drop: float | None) -> None:
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
    text, span = f"peak {peak_text(answer)}", (peak - error, peak + error)
    beside_mark(ax, span, y, text, left=peak > right / 2, bold=True, boxed=drop is not None)


def mark_head(ax: Axes, answer: LoadAnswer, right: float, *, y: float, drop: float | None) -> None:
    """Draw head movement as an open diamond, or as an arrow at the edge where it lies beyond."""
    head = answer.head.total_um
    text = f"head movement {head_text(answer)}"
    if head > right:
        mark: Style = {"markersize": 8, "mfc": "white", "mec": "black", "mew": 1.5, "clip_on": False}
        ax.plot(right, y, ">", zorder=6, **mark)
        beside_mark(ax, (right, right), y, f"{text}, beyond the scale", left=True)
        return
    if drop is not None:
        ax.plot([head, head], [drop, y], color="black", linewidth=1.0, linestyle=":")
    ax.plot(head, y, "D", markersize=7, mfc="white", mec="black", mew=1.5, clip_on=False, zorder=5)
    beside_mark(ax, (head, head), y, text, left=head > right / 2)


def beside_mark(
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


def beside_axes(ax: Axes, row: int, text: str, *, left: bool, **style: Any) -> None:
    """Write left or right of the axes, at a row."""
    ax.annotate(
        text,
        (0.0 if left else 1.0, row),
        (-9 if left else 9, 0),
        xycoords=ax.get_yaxis_transform(),
        textcoords="offset points",
        ha="right" if left else "left",
        va="center",
        fontsize=SMALL_PT,
        annotation_clip=False,
        **style,
    )


def um_text(value_um: float) -> str:
    """Return a motion with its unit, sensibly rounded."""
    return f"{value_um:.1f} µm" if value_um < 100 else f"{value_um:.0f} µm"


def head_text(answer: LoadAnswer) -> str:
    """Return the head movement, with its turn where there is a torque."""
    head = answer.head
    turn = f" and {signed_number(head.rotation_deg)}° of turn" if answer.resultant.torque_nmm else ""
    return um_text(head.total_um) + turn


def peak_text(answer: LoadAnswer) -> str:
    """Return the peak with its error, as the table has it."""
    return f"{with_error(answer.peak.total_um, answer.error.total_um)} µm"


def whole_text(text: str) -> str:
    """Return a text that is not broken over lines."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def shortened(name: str) -> str:
    """Return a name, cut to what fits a line."""
    cut = textwrap.shorten(name, NAME_LETTERS, placeholder=" …")
    return f"{name[: NAME_LETTERS - 1]}…" if cut == "…" else cut  # one long word is cut within it


def quoted_name(name: str) -> str:
    """Return a name in quotation marks, cut to what fits a line."""
    return f"“{shortened(name)}”"


def signed_deg(angle_deg: float) -> float:
    """Return an angle within -180 to 180 degrees."""
    return (angle_deg + 180) % 360 - 180


def gap_text(case: Case) -> str:
    """Return what fills the gap in words."""
    socket = case.socket
    if socket.gap_fill is None:
        return f"gap ({socket.gap_stiffness_mpa:g} MPa)"
    return f"gap ({socket.gap_fill})"


def picture_name(result: CheckResult, answer: LoadAnswer, kind: str) -> str:
    """Return a name fit for a file; the load's place in the case keeps it unique."""
    number = next(i for i, other in enumerate(result.loads) if other is answer)
    return f"{kind}-{result.load_slugs[number]}"


def blank_figure(height_in: float) -> Figure:
    """Return an empty figure, `WIDTH_IN` wide."""
    return Figure(figsize=(WIDTH_IN, height_in), dpi=DPI, facecolor="white")


def axes_at(figure: Figure, *, left: float, bottom: float, width: float, height: float) -> Axes:
    """Add axes at a place in inches."""
    w, h = figure.get_size_inches()
    return figure.add_axes((left / w, bottom / h, width / w, height / h))


def write_headings(figure: Figure, message: str, title: str) -> tuple[Text, ...]:
    """Write and return the message on top, the case's title below it, the caution at the foot."""
    height = float(figure.get_size_inches()[1])
    lines = _title_lines(message)
    at = 0.3 / WIDTH_IN
    common: Style = {"ha": "left", "va": "top", "parse_math": False}
    bold: Style = {"fontsize": TITLE_PT, "fontweight": "bold"}
    top = figure.text(at, 1 - 0.17 / height, "\n".join(lines), **common, **bold)
    below = _below_title_in(lines)
    case = textwrap.shorten(title, 100, placeholder=" …")
    about = figure.text(at, 1 - below / height, case, fontsize=TEXT_PT, color="0.3", **common)
    foot: Style = {"ha": "left", "va": "bottom", "fontsize": SMALL_PT - 1, "color": "0.4"}
    return top, about, figure.text(at, 0.06 / height, CAUTION, **foot)


def headroom_in(message: str, least: float) -> float:
    """Return the height [in] to keep free above a drawing for its headings, `least` or more."""
    return max(least, _below_title_in(_title_lines(message)) + 0.28)


def _title_lines(message: str) -> list[str]:
    return _balanced(re.sub(r"(?<=\d) (?=(mm|µm|N)\b)", "\N{NO-BREAK SPACE}", message))


def _below_title_in(lines: Sequence[str]) -> float:
    """Return how far below the top [in] the case's title stands."""
    return 0.17 + 0.215 * len(lines) + 0.07


def _balanced(text: str) -> list[str]:
    """Return the fewest lines that hold a title, as even as they can be."""
    fewest = len(textwrap.wrap(text, TITLE_LETTERS))
    widths = range(TITLE_LETTERS // 2, TITLE_LETTERS + 1)
    return next(w for w in (textwrap.wrap(text, width) for width in widths) if len(w) == fewest)


def write_in(
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
) -> Text:
    """Write a text into axes at a place of the data, on a patch that keeps it readable."""
    return ax.text(
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


def point_out(
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


def plain_axes(ax: Axes) -> None:
    """Give axes the letters that all pictures share."""
    ax.tick_params(labelsize=SMALL_PT + 0.5)
    ax.xaxis.label.set_fontsize(TEXT_PT)
    ax.yaxis.label.set_fontsize(TEXT_PT)

"""Peaks and head movements as marks over a scale of motion."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stillroot.answers.result import peak_text
from stillroot.answers.wording import rounded
from stillroot.pictures.labels import BESIDE, write_in, write_off
from stillroot.pictures.paper import Style, no_word_of_missing_letters
from stillroot.pictures.scales import rows_over_bands
from stillroot.pictures.words import given_way_text, head_text, peak_words, shortened

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.text import Text

    from stillroot.answers.result import LoadAnswer
    from stillroot.pictures.labels import Place

EDGE_PX = 8.0
"""White kept between the text of a row and the frame."""
OPEN: Style = {"mfc": "white", "mec": "black", "mew": 1.5, "clip_on": False}


def mark_interval(ax: Axes, answer: LoadAnswer, right: float, *, y: float, drop: float | None) -> None:
    """Draw the peak as a filled mark with its ± as a bar; `drop` is where a line goes down to.

    Where the implant gives way an arrow at the edge takes their place: the motion has no end.
    """
    if answer.gives_way_at is not None:
        ax.plot(right, y, ">", markersize=8, color="black", clip_on=False, zorder=6)
        text = f"{given_way_text(answer.gives_way_at)}, where the wall moves {peak_words(answer)}"
        _write_beside(ax, (right, right), y, text, left=True, bold=True)
        return
    peak, error = answer.peak.total_um, answer.error.total_um
    if drop is not None:
        ax.plot([peak, peak], [drop, y], color="black", linewidth=1.0, clip_on=False)
    bar: Style = {"capsize": 5.5, "elinewidth": 3.0, "capthick": 1.6, "clip_on": False}
    ax.errorbar(peak, y, xerr=error, fmt="o", color="black", markersize=5.5, zorder=5, **bar)
    box = None if drop is None else BESIDE | {"pad": 0.5}
    text, span = f"peak {peak_text(answer)}", (peak - error, peak + error)
    _write_beside(ax, span, y, text, left=peak > right / 2, bold=True, bbox=box)


def mark_head(ax: Axes, answer: LoadAnswer, right: float, *, y: float, drop: float | None) -> None:
    """Draw head movement as an open diamond, or as an arrow at the edge where it lies beyond."""
    head = answer.head.total_um
    text = f"head movement {head_text(answer)}"
    if head > right:
        ax.plot(right, y, ">", markersize=8, zorder=6, **OPEN)
        _write_beside(ax, (right, right), y, f"{text}, beyond the scale", left=True)
        return
    if drop is not None:
        ax.plot([head, head], [drop, y], color="black", linewidth=1.0, linestyle=":")
    ax.plot(head, y, "D", markersize=7, zorder=5, **OPEN)
    _write_beside(ax, (head, head), y, text, left=head > right / 2)


def _write_beside(ax: Axes, span: Place, y: float, text: str, *, left: bool, **style: Any) -> None:
    """Write left or right of a mark that spans `span`."""
    write_off(ax, (span[0] if left else span[1], y), (-9 if left else 9, 0), text, **style)


@dataclass(frozen=True, kw_only=True)
class Row:
    """An answer among others: its name, what else tells it, and where its peak may lie [µm]."""

    name: str
    told: str
    answer: LoadAnswer
    spread_um: Place | None = None

    @property
    def in_words(self) -> str:
        """What is drawn of it, as a sentence."""
        answer, ends = self.answer, self.spread_um
        if answer.gives_way_at is not None:
            return f"“{self.name}”: {given_way_text(answer.gives_way_at)}."
        under = "" if self.name == answer.name else f", under “{answer.name}”"
        spread = ""
        if ends is not None:
            upper = f"to {rounded(ends[1])} µm" if math.isfinite(ends[1]) else "until it gives way"
            spread = f", 5 to 95 % {rounded(ends[0])} {upper}"
        return (
            f"“{self.name}”{under}: peak {peak_text(answer)} ({answer.band}){spread}, head movement "
            f"{head_text(answer)}."
        )


def draw_answers(ax: Axes, rows: Sequence[Row], bands: Sequence[float], right: float) -> None:
    """Draw the peak with its error, its spread and the head movement of each answer, over the bands."""
    rows_over_bands(ax, bands, right, len(rows), named=True)
    ax.set_xlabel("micromotion at the interface, and head movement [µm]")
    for y, row in enumerate(rows):
        ax.axhspan(y - 0.5, y - 0.17, facecolor="white", edgecolor="none", zorder=1)
        text = write_in(ax, (0.012 * right, y - 0.33), "", beside=False, zorder=3)
        _fit(ax, text, row.name, f": {row.told}")
        mark_interval(ax, row.answer, right, y=y + 0.03, drop=None)
        if row.spread_um is not None:
            _mark_spread(ax, row.spread_um, right, y=y + 0.18)
        if row.answer.gives_way_at is None:
            mark_head(ax, row.answer, right, y=y + 0.31, drop=None)


def _mark_spread(ax: Axes, ends: Place, right: float, *, y: float) -> None:
    """Draw where a peak may lie as a line with ends; an arrow where it goes on beyond the scale."""
    low, high = min(ends[0], right), min(ends[1], right)
    ax.plot([low, high], [y, y], "k|-", linewidth=1.6, markersize=7, mew=1.6, zorder=4)
    if ends[1] > right:
        ax.plot(right, y, ">", markersize=7, color="black", clip_on=False, zorder=6)


def _fit(ax: Axes, text: Text, name: str, rest: str) -> None:
    """Write a name, cut until it and the rest end within the axes: letters differ in width."""
    with no_word_of_missing_letters():
        end = float(ax.get_window_extent().x1) - EDGE_PX
        kept = shortened(name)
        text.set_text(kept + rest)
        while kept and text.get_window_extent().x1 > end:
            kept = kept.removesuffix("…").rstrip()[:-1].rstrip()
            text.set_text(f"{kept}…{rest}")

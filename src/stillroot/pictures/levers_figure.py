"""What changes the number: the governing peak, and with one thing changed at a time."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from stillroot.answers.summary import GIVES_WAY
from stillroot.pictures.drawing import (
    BESIDE,
    BEYOND,
    SMALL_PT,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    beside_axes,
    blank_figure,
    headroom_in,
    plain_axes,
    quoted_name,
    shade_bands,
    um_text,
    whole_text,
    write_headings,
)
from stillroot.pictures.study_drawing import write_note
from stillroot.words.check_document import ANATOMY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    Row = tuple[str, float | None] | tuple[str, float | None, str]
    """A change in words, the peak that it leads to [µm], and why there is none.

    A peak that is None without a reason gives way.
    """

ROW_IN = 0.34
SAME = 0.005
"""Share of the peak by which a change must move it to be drawn as an arrow."""
REASON_LETTERS = 60
"""Letters that are kept of a reason: from the axes to the edge of the paper."""
BY_PLAN, ROUGH = "what a plan can change", "what is known only roughly"


def levers_figure(
    governing_name: str,
    answered_um: float,
    by_plan: Sequence[Row],
    rough: Sequence[Row],
    bands: Sequence[float],
    *,
    title: str = "",
) -> Picture:
    """Draw how far each change moves the largest peak, against the bands.

    Parameters
    ----------
    governing_name
        The load whose peak it is before any change.
    answered_um
        Its peak as answered [µm].
    by_plan
        Each change that somebody can decide: in words, the peak that it leads to [µm] or None, and, if
        there is one, the reason why there is no answer. None without a reason gives way.
    rough
        The same of each input that is known only roughly.
    bands
        The bands [µm], rising.
    title
        What is written small below the message.
    """
    rows = [*by_plan, *rough]
    known = [row[1] for row in rows if row[1] is not None]
    right = 1.1 * min(max(*bands, answered_um, *known), BEYOND * max(*bands, answered_um))
    groups = [group for group in ((BY_PLAN, by_plan), (ROUGH, rough)) if group[1]]
    count = 1 + len(groups) + len(rows)
    height = ROW_IN * count
    message = _message(governing_name, answered_um, by_plan)
    figure = blank_figure(1.0 + height + headroom_in(message, least=0.98))
    ax = axes_at(figure, left=3.5, bottom=1.0, width=WIDTH_IN - 4.9, height=height)
    shade_bands(ax, bands, right, named=False)
    ax.axvline(answered_um, color="black", linewidth=1.2, zorder=3)
    ax.plot(answered_um, 0, "o", color="black", markersize=7, zorder=5)
    beside_axes(ax, 0, "base case", left=True, fontweight="bold")
    beside_axes(ax, 0, um_text(answered_um), left=False, fontweight="bold")
    at = 1
    for heading, group in groups:
        beside_axes(ax, at, heading, left=True, fontstyle="italic")
        for y, row in enumerate(group, start=at + 1):
            _draw_row(ax, y, answered_um, row, right)
        at += 1 + len(group)
    ax.set(xlim=(0, right), ylim=(count - 0.5, -0.5), yticks=[])
    ax.set_xticks(band_ticks(bands, right))
    ax.set_xlabel("peak micromotion [µm]; shades are the bands")
    plain_axes(ax)
    write_note(figure, ANATOMY)
    headings = write_headings(figure, message, title)
    told = " ".join(
        f"{heading.capitalize()}: {'; '.join(f'{row[0]}: {led_to(row)}' for row in group)}."
        for heading, group in groups
    )
    alt = (
        f"{message}. Peak micromotion of “{governing_name}” with one thing changed at a time; base "
        f"case {um_text(answered_um)}. {told} {ANATOMY}"
    )
    return Picture(name="levers", figure=figure, alt=alt, message=message, headings=headings)


def write_why_no_peak(ax: Axes, row: int, reason: str) -> None:
    """Write in a row without a peak that it gives way, or else the reason, shortened."""
    if not reason:
        beside_axes(ax, row, GIVES_WAY, left=False)
        return
    ax.annotate(
        shortened_reason(reason),
        (0.0, row),
        (5, 0),
        xycoords=ax.get_yaxis_transform(),
        textcoords="offset points",
        va="center",
        fontsize=SMALL_PT,
        bbox=BESIDE,
        annotation_clip=False,
        parse_math=False,
        zorder=6,
    )


def shortened_reason(reason: str) -> str:
    """Return a reason, cut to what fits a row."""
    return textwrap.shorten(reason, REASON_LETTERS, placeholder=" …")


def _reason(row: Row) -> str:
    return row[2] if len(row) > 2 else ""


def led_to(row: Row) -> str:
    """Return what a change leads to in words."""
    return um_text(row[1]) if row[1] is not None else shortened_reason(_reason(row)) or GIVES_WAY


def _draw_row(ax: Axes, y: int, answered: float, row: Row, right: float) -> None:
    name, peak = row[:2]
    beside_axes(ax, y, name, left=True)
    if peak is None:
        write_why_no_peak(ax, y, _reason(row))
        return
    beside_axes(ax, y, um_text(peak), left=False)
    _draw_change(ax, y, answered, peak, right)


def _draw_change(ax: Axes, row: int, answered: float, peak: float, right: float) -> None:
    """Draw an arrow from the peak as answered to the changed one: solid where it falls."""
    beyond, end = peak > right, min(peak, right)
    falls = peak < answered
    if abs(peak - answered) > SAME * answered:
        dash = "-" if falls else (0, (3, 1.5))
        ax.plot([answered, end], [row, row], color="black", linewidth=2.2, linestyle=dash, zorder=4)
    mark = ">" if beyond else "o"
    face = "black" if falls or beyond else "white"
    ax.plot(end, row, mark, mfc=face, mec="black", mew=1.4, markersize=7, clip_on=False, zorder=5)


def _message(name: str, answered: float, by_plan: Sequence[Row]) -> str:
    """Say which of the changes that somebody can decide lowers the peak most, and to what."""
    lower = [
        (row[1], row[0]) for row in by_plan if row[1] is not None and row[1] < answered * (1 - SAME)
    ]
    if not by_plan:
        return f"{quoted_name(name)}: a peak of {um_text(answered)}, with no change of the plan tried"
    if not lower:
        # What has no answer for another reason than giving way might lower it.
        solved = " that has an answer" if any(map(_reason, by_plan)) else ""
        return (
            f"{quoted_name(name)}: no change of the plan{solved} lowers the peak of {um_text(answered)}"
        )
    least, text = min(lower)
    told = f"from {whole_text(um_text(answered))} to {whole_text(um_text(least))}"
    if len(by_plan) == 1:
        return f"{quoted_name(name)}: {quoted_name(text)} lowers the peak {told}"
    told = f"{quoted_name(text)} lowers the peak most, {told}"
    return f"{quoted_name(name)}: of what a plan can change, {told}"

"""What helps: the governing peak as answered, and with one thing changed at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.pictures.drawing import (
    BEYOND,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    beside_axes,
    blank_figure,
    plain_axes,
    quoted_name,
    shade_bands,
    um_text,
    whole_text,
    write_headings,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

ROW_IN = 0.34
SAME = 0.005
"""Share of the peak by which a change must move it to be drawn as an arrow."""


def levers_figure(
    governing_name: str,
    answered_um: float,
    rows: Sequence[tuple[str, float | None]],
    bands: Sequence[float],
    *,
    title: str = "",
) -> Picture:
    """Draw how far each change moves the peak of the governing load, against the bands.

    Parameters
    ----------
    governing_name
        The load whose peak it is.
    answered_um
        Its peak as answered [µm].
    rows
        Each change in words, and the peak that it leads to [µm]; None where there is no answer.
    bands
        The bands [µm], rising.
    title
        What is written small below the message.
    """
    known = [peak for _, peak in rows if peak is not None]
    right = 1.1 * min(max(*bands, answered_um, *known), BEYOND * max(*bands, answered_um))
    height = ROW_IN * (len(rows) + 1)
    figure = blank_figure(1.9 + height)
    ax = axes_at(figure, left=3.5, bottom=0.92, width=WIDTH_IN - 4.9, height=height)
    shade_bands(ax, bands, right, named=False)
    ax.axvline(answered_um, color="black", linewidth=1.2, zorder=3)
    ax.plot(answered_um, 0, "o", color="black", markersize=7, zorder=5)
    beside_axes(ax, 0, "as answered", left=True, fontweight="bold")
    beside_axes(ax, 0, um_text(answered_um), left=False, fontweight="bold")
    for row, (name, peak) in enumerate(rows, start=1):
        beside_axes(ax, row, name, left=True)
        beside_axes(ax, row, "no balance" if peak is None else um_text(peak), left=False)
        if peak is not None:
            _draw_change(ax, row, answered_um, peak, right)
    ax.set(xlim=(0, right), ylim=(len(rows) + 0.5, -0.5), yticks=[])
    ax.set_xticks(band_ticks(bands, right))
    ax.set_xlabel("peak micromotion [µm]; shades are the bands")
    plain_axes(ax)
    message = _message(governing_name, answered_um, rows)
    headings = write_headings(figure, message, title)
    told = "; ".join(f"{name}: {'no balance' if p is None else um_text(p)}" for name, p in rows)
    alt = (
        f"{message}. Peak micromotion of “{governing_name}” with one thing changed at a time; as "
        f"answered {um_text(answered_um)}. {told}."
    )
    return Picture(name="levers", figure=figure, alt=alt, message=message, headings=headings)


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


def _message(name: str, answered: float, rows: Sequence[tuple[str, float | None]]) -> str:
    """Say which of the changes lowers the peak most, and to what."""
    lower = [(peak, text) for text, peak in rows if peak is not None and peak < answered * (1 - SAME)]
    if not lower:
        return f"{quoted_name(name)}: none of these changes lowers the peak, {um_text(answered)}"
    least, text = min(lower)
    told = f"from {whole_text(um_text(answered))} to {whole_text(um_text(least))}"
    if len(rows) == 1:
        return f"{quoted_name(name)}: {quoted_name(text)} lowers the peak {told}"
    return f"{quoted_name(name)}: of these changes {quoted_name(text)} lowers the peak most, {told}"

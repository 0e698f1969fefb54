"""Picture of what would make it bounds: a panel for each question, with what was tried and found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stillroot.pictures.labels import BESIDE, write_off
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, Picture, Style, blank_sheet
from stillroot.pictures.scales import plain_numbers, ticks_by_factors
from stillroot.pictures.words import along_text, key_label, number_text, value_text
from stillroot.studies.bounds import OUT_OF_BALANCE_UM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.studies.bounds import Answer, Bounds


COLUMNS = 2
PANEL_IN, APART_IN, ROW_IN = 2.95, 0.85, 2.95
HEIGHT_IN = 1.9


def bounds_pictures(bounds: Bounds) -> tuple[Picture, ...]:
    """Return one picture with a panel for each question; none without questions."""
    if not bounds.answers:
        return ()
    rows = -(-len(bounds.answers) // COLUMNS)
    message = _message(bounds)
    title, lower_in = bounds.case.title, ROW_IN * (rows - 1)
    sheet = blank_sheet(message, title, tall_in=HEIGHT_IN, foot_in=1.35 + lower_in, head_in=1.45)
    for place, answer in enumerate(bounds.answers):
        row, column = divmod(place, COLUMNS)
        left, bottom = 0.85 + column * (PANEL_IN + APART_IN), sheet.foot_in - row * ROW_IN
        ax = sheet.axes(left, PANEL_IN, bottom=bottom)
        _panel(ax, bounds, answer)
        if column == 0:
            ax.set_ylabel("peak micromotion [µm]")
    sheet.note(*_note(bounds))
    alt = f"{message}. {' '.join(_alt_of(bounds, answer) for answer in bounds.answers)}"
    return (sheet.picture("bounds", alt),)


def _panel(ax: Axes, bounds: Bounds, answer: Answer) -> None:
    question, limit = answer.question, bounds.below_um
    x, peaks = np.array(answer.tried).T
    known = peaks < OUT_OF_BALANCE_UM
    shown = [limit, *peaks[known]]
    low, high = 0.5 * min(shown), 2.5 * max(shown)
    ax.set_yscale("log")
    if question.log:
        ax.set_xscale("log")
    ax.axhspan(limit, high, facecolor="0.86", edgecolor="none", zorder=0)
    ax.axhline(limit, color="black", linewidth=1.4, linestyle=(0, (5, 2)), zorder=3)
    ax.plot(x[known], peaks[known], color="0.25", linewidth=1.3, zorder=3)
    ax.plot(x[known], peaks[known], "o", mfc="white", mec="black", markersize=5, zorder=4)
    lost: Style = {"color": "black", "markersize": 7, "clip_on": False, "zorder": 5}
    ax.plot(x[~known], np.full(int((~known).sum()), high), "^", **lost)
    if answer.value is not None and answer.peak_um is not None:
        ax.plot([answer.value] * 2, [low, answer.peak_um], color="black", linewidth=1.2, zorder=3)
        ax.plot(answer.value, answer.peak_um, "D", color="black", markersize=8, zorder=6)
    ax.set(ylim=(low, high), xlabel=key_label(question.key))
    # The limit's name stands at the end that is farther from where the curve crosses it.
    crossing = question.high if answer.value is None else answer.value
    ends = (question.low, crossing, question.high)
    before, after = np.diff(np.log(ends) if question.log else ends)
    left = before > after
    write_off(
        ax,
        (0.0 if left else 1.0, limit),
        (4 if left else -4, 2),
        f"{number_text(limit)} µm",
        xycoords=ax.get_yaxis_transform(),
        fontsize=SMALL_PT,
        bbox=BESIDE | {"pad": 0.3},
        zorder=5,
    )
    plain_numbers(ax.yaxis, ticks_by_factors(low, high))
    plain_numbers(ax.xaxis, ticks_by_factors(question.low, question.high) if question.log else None)
    ax.set_title(_found(answer), fontsize=TEXT_PT, fontweight="bold", loc="left", pad=6)


def _found(answer: Answer) -> str:
    """Say what was found, in a few words."""
    question = answer.question
    if answer.value is None:
        nothing = "below only in part" if answer.below_in_part else "always above"
        whole = "always below" if answer.below_everywhere else nothing
        return f"{question.name}: {whole}"
    side = "or less" if question.grows else "or more"
    return f"{question.name}: {value_text(question.key, answer.value)} {side}"


def _message(bounds: Bounds) -> str:
    """Say what was found for each question; each is a change by itself."""
    sure = "" if bounds.confidence is None else f" in {100 * bounds.confidence:g} % of samples"
    told = []
    for answer in bounds.answers:
        any_or_no = "any" if answer.below_everywhere else "no"
        told.append(
            f"{any_or_no} {answer.question.name} in range"
            if answer.value is None
            else _found(answer).replace(": ", " ", 1)
        )
    alone = "one change at a time" if len(told) > 1 else "all else as stated"
    return f"Peak at most {number_text(bounds.below_um)} µm{sure}, {alone}: {'; '.join(told)}"


def _note(bounds: Bounds) -> list[str]:
    peak = "the peak"
    if bounds.confidence is not None:
        peak += f" that {100 * bounds.confidence:g} % of {bounds.samples} samples do not exceed"
    told = [f"Circles: {peak}, at each value tried. Grey: above the limit. Diamond: the value found."]
    if any(peak >= OUT_OF_BALANCE_UM for a in bounds.answers for _, peak in a.tried):
        told.append("Triangles at the upper edge: no answer, counted as the largest motion.")
    astray = [answer.question.name for answer in bounds.answers if not answer.monotone]
    if astray:
        told.append(f"Motion neither rises nor falls throughout with {' and '.join(astray)}.")
    return told


def _alt_of(bounds: Bounds, answer: Answer) -> str:
    x, peaks = np.array(answer.tried).T
    known = np.where(peaks < OUT_OF_BALANCE_UM, peaks, np.nan)
    tried = along_text(answer.question.key, x, known)
    threads = answer.engaged_threads
    engaged = "" if threads is None else f" ({number_text(threads)} engaged threads)"
    return f"Limit {number_text(bounds.below_um)} µm, {_found(answer)}{engaged}. Tried: {tried}."

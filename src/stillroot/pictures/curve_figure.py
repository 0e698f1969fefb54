"""How the motion grows with the load, beside bone that never yields, and what of it remains."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import MaxNLocator

from stillroot.answers.result import peak_text
from stillroot.answers.summary import OUT_OF_SEAT_UM
from stillroot.answers.wording import rounded
from stillroot.pictures.labels import BESIDE, point_out, write_in, write_off
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.scales import motion_axis
from stillroot.pictures.wall import DASHES
from stillroot.pictures.words import (
    given_way_text,
    percent,
    picture_name,
    quoted_name,
    um_text,
    under_text,
    whole_text,
)
from stillroot.units import NMM_PER_NCM
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult, Curve, LoadAnswer


YIELDS, LINEAR = "bone that yields", "bone that never yields"
NAME_SHARE = 0.2
"""Of the load: the width of a name beside a curve."""
ALIKE, FACTOR = 0.05, 1.5
"""Motions that differ by less are told as alike; from where on, as a factor. Taste."""
RIGHT, ROOM = 1.06, 1.25
"""Ends of the axes: of the load, and of the largest motion drawn."""
TICKS = 4
"""The least on the axis of motion: with fewer bands, round numbers take their place."""
TEXT_SHARE = 0.36
"""Of the load: about how wide the text of what remains is."""


def curve(result: CheckResult, answer: LoadAnswer) -> Picture | None:
    """Draw the peak as the load grows, that of linear bone beside it, and what remains.

    None where there is no curve: nothing acts, or the answer is a first one.
    """
    if not answer.curves or len(answer.curves[0].shares) < 2:
        return None
    message = _message(answer)
    sheet = blank_sheet(message, result.case.title, tall_in=4.1, foot_in=1.3, head_in=1.6)
    ax = sheet.axes(0.85, WIDTH_IN - 2.1)
    end = _end_um(answer)
    motion_axis(ax, result.case.threshold.bands_um, end, up=True)
    if len(ax.get_yticks()) < TICKS:
        ax.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    _draw_curves(ax, answer.curves, end)
    if answer.gives_way_at is None:
        _mark_answer(ax, answer)
    else:
        _mark_end(ax, answer.gives_way_at, end)
    _lay_out_load(ax, answer)
    sheet.note(_note(answer, end))
    return sheet.picture(picture_name(result, answer, "curve"), f"{message}. {_alt(answer)}")


def _end_um(answer: LoadAnswer) -> float:
    """Return the end of the axis of motion."""
    most = max(float(curve.peak_um.max()) for curve in answer.curves)
    if answer.gives_way_at is not None:
        rest = (float(curve.peak_um.max()) for curve in answer.curves[1:])
        return ROOM * min(most, max(OUT_OF_SEAT_UM, *rest, 0.0))
    tops = [cycle.peak_um for cycle in answer.cycles]
    return ROOM * max(most, answer.peak.total_um + answer.error.total_um, *tops)


def _draw_curves(ax: Axes, curves: Sequence[Curve], end: float) -> None:
    """Draw the curves with a mark at each load that was solved, each with its name at it."""
    looks: tuple[Style, ...] = (
        {"linestyle": "-", "marker": "o", "mfc": "black", "linewidth": 2.0},
        {"linestyle": DASHES, "marker": "s", "mfc": "white", "linewidth": 1.5},
    )
    for line, look in zip(curves, looks, strict=False):
        ax.plot(line.shares, line.peak_um, color="black", markersize=4.5, zorder=4, **look)
    if len(curves) < len(looks):
        return
    bone, linear = curves
    below: Style = {"bbox": BESIDE, "zorder": 6}
    if _times(bone, linear) < FACTOR:  # too close to each other for a name at each
        both = f"solid: {YIELDS}\ndashed: {LINEAR}"
        write_off(ax, _place_on(linear, 0.62, end), (6, -5), both, **below)
        return
    write_off(ax, _place_on(bone, 0.84, end), (-8, 3), YIELDS, **below)
    wall, clear = float(bone.shares[-1]), 0.66
    if clear < wall < clear + NAME_SHARE:
        clear -= NAME_SHARE
    write_off(ax, _place_on(linear, clear, end), (6, -5), LINEAR.replace("that ", "that\n"), **below)


def _place_on(line: Curve, share: float, end: float) -> tuple[float, float]:
    """Return a place on a curve, at a share of what is seen of it."""
    rising = np.linspace(0, float(line.shares[-1]), 400)
    seen = rising[np.interp(rising, line.shares, line.peak_um) <= 0.9 * end]
    x = share * float(seen[-1])
    return x, float(np.interp(x, line.shares, line.peak_um))


def _mark_answer(ax: Axes, answer: LoadAnswer) -> None:
    """Mark the peak with its ±, and what remains once the load is off, the last time."""
    peak, error = answer.peak.total_um, answer.error.total_um
    bar: Style = {"capsize": 5.5, "elinewidth": 2.6, "capthick": 1.6, "zorder": 5}
    ax.errorbar(1.0, peak, yerr=error, fmt="o", color="black", markersize=8, **bar)
    write_off(ax, (1.0, peak + error), (-9, 3), f"peak {peak_text(answer)}", bold=True, bbox=BESIDE)
    last = answer.remaining
    if last is None:
        return
    left, dotted = last.remaining_peak_um, (0, (1, 2))
    ax.plot([1.0, 0.0], [last.peak_um, left], color="black", linewidth=1.4, linestyle=dotted, zorder=3)
    ax.plot(0.0, left, "D", markersize=8, mfc="white", mec="black", mew=1.6, zorder=7, clip_on=False)
    # Above the dotted line where the text ends, so that the two do not meet.
    place = (0.03, left + TEXT_SHARE * (last.peak_um - left) + 0.05 * ax.get_ylim()[1])
    point_out(ax, (0.0, left), place, f"{_remains(answer)}\nwith the load off", 1, bold=True, away=6)


def _mark_end(ax: Axes, share: float, end: float) -> None:
    """Draw the load that the implant bears at most as a wall, with nothing beyond it."""
    hatched: Style = {"facecolor": "white", "edgecolor": "0.55", "hatch": "\\\\\\\\", "linewidth": 0.0}
    ax.axvspan(share, max(RIGHT, share + 0.08), zorder=2, **hatched)
    ax.axvline(share, color="black", linewidth=3.0, zorder=5)
    upright: Style = {"rotation": 90, "va": "center", "ha": "left"}
    write_in(ax, (share + 0.015, 0.68 * end), given_way_text(share), bold=True, **upright)


def _lay_out_load(ax: Axes, answer: LoadAnswer) -> None:
    """Lay the load out in per cent below, and in its unit above."""
    load = answer.resultant
    force = float(np.hypot(load.axial_n, load.lateral_n))
    size, label = (
        (force, "force [N]") if force else (abs(load.torque_nmm) / NMM_PER_NCM, "torque [N·cm]")
    )
    if force and load.torque_nmm:
        label += ", and the torque with it"
    right = max(RIGHT, (answer.gives_way_at or 0.0) + 0.08)
    ticks = np.arange(0, 1.01, 0.2)
    ax.set(xlim=(0, right), xticks=ticks, xticklabels=[f"{100 * tick:.0f}" for tick in ticks])
    ax.set(xlabel="load applied [% of the whole]", ylabel="peak micromotion [µm]")
    above = ax.twiny()
    above.set(xlim=(0, size * right))
    above.set_xlabel(label, fontsize=TEXT_PT)
    above.xaxis.set_major_locator(MaxNLocator(6))
    above.tick_params(labelsize=SMALL_PT + 0.5)


def _times(bone: Curve, linear: Curve) -> float:
    """Return how many times as far as with linear bone the wall moves, at the largest load of both."""
    share = min(float(bone.shares[-1]), float(linear.shares[-1]))
    moved = [float(np.interp(share, line.shares, line.peak_um)) for line in (bone, linear)]
    return moved[0] / moved[1]


def _remains(answer: LoadAnswer) -> str:
    """Return what remains once the load is off, the last time."""
    often = f" after {len(answer.cycles)} times" if len(answer.cycles) > 1 else ""
    return f"{rounded(answer.cycles[-1].remaining_peak_um)}\N{NO-BREAK SPACE}µm remain{often}"


def _message(answer: LoadAnswer) -> str:
    """Say what yield does to the motion and what remains, or at which load the implant gives way."""
    name, several = quoted_name(answer.name), len(answer.curves) > 1
    if answer.gives_way_at is not None:
        told = f"The implant gives way at {whole_text(percent(answer.gives_way_at))} of {name}"
        if several and (share := float(answer.curves[1].shares[-1])) < 1:
            return f"{told}; in {LINEAR}, at {whole_text(percent(share))}"
        moves = f"moves {whole_text(um_text(float(answer.curves[1].peak_um[-1])))}" if several else ""
        return f"{told}; in {LINEAR} it bears all of it and {moves}" if several else told
    left = f"; {_remains(answer)}" if answer.cycles else ""
    if not several:
        return f"{under_text(answer)} the motion grows to {whole_text(peak_text(answer))}{left}"
    times = _times(*answer.curves)
    if abs(times - 1) < ALIKE:
        return f"{under_text(answer)} the wall moves hardly farther than in {LINEAR}{left}"
    farther = (
        f"{whole_text(percent(times - 1))} farther than"
        if 1 < times < FACTOR
        else (f"{times:.1f} times as far as")
    )
    return f"{under_text(answer)} the wall moves {farther} in {LINEAR}{left}"


def _note(answer: LoadAnswer, end: float) -> str:
    told = ["Small marks: each load that was solved"]
    if answer.gives_way_at is None:
        told[0] += ", on the coarser elements that the ± comes from; dot with bar: the answer and its ±"
        if answer.cycles:
            told.append(
                "Dotted: the load is taken off; only the ends are solved, and friction holds a part"
            )
    elif float(answer.curves[0].peak_um.max()) > end:
        most = whole_text(um_text(float(answer.curves[0].peak_um[-1])))
        told.append(f"The curve goes on to {most}, where small motions no longer apply")
    return f"{'. '.join(told)}."


def _alt(answer: LoadAnswer) -> str:
    """Return the curves in figures."""
    shown = []
    for name, line in zip((YIELDS, LINEAR), answer.curves, strict=False):
        solved = {float(x): float(y) for x, y in zip(line.shares, line.peak_um, strict=True)}
        points = (f"{percent(x)}: {um_text(y)}" for x, y in solved.items() if x)
        shown.append(f"{name}: {', '.join(points)}" if len(answer.curves) > 1 else ", ".join(points))
    return (
        f"Peak micromotion as the load grows to {load_text(answer.resultant, lines=1)}, against the "
        f"bands. {'; '.join(shown)}."
    )

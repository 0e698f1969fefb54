"""The interface unrolled, depth against angle: micromotion, and what sticks, slips and is open."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import ListedColormap, Normalize
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from stillroot.answers.result import peak_text
from stillroot.answers.summary import place_of
from stillroot.mechanics.torque import crushed
from stillroot.mechanics.wall_surface import OPEN, SLIP, STICK, states
from stillroot.pictures.labels import BESIDE, CRUSHED, hatch_crushed, ring, write_off
from stillroot.pictures.paper import DPI, MOTION, SMALL_PT, TEXT_PT, Picture, blank_sheet
from stillroot.pictures.scales import edged, motion_strip, scale_um
from stillroot.pictures.wall import UnrolledWall, draw_profile, frame_panel, unrolled_wall
from stillroot.pictures.words import (
    marked_peak,
    peak_words,
    percent,
    picture_name,
    quoted_name,
    under_text,
    whole_text,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.arrays import Floats, Ints
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.resultant import Resultant


STATES = {"stick": (STICK, "0.93", 0.0), "slip": (SLIP, "0.60", 0.36), "open": (OPEN, "0.15", 0.70)}
"""Code and grey of each state, and where its key begins, of the panel's width."""
GREYS = ListedColormap([grey for _, grey, _ in sorted(STATES.values())])


def unrolled(result: CheckResult, answer: LoadAnswer) -> Picture:
    """Draw the interface rolled out flat: micromotion, and where it sticks, slips or is open.

    Downwards runs the length along the wall, flanks and end face included, with the depth at the ticks.
    """
    wall, bands = unrolled_wall(result), result.case.threshold.bands_um
    share = answer.micromotion.share_above(bands[0])
    part = f"{whole_text(percent(share))} of the" if share else "No part of the"
    more = f"held wall moves more than {bands[0]:g}\N{NO-BREAK SPACE}µm"
    peak = f"the peak is {whole_text(peak_text(answer))}"
    message = f"{part} {more} under {quoted_name(answer.name)}; {peak}"
    if answer.gives_way_at is not None:
        message = f"{under_text(answer)} {part[0].lower()}{part[1:]} {more}"
    sheet = blank_sheet(message, result.case.title, tall_in=4.45, foot_in=1.62, head_in=1.38)
    draw_profile(sheet.axes(0.72, 0.62), result.case, wall)
    motion, state = sheet.axes(1.46, 2.95), sheet.axes(4.83, 2.92)
    _draw_map(motion, result, answer, wall)
    _draw_state(state, result, answer, wall)
    for ax in (motion, state):
        frame_panel(ax, result.case, wall, (-180.0, 180.0))
        ax.set(xticks=np.arange(-180, 181, 90), xlabel=_angle_label(answer.resultant))
    strip, scale = sheet.axes(1.46, 2.95, bottom=0.78, height=0.14), Normalize(0, scale_um(result))
    motion_strip(strip, bands, scale, "micromotion [µm]; thick lines are the bands")
    if beside := _crushed_in_words(answer):
        told = f"hatched: {beside}".replace(", ", ",\n")
        sheet.write((4.83, 0.8), told, va="center", fontsize=TEXT_PT)
    return sheet.picture(picture_name(result, answer, "unrolled"), _alt(result, answer))


def _draw_map(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: UnrolledWall) -> None:
    bands, peak = result.case.threshold.bands_um, answer.peak.total_um
    degrees, total = _centred(answer.micromotion.angles, answer.micromotion.total_um)
    between = MaxNLocator(4, steps=[1, 2, 5, 10]).tick_values(0, peak)
    finer = [v for v in between if 0 < v < peak and v not in bands] if peak < bands[0] else []
    for run in wall.runs:
        rows = np.append(run[:, :2].ravel(), run[-1, 2])
        at, values = wall.at[rows], total[rows]
        field = ax.pcolormesh(degrees, at, values, shading="gouraud", cmap=MOTION, rasterized=True)
        field.set_clim(0, scale_um(result))
        for levels, width in ((bands, 1.8), (finer, 0.9)):
            crossed = [v for v in levels if values.min() < v < values.max()]
            if crossed:
                lines = ax.contour(degrees, at, values, levels=crossed, colors="white")
                lines.set(linewidths=width, path_effects=edged(width + 1.0))
                ax.clabel(lines, fmt="%g", fontsize=SMALL_PT, colors="white", inline=False)
    _thin_out(ax)
    ax.set_title("micromotion [µm]", fontsize=TEXT_PT, pad=6)
    _mark_peak(ax, answer, wall)


def _thin_out(ax: Axes) -> None:
    """Leave out contour labels that run into one already there or say the same a third time."""
    apart_px = 3.2 * SMALL_PT / 72 * DPI
    kept: list[tuple[str, Floats]] = []
    for text in list(ax.texts):
        word, at = text.get_text(), ax.transData.transform(text.get_position())
        close = any(np.hypot(*(at - other)) < apart_px for _, other in kept)
        if close or sum(word == other for other, _ in kept) >= 2:
            text.remove()
            continue
        text.set_path_effects(edged(2.4))
        kept.append((word, at))


def _mark_peak(ax: Axes, answer: LoadAnswer, wall: UnrolledWall) -> None:
    motion, peak = answer.micromotion, answer.peak
    largest = np.where(motion.held, motion.total_um.max(axis=1), -1.0)
    y = float(wall.at[int(np.argmax(largest))])
    x = 0.0 if peak.all_round else (peak.angle_deg + 180) % 360 - 180
    for place in {x, -x} if abs(x) > 179.9 else {x}:
        ring(ax, place, y)
    right = -180 < x <= -90 or abs(x) > 179.9
    shift = 9.0 if right else -9.0 if x >= 90 else 0.0
    text = marked_peak(answer) + (", all round" if peak.all_round else "")
    off = (shift, 11.0 if y > 0.5 * wall.length else -11.0)
    write_off(ax, (-180.0 if right else x, y), off, text, bold=True, bbox=BESIDE, zorder=8)


def _draw_state(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: UnrolledWall) -> None:
    degrees, whole = _all_round(answer.state.fourier, states(answer.state.tractions))
    for run in wall.runs:
        tops, ends, _ = _cells(wall, run)
        rows = np.append(tops, ends[-1])
        field = ax.pcolormesh(degrees, rows, whole[run.ravel()], cmap=GREYS, rasterized=True)
        field.set_clim(-0.5, 2.5)
    _hatch_crushed(ax, result, answer, wall)
    bonded = result.case.interface.kind == "bonded"
    shares = state_shares(result, answer)
    for word, (_, grey, place) in STATES.items():
        if bonded and word != "stick":
            continue
        box = Rectangle((place, 1.018), 0.05, 0.036, transform=ax.transAxes, clip_on=False)
        box.set(facecolor=grey, edgecolor="black", linewidth=0.8)
        ax.add_patch(box)
        text = f"{'bonded' if bonded else word} {percent(shares[word])}"
        ax.text(place + 0.065, 1.036, text, transform=ax.transAxes, va="center", fontsize=TEXT_PT)


def _cells(wall: UnrolledWall, run: Ints) -> tuple[Floats, Floats, Ints]:
    """Return where the cell of each point of a run begins and ends, and the points.

    Heights of the cells are the weights of the Lobatto points: ends 1/6, middle 4/6.
    """
    first, last = wall.at[run[:, 0]], wall.at[run[:, 2]]
    bounds = first[:, None] + (last - first)[:, None] * np.array([0, 1, 5, 6]) / 6
    return bounds[:, :-1].ravel(), bounds[:, 1:].ravel(), run.ravel()


def _hatch_crushed(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: UnrolledWall) -> None:
    """Hatch the wall beside crushed bone: white where it is open, since that is dark."""
    if answer.state.bone is None:
        return
    beside = crushed(result.seated, answer.state)
    is_open = ~answer.state.tractions.closed
    for colour, codes in (("white", beside & is_open), ("black", beside & ~is_open)):
        bounds, whole = _all_round(answer.state.fourier, codes.astype(np.int64))
        cells = [
            [(bounds[a], low), (bounds[a + 1], low), (bounds[a + 1], high), (bounds[a], high)]
            for run in wall.runs
            for low, high, row in zip(*_cells(wall, run), strict=True)
            for a in np.flatnonzero(whole[row])
        ]
        hatch_crushed(ax, np.array(cells), colour=colour, zorder=3)


def _crushed_in_words(answer: LoadAnswer) -> str:
    """Return on how much of the wall the bone beside is crushed, empty if on none."""
    if answer.state.bone is None or not answer.share_over_crush:
        return ""
    return f"beside {CRUSHED}, {percent(answer.share_over_crush)} of the wall"


def state_shares(result: CheckResult, answer: LoadAnswer) -> dict[str, float]:
    """Return the shares of the held area that "stick", "slip" and are "open" under the full load."""
    t, layer = answer.state.tractions, result.seated.layer
    area = np.where(layer.held, layer.weight_mm2, 0.0)[:, None]
    whole = float(area.sum()) * t.closed.shape[1]
    parts = {"stick": t.closed & ~t.sliding, "slip": t.closed & t.sliding, "open": ~t.closed}
    return {name: float(np.sum(area * here)) / whole for name, here in parts.items()}


def _angle_label(load: Resultant) -> str:
    if not load.lateral_n:
        return "angle [°]"
    return f"angle [°]; the load points to {'0' if load.lateral_n > 0 else '±180'}"


def _centred(angles: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return degrees (a + 1,) from -180 to 180 and the values (p, a + 1) there."""
    signed = (np.degrees(angles) + 180) % 360 - 180
    order = np.argsort(signed)
    degrees = np.append(signed[order], signed[order[0]] + 360)
    return degrees, np.concatenate([values[:, order], values[:, order[:1]]], axis=1)


def _all_round(fourier: Fourier, codes: Ints) -> tuple[Floats, Ints]:
    """Return bounds (a + 1,) from -180 to 180° and the codes (p, a) between them."""
    count = codes.shape[1]
    if count == 1:
        return np.array([-180.0, 180.0]), codes
    if fourier.twin:
        return np.linspace(-180, 180, count + 1), np.roll(codes, count // 2, axis=1)
    mirrored = np.concatenate([codes[:, ::-1], codes], axis=1)
    return np.linspace(-180, 180, 2 * count + 1), mirrored


def _alt(result: CheckResult, answer: LoadAnswer) -> str:
    beside = _crushed_in_words(answer)
    load = "under the full load" if answer.gives_way_at is None else "there"
    shares = ", ".join(f"{k} {percent(v)}" for k, v in state_shares(result, answer).items())
    above = ", ".join(
        f"{percent(answer.micromotion.share_above(band))} above {band:g} µm"
        for band in result.case.threshold.bands_um
    )
    return (
        "The interface rolled out flat: angle across, depth below the crest downwards. "
        f"{under_text(answer)} its micromotion (left) is largest, {peak_words(answer)}, "
        f"{place_of(answer)}; of the held surface {above}. Right: state {load}, by area: {shares}"
        f"{beside and f'; hatched: {beside}'}."
    )

"""The interface unrolled, depth against angle: micromotion, and what sticks, slips and is open."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import ListedColormap
from matplotlib.patches import Rectangle
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.ticker import MaxNLocator

from stillroot.answers.summary import place_of
from stillroot.mechanics.wall_surface import OPEN, SLIP, STICK, states
from stillroot.pictures.drawing import (
    BESIDE,
    DPI,
    MOTION,
    SMALL_PT,
    TEXT_PT,
    Picture,
    UnrolledWall,
    axes_at,
    band_ticks,
    blank_figure,
    gap_text,
    peak_text,
    picture_name,
    plain_axes,
    quoted_name,
    scale_um,
    signed_deg,
    unrolled_wall,
    whole_text,
    write_headings,
    write_in,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stillroot.answers.answer import CheckResult, LoadAnswer
    from stillroot.inputs.case import Case
    from stillroot.mechanics.fourier import Fourier
    from stillroot.mechanics.resultant import Resultant
    from stillroot.pictures.drawing import Floats, Style


STATE_GREYS = ("0.15", "0.93", "0.60")
"""Greys of open, stick and slip."""


def unrolled(result: CheckResult, answer: LoadAnswer) -> Picture:
    """Draw the interface rolled out flat: micromotion, and where it sticks, slips or is open.

    Downwards runs the length along the wall, flanks and end face included, with the depth at the ticks.
    """
    figure = blank_figure(7.45)
    wall = unrolled_wall(result)
    size = {"bottom": 1.62, "height": 4.45}
    profile = axes_at(figure, left=0.72, width=0.62, **size)
    motion = axes_at(figure, left=1.46, width=2.95, **size)
    state = axes_at(figure, left=4.83, width=2.92, **size)
    draw_profile(profile, result.case, wall)
    _draw_map(motion, result, answer, wall)
    _draw_state(state, result, answer, wall)
    for ax in (motion, state):
        _frame_map(ax, result.case, answer, wall)
    bar = axes_at(figure, left=1.46, bottom=0.78, width=2.95, height=0.14)
    _draw_colour_bar(bar, result)
    band = result.case.threshold.bands_um[0]
    share = answer.micromotion.share_above(band)
    part = f"{whole_text(_percent(share))} of the" if share else "No part of the"
    message = (
        f"{part} held wall moves more than {band:g}\N{NO-BREAK SPACE}µm under "
        f"{quoted_name(answer.name)}; the peak is {whole_text(peak_text(answer))}"
    )
    headings = write_headings(figure, message, result.case.title)
    alt = _unrolled_alt(result, answer)
    return Picture(
        name=picture_name(result, answer, "unrolled"),
        figure=figure,
        alt=alt,
        message=message,
        headings=headings,
    )


def draw_profile(ax: Axes, case: Case, wall: UnrolledWall) -> None:
    """Draw the radius along the wall, so that threads and end face are known in the maps."""
    look: Style = {"facecolor": "0.985", "edgecolor": "0.15", "linewidth": 1.0}
    ax.fill_betweenx(wall.corner_at, wall.corners_mm[:, 0], 0, **look)
    step = max(1, round(case.implant.length_mm / 6))
    depths = np.arange(0, case.implant.length_mm + 1e-6, step)
    ax.set(
        xlim=(0, 1.1 * float(wall.corners_mm[:, 0].max())),
        ylim=(wall.corner_at[-1], 0),
        yticks=wall.at_depth(depths),
        yticklabels=[f"{depth:g}" for depth in depths],
        xticks=[],
        ylabel="depth below the crest [mm], along the wall",
    )
    ax.set_title("wall", fontsize=TEXT_PT, pad=6)
    if wall.has_end_face:
        ax.axhline(wall.rim, color="black", linewidth=1.0, linestyle=(0, (4, 2)))
        corner: Style = {"ha": "right", "va": "bottom", "transform": ax.transAxes}
        ax.text(1.06, 0.005, "end\nface", fontsize=SMALL_PT, **corner)
    plain_axes(ax)
    for spine in ("top", "right", "bottom"):
        ax.spines[spine].set_visible(False)


def _draw_map(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: UnrolledWall) -> None:
    scale, bands = scale_um(result), result.case.threshold.bands_um
    peak = answer.peak.total_um
    degrees, total = _centred(answer.micromotion.angles, answer.micromotion.total_um)
    between = MaxNLocator(4, steps=[1, 2, 5, 10]).tick_values(0, peak)
    finer = [v for v in between if 0 < v < peak and v not in bands] if peak < bands[0] else []
    for run in wall.runs:
        rows = np.append(run[:, :2].ravel(), run[-1, 2])
        at, values = wall.at[rows], total[rows]
        field = ax.pcolormesh(degrees, at, values, shading="gouraud", cmap=MOTION, rasterized=True)
        field.set_clim(0, scale)
        for levels, width in ((list(bands), 1.8), (finer, 0.9)):
            crossed = [v for v in levels if values.min() < v < values.max()]
            if crossed:
                lines = ax.contour(degrees, at, values, levels=crossed, colors="white")
                lines.set(linewidths=width, path_effects=_edged(width + 1.0))
                ax.clabel(lines, fmt="%g", fontsize=SMALL_PT, colors="white", inline=False)
    _thin_out(ax)
    ax.set_title("micromotion [µm]", fontsize=TEXT_PT, pad=6)
    _mark_peak_on_map(ax, answer, wall)


def _edged(width: float) -> list[AbstractPathEffect]:
    return [withStroke(linewidth=width, foreground="black")]


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
        text.set_path_effects(_edged(2.4))
        kept.append((word, at))


def _mark_peak_on_map(ax: Axes, answer: LoadAnswer, wall: UnrolledWall) -> None:
    motion = answer.micromotion
    largest = np.where(motion.held, motion.total_um.max(axis=1), -1.0)
    y = float(wall.at[int(np.argmax(largest))])
    x = 0.0 if answer.peak.all_round else signed_deg(answer.peak.angle_deg)
    for place in {x, -x} if abs(x) > 179.9 else {x}:
        ring: Style = {"markersize": 12, "mfc": "none", "clip_on": False, "zorder": 7}
        ax.plot(place, y, "o", mec="white", mew=4.0, **ring)
        ax.plot(place, y, "o", mec="black", mew=1.7, **ring)
    upper = y > 0.5 * wall.corner_at[-1]
    right = -180 < x <= -90 or abs(x) > 179.9
    align = "left" if right else ("right" if x >= 90 else "center")
    text = f"peak {peak_text(answer)}" + (", all round" if answer.peak.all_round else "")
    shift = 9.0 if right else (-9.0 if align == "right" else 0.0)
    start = -180.0 if right else x
    ax.annotate(
        text,
        (start, y),
        (shift, 11 if upper else -11),
        textcoords="offset points",
        ha=align,
        va="bottom" if upper else "top",
        fontsize=TEXT_PT,
        fontweight="bold",
        bbox=BESIDE,
        zorder=8,
    )


def _draw_state(ax: Axes, result: CheckResult, answer: LoadAnswer, wall: UnrolledWall) -> None:
    degrees, whole = _all_round(answer.state.fourier, states(answer.state.tractions))
    for run in wall.runs:
        first, last = wall.at[run[:, 0]], wall.at[run[:, 2]]
        # Heights of the cells are the weights of the Lobatto points: ends 1/6, middle 4/6.
        bounds = (first[:, None] + (last - first)[:, None] * np.array([0, 1, 5]) / 6).ravel()
        rows = np.append(bounds, last[-1])
        greys = ListedColormap(STATE_GREYS)
        field = ax.pcolormesh(degrees, rows, whole[run.ravel()], cmap=greys, rasterized=True)
        field.set_clim(-0.5, 2.5)
    _key_of_states(ax, state_shares(result, answer), result.case.interface.kind == "bonded")


def state_shares(result: CheckResult, answer: LoadAnswer) -> dict[str, float]:
    """Return the shares of the held area that "stick", "slip" and are "open" under the full load."""
    t, layer = answer.state.tractions, result.seated.layer
    area = np.where(layer.held, layer.weight_mm2, 0.0)[:, None]
    whole = float(area.sum()) * t.closed.shape[1]
    parts = {"stick": t.closed & ~t.sliding, "slip": t.closed & t.sliding, "open": ~t.closed}
    return {name: float(np.sum(area * here)) / whole for name, here in parts.items()}


def _key_of_states(ax: Axes, shares: dict[str, float], bonded: bool) -> None:
    """Write the three states with their shares above the panel, each behind its grey."""
    keys = ((0.0, STICK, "stick"), (0.36, SLIP, "slip"), (0.70, OPEN, "open"))
    for place, code, word in keys[:1] if bonded else keys:
        box = Rectangle((place, 1.018), 0.05, 0.036, transform=ax.transAxes, clip_on=False)
        box.set(facecolor=STATE_GREYS[code], edgecolor="black", linewidth=0.8)
        ax.add_patch(box)
        name = "bonded" if bonded and code == STICK else word
        text = f"{name} {_percent(shares[word])}"
        ax.text(place + 0.065, 1.036, text, transform=ax.transAxes, va="center", fontsize=TEXT_PT)


def _frame_map(ax: Axes, case: Case, answer: LoadAnswer, wall: UnrolledWall) -> None:
    length = float(wall.corner_at[-1])
    for top, bottom in wall.gaps:
        hatched: Style = {"facecolor": "white", "edgecolor": "0.7", "hatch": "////", "linewidth": 0.0}
        ax.axhspan(top, bottom, zorder=2, **hatched)
        if bottom - top > 0.05 * length:
            place = (0.0, (top + bottom) / 2)
            write_in(ax, place, gap_text(case), ha="center", va="center", order=3)
    if wall.has_end_face:
        ax.axhline(wall.rim, color="black", linewidth=1.0, linestyle=(0, (4, 2)), zorder=4)
        ax.axhline(wall.rim, color="white", linewidth=2.2, zorder=3.9)
    ax.set(xlim=(-180, 180), ylim=(length, 0), xticks=np.arange(-180, 181, 90), yticks=[])
    ax.set_xlabel(_angle_label(answer.resultant))
    plain_axes(ax)


def _angle_label(load: Resultant) -> str:
    if load.lateral_n > 0:
        return "angle [°]; the load points to 0"
    return "angle [°]; the load points to ±180" if load.lateral_n < 0 else "angle [°]"


def _draw_colour_bar(ax: Axes, result: CheckResult) -> None:
    scale, bands = scale_um(result), result.case.threshold.bands_um
    shade = np.linspace(0, scale, 512)[None]
    ax.imshow(shade, cmap=MOTION, extent=(0, scale, 0, 1), aspect="auto")
    for band in bands:
        ax.axvline(band, color="white", linewidth=1.8)
    ax.set(yticks=[], xticks=band_ticks(bands, scale))
    ax.set_xlabel("micromotion [µm]; thick lines are the bands")
    plain_axes(ax)


def _centred(angles: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return degrees (a + 1,) from -180 to 180 and the values (p, a + 1) there."""
    signed = (np.degrees(angles) + 180) % 360 - 180
    order = np.argsort(signed)
    degrees = np.append(signed[order], signed[order[0]] + 360)
    return degrees, np.concatenate([values[:, order], values[:, order[:1]]], axis=1)


def _all_round(fourier: Fourier, codes: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """Return bounds (a + 1,) from -180 to 180° and the codes (p, a) between them."""
    count = codes.shape[1]
    if count == 1:
        return np.array([-180.0, 180.0]), codes
    if fourier.twin:
        return np.linspace(-180, 180, count + 1), np.roll(codes, count // 2, axis=1)
    mirrored = np.concatenate([codes[:, ::-1], codes], axis=1)
    return np.linspace(-180, 180, 2 * count + 1), mirrored


def _percent(share: float) -> str:
    """Return a share in per cent; a share that is not nothing never reads as nothing."""
    return "<1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"


def _unrolled_alt(result: CheckResult, answer: LoadAnswer) -> str:
    shares = ", ".join(f"{k} {_percent(v)}" for k, v in state_shares(result, answer).items())
    above = ", ".join(
        f"{_percent(answer.micromotion.share_above(band))} above {band:g} µm"
        for band in result.case.threshold.bands_um
    )
    return (
        f"The interface rolled out flat under “{answer.name}”: angle across, depth below the crest "
        f"downwards. Left: micromotion, peak {peak_text(answer)}, {place_of(answer)}; of the held "
        f"surface {above}. Right: state under the full load, by area: {shares}."
    )

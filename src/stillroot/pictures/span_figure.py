"""The arch from above: who takes how much of a load, and below it what each implant moves."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Circle

from stillroot.answers.wording import rounded
from stillroot.mechanics.six_directions import GIVES_WAY
from stillroot.pictures.labels import draw_arrow, hide_spines, name_rows, ring, write_in
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.scales import rows_over_bands
from stillroot.pictures.words import quoted_name, shortened
from stillroot.words.span_document import head_text, load_in_words, motion_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.arch.span import ImplantAnswer, SpanLoadAnswer, SpanResult
    from stillroot.arrays import Floats


LOWEST_IN, HIGHEST_IN = 2.6, 5.6
"""Height of the arch, by its shape."""
ROW_IN = 0.36
"""Height of a row of motions."""
ASIDE_MM, AHEAD_MM = 16.0, 9.0
"""Round the arch, for what is written beside the implants."""
LARGEST_DISC_MM, SMALLEST_DISC_MM = 4.0, 0.5
"""Radius of the disc of the largest axial force; its area is the force."""
LABEL_MM = 2.6
"""From a disc to what is written beside it."""
FORCE_LABEL_MM = 9.0
"""From where a force acts to what is written beside it."""
TILT_MM = 0.1
"""A head that stands less beside its crest is drawn upright."""
SIDEWAYS = 0.4
"""A label this far to a side begins or ends beside its place."""
ARROW_MM = 6.0
KEY = (
    "Area of a disc: force along the axis; dark presses in, hatched pulls out. \u2295 where the load "
    "acts. \u00d7 where a\ntilted implant enters the bone. Bar: 10 mm."
)
NO_FORCE_N = 0.5
PRESSED: Style = {"facecolor": "0.25", "edgecolor": "black"}
PULLED: Style = {"facecolor": "white", "edgecolor": "black", "hatch": "////"}


def arch_pictures(result: SpanResult) -> tuple[Picture, ...]:
    """Return a picture of the arch for each load."""
    return tuple(_arch_picture(result, k) for k in range(len(result.loads)))


def _arch_picture(result: SpanResult, k: int) -> Picture:
    answer, worst = result.loads[k], result.loads[k].governing
    message = (
        f"Under {quoted_name(answer.name)}, {quoted_name(worst.name)} moves most: "
        f"{motion_text(worst)} µm, {_share_text(worst)}"
    )
    low, high = _window(result, answer)
    width, (across, ahead) = WIDTH_IN - 0.4, high - low
    arch_in = float(np.clip(width * ahead / across, LOWEST_IN, HIGHEST_IN))
    rows_in = ROW_IN * len(answer.implants)
    sheet = blank_sheet(message, result.plan.title, tall_in=arch_in, foot_in=1.35 + rows_in)
    arch = sheet.axes(0.2, width)
    _draw_arch(arch, result, answer)
    grow = width / arch_in * ahead / across
    half = (high - low) / 2 * [max(grow, 1.0), max(1.0 / grow, 1.0)]
    left, foot = (low + high) / 2 - half
    arch.set(xlim=(left, left + 2 * half[0]), ylim=(foot, foot + 2 * half[1]))
    arch.plot([left + 1.5, left + 11.5], [foot + 1.5] * 2, color="black", linewidth=2.5)
    sheet.write((0.3, sheet.foot_in - 0.02), KEY, fontsize=SMALL_PT, va="top")
    _draw_motions(sheet.axes(2.3, WIDTH_IN - 4.4, bottom=0.75, height=rows_in), result, answer)
    slug = re.sub(r"[^a-z0-9]+", "-", answer.name.lower()).strip("-")[:40]
    return sheet.picture(f"arch-{k + 1}-{slug}".rstrip("-"), _alt(answer))


def _share_text(implant: ImplantAnswer) -> str:
    axial = implant.axial_n
    if abs(axial) < NO_FORCE_N:
        return "about 0 N along its axis"
    return f"{abs(axial):.0f} N {'pressing it in' if axial > 0 else 'pulling it out'}"


def _window(result: SpanResult, answer: SpanLoadAnswer) -> tuple[Floats, Floats]:
    """Return two corners (2,) of what is shown from above."""
    forces = [force.at_mm[None, :2] for force in answer.forces]
    crests = [placed.crest_mm[None, :2] for placed in result.plan.implants]
    points = np.vstack([result.plan.line.corners_mm[:, :2], *forces, *crests])
    margin = np.array([ASIDE_MM, AHEAD_MM])
    return points.min(axis=0) - margin, points.max(axis=0) + margin


def _draw_arch(ax: Axes, result: SpanResult, answer: SpanLoadAnswer) -> None:
    plan = result.plan
    line = plan.line.points(np.linspace(0.0, plan.line.length_mm, 129))[:, :2]
    corners = plan.line.corners_mm[:, :2]
    middle = line.mean(axis=0)
    largest = max(*(abs(i.axial_n) for i in answer.implants), NO_FORCE_N)
    ax.plot(*corners.T, color="0.82", linewidth=13, solid_capstyle="butt", zorder=1)
    ax.plot(*corners.T, color="0.55", linewidth=0.8, zorder=1.1)
    taken = [(point, 0.8) for point in line]
    pairs = zip(plan.implants, answer.implants, strict=True)
    for number, (placed, implant) in enumerate(pairs, start=1):
        head, foot = plan.head_mm(placed)[:2], placed.crest_mm[:2]
        if np.linalg.norm(head - foot) > TILT_MM:
            ax.plot(*np.stack([foot, head]).T, color="0.5", linewidth=1.6, linestyle=":", zorder=4)
            ax.plot(*foot, "x", color="white", markersize=9, mew=4.0, zorder=4)
            ax.plot(*foot, "x", color="black", markersize=7, mew=1.6, zorder=4.1)
        axial = implant.axial_n
        radius = max(LARGEST_DISC_MM * np.sqrt(abs(axial) / largest), SMALLEST_DISC_MM)
        look = PRESSED if axial >= 0 else PULLED
        ax.add_patch(Circle((head[0], head[1]), radius, zorder=3, linewidth=1.4, **look))
        away = head - middle
        away = away / max(float(np.linalg.norm(away)), 1e-9)
        label = head + away * (radius + LABEL_MM)
        told = f"{abs(axial):.0f} N {'in' if axial > 0 else 'out'}"
        _write(ax, label, away, f"{number}: {told if abs(axial) >= NO_FORCE_N else '0 N'}")
        taken += [(head, radius), (label + np.array([5.0 * np.sign(away[0]), 0.0]), 5.0)]
    for force in answer.forces:
        _draw_force(ax, force.at_mm[:2], force.force_n, taken)
    ax.axis("off")


def _write(ax: Axes, at: Floats, away: Floats, text: str) -> None:
    """Write a label at a place, to which `away` leads."""
    side = float(np.sign(away[0])) * bool(abs(away[0]) > SIDEWAYS)
    place = (float(at[0]), float(at[1]))
    write_in(ax, place, text, side, bold=True, fontsize=TEXT_PT + 1, zorder=6)


def _draw_force(ax: Axes, at: Floats, force: Floats, taken: list[tuple[Floats, float]]) -> None:
    """Mark where a force acts: a target, an arrow for its level part, its size where there is room."""
    ring(ax, *at, size=15)
    ax.plot(*at, "+", markersize=15, color="black", mew=2, zorder=7)
    down, level = -float(force[2]), force[:2]
    size = float(np.linalg.norm(level))
    told = []
    if abs(down) >= NO_FORCE_N:
        told.append(f"{abs(down):.0f} N {'down' if down > 0 else 'up'}")
    if size >= NO_FORCE_N:
        told.append(f"{size:.0f} N sideways")
        end = at + ARROW_MM * level / size
        draw_arrow(ax, (at[0], at[1]), (end[0], end[1]), linewidth=2.0)
        taken = [*taken, *((at + share * (end - at), 1.0) for share in (0.4, 0.7, 1.0))]
    angles = np.radians(np.arange(0, 360, 10.0))
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    # What is written reaches from its place outwards, so its middle lies farther out sideways.
    middles = at + ways * [2 * FORCE_LABEL_MM, FORCE_LABEL_MM]
    room = np.min([np.linalg.norm(middles - point, axis=1) - radius for point, radius in taken], axis=0)
    way = ways[int(np.argmax(room))]
    _write(ax, at + way * FORCE_LABEL_MM * [0.6, 1.0], way, "\n".join(told))


def _draw_motions(ax: Axes, result: SpanResult, answer: SpanLoadAnswer) -> None:
    """Draw a bar of peak micromotion for each implant, and a mark for it on a single crown."""
    bands = result.plan.case_of(result.plan.implants[0]).threshold.bands_um
    most = max(*(i.peak.total_um for load in result.loads for i in load.implants), bands[-1])
    single = [a.peak_um for load in result.loads for a in load.alone if a.peak_um is not None]
    right = 1.08 * max(most, min(max(single, default=0.0), 2 * most))
    rows_over_bands(ax, bands, right, len(answer.implants))
    named = []
    for row, implant in enumerate(answer.implants):
        look: Style = {"color": "0.35", "edgecolor": "black", "linewidth": 0.8}
        ax.barh(row, implant.peak.total_um, height=0.56, zorder=2, **look)
        told = f"{motion_text(implant)} µm"
        if answer.alone:
            alone = answer.alone[row].peak_um
            told += (
                f"; ◇ {GIVES_WAY if alone is None else f'{rounded(alone)} µm' if alone else 'no load'}"
            )
            if alone:
                mark: Style = {"markersize": 7, "mfc": "white", "mec": "black", "mew": 1.4}
                ax.plot(min(alone, 0.99 * right), row, "D", zorder=3, **mark)
        name = f"{row + 1} {shortened(implant.name)[:22]}"
        named.append((name, told, implant is answer.governing))
    name_rows(ax, named)
    beside = "; ◇ on a single crown" if answer.alone else ""
    ax.set_xlabel(f"peak interface micromotion [µm]; shades are the bands{beside}")
    hide_spines(ax, "top", "right", "left")


def _alt(answer: SpanLoadAnswer) -> str:
    rows = " ".join(
        f"{k}, {i.name}: {_share_text(i)}, peak micromotion {motion_text(i)} µm, head {head_text(i)} µm."
        for k, i in enumerate(answer.implants, start=1)
    )
    return (
        f"The arch from above under {quoted_name(answer.name)} ({load_in_words(answer)}): a disc at "
        "each implant, its area the force along the axis, dark where it presses in, hatched where it "
        f"pulls out; below it a bar of peak micromotion for each. {rows}"
    )

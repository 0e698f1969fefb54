"""Pictures of the lesson: dots, intervals, and sites side by side in section, on one scale.

Everything here is drawing. Each picture says one thing, in its title, as it came out; it reads without
colour.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, NullFormatter

from stillroot.answers.wording import with_error
from stillroot.mechanics.outline import outline_of
from stillroot.pictures.bodies import draw_bodies, draw_motion
from stillroot.pictures.labels import write_in
from stillroot.pictures.paper import (
    SMALL_PT,
    TEXT_PT,
    WIDTH_IN,
    Picture,
    axes_at,
    blank_figure,
    plain_axes,
    write_headings,
)
from stillroot.pictures.scales import mark_colours_of_sections as draw_shared_scale
from stillroot.studies.lesson import PREDICTORS, ranked, rho_in_words
from stillroot.studies.lesson_sites import COMPUTED, GAVE_WAY, LOAD_IN_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stillroot.answers.result import CheckResult
    from stillroot.pictures.paper import Style
    from stillroot.studies.lesson import Drawn, Group, Lesson, Predictor
    from stillroot.studies.lesson_sites import SiteAnswer

BANDS_UM = (50.0, 100.0, 150.0)
"""The default bands: the sites of the lesson state none of their own."""
NAMES = (
    "predictors",
    "correlations",
    "equal-torque",
    "equal-motion",
    *("built-surface", "built-depth", "built-fit"),
)
TOO_FEW = "Too few sites for a rank correlation"
SPACE = "\N{NO-BREAK SPACE}"
LOW_MM, HIGH_MM = -12.0, 10.0
"""What of the sections is shown."""


def pictures(lesson: Lesson) -> tuple[Picture, ...]:
    """Return every picture of the lesson, named as in `NAMES`; one that has no sites is left out."""
    pairs = (_side_by_side(*pair) for pair in _pairs(lesson))
    return (predictors(lesson), correlations(lesson), *pairs)


def _picture(name: str, figure: Figure, message: str, title: str, *told: str) -> Picture:
    """Return a picture with its headings, which says its message and what else is told of it."""
    headings = write_headings(figure, message, title)
    alt = " ".join([f"{message}.", *told])
    return Picture(name=name, figure=figure, alt=alt, message=message, headings=headings)


# --- Every site a dot ---------------------------------------------------------------------------------


def predictors(lesson: Lesson) -> Picture:
    """Draw each predictor against peak micromotion, every site a dot."""
    figure = blank_figure(9.1)
    sites = ranked(lesson.answers)
    top = _top_um(sites)
    everyone = lesson.groups[0]
    for i, predictor in enumerate(PREDICTORS):
        left, bottom = (0.85, 4.62)[i % 2] - 0.12 * (i % 2), (4.85, 1.2)[i // 2]
        ax = axes_at(figure, left=left, bottom=bottom, width=3.2, height=2.72)
        _dots(ax, predictor, sites, top, named=i % 2 == 0)
        found = [f"ρ = {c.in_words}" for c in everyone.correlations if c.predictor is predictor]
        text = f"{predictor.short}\n{''.join(found)}"
        ax.set_title(text, fontsize=TEXT_PT, fontweight="bold", loc="left", pad=5)
    _key_of_dots(figure, any(a.outcome == GAVE_WAY for a in sites))
    title = f"{len(sites)} invented sites, one load: {LOAD_IN_WORDS}"
    return _picture(NAMES[0], figure, _message(lesson), title, _alt_of_group(everyone))


def _message(lesson: Lesson) -> str:
    """Say which predictor came out ahead, whichever it is."""
    group = lesson.groups[0]
    if group.torque is None:
        return TOO_FEW
    best = max(group.correlations, key=lambda c: abs(c.rho))
    name, rho, torque = (best.predictor.short, *map(rho_in_words, (best.rho, group.torque.rho)))
    ahead = f"{name[0].upper()}{name[1:]} follows peak micromotion most closely here (ρ = {rho})"
    return ahead if best is group.torque else f"{ahead}; insertion torque less (ρ = {torque})"


def _top_um(sites: Sequence[SiteAnswer]) -> float:
    peaks = [a.ranked_um for a in sites if a.outcome == COMPUTED]
    room = 2.2 if len(peaks) < len(sites) else 1.2
    return room * max([BANDS_UM[-1], *peaks])


def _dots(
    ax: Axes, predictor: Predictor, sites: Sequence[SiteAnswer], top: float, *, named: bool
) -> None:
    for rim in (False, True):
        for outcome, mark in ((COMPUTED, "o"), (GAVE_WAY, "^")):
            here = [a for a in sites if a.outcome == outcome and (a.point.cortical_hold_mm > 0) is rim]
            x = [predictor.of(a) for a in here]
            y = [min(a.ranked_um, top) for a in here]
            size = 4.6 if outcome == COMPUTED else 7.0
            style: Style = {"mfc": "0.1" if rim else "white", "mec": "0.1", "mew": 0.9}
            ax.plot(x, y, mark, linestyle="none", markersize=size, clip_on=False, zorder=4, **style)
    ax.set(xscale="linear" if predictor.key == "threads" else "log", yscale="log")
    for axis in (ax.xaxis, ax.yaxis):
        if axis.get_scale() == "log":
            axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
            axis.set_minor_formatter(NullFormatter())
    ax.set_ylim(top=top)
    for band in BANDS_UM:
        ax.axhline(band, color="0.72", linewidth=0.9, zorder=1)
    unit = f" [{predictor.unit}]" if predictor.unit else ""
    ax.set_xlabel(f"{predictor.short}{unit}")
    if named:
        ax.set_ylabel("peak micromotion [µm]")
    plain_axes(ax)
    ax.xaxis.label.set_fontsize(SMALL_PT + 0.5)
    ax.spines[["top", "right"]].set_visible(False)


def _key_of_dots(figure: Figure, slipped: bool) -> None:
    text = "● hold reaches the cortical bone    ○ hold in trabecular bone only"
    if slipped:
        text += "    △ gives way, at the top edge; ranks as the largest motion"
    text += "\nGrey lines: 50, 100, 150 µm. ρ: Spearman's rank correlation with its 95 % interval."
    width, height = figure.get_size_inches()
    figure.text(0.3 / width, 0.34 / height, text, fontsize=SMALL_PT, va="bottom", ha="left")


# --- Correlations and their intervals -----------------------------------------------------------------


def correlations(lesson: Lesson) -> Picture:
    """Draw the rank correlation of each predictor in each group of sites, with its interval."""
    groups = [g for g in lesson.groups if g.correlations]
    figure = blank_figure(2.2 + 1.28 * max(len(groups), 1))
    ax = axes_at(figure, left=2.75, bottom=0.98, width=WIDTH_IN - 3.1, height=1.28 * max(len(groups), 1))
    rows, names = 0, []
    for group in groups:
        ax.axhspan(rows - 0.5, rows + 0.42, facecolor="0.93", edgecolor="none", zorder=0)
        held = f", {group.gave_way} give way" if group.gave_way else ""
        write_in(ax, (-0.98, rows), f"{group.name} ({group.count}{held})", va="center", beside=False)
        names.append("")
        for i, c in enumerate(group.correlations, start=1):
            mark, wide = ("D", 3.0) if c is group.torque else ("o", 1.5)
            ax.plot([c.low, c.high], [rows + i] * 2, color="black", linewidth=wide, zorder=3)
            ax.plot(c.rho, rows + i, mark, mfc="white", mec="black", mew=1.5, markersize=7, zorder=4)
            names.append(c.predictor.short)
        rows += 1 + len(group.correlations)
    ax.axvline(0, color="0.5", linewidth=0.9, zorder=1)
    ax.set(xlim=(-1, 1), ylim=(max(rows, 1) - 0.4, -0.5), yticks=range(rows), yticklabels=names)
    ax.set_xlabel("ρ = −1: more of it always means less motion; ρ = 0: no relation")
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}".replace("-", "−")))
    plain_axes(ax)
    ax.tick_params(axis="y", length=0)
    ax.spines[["top", "right", "left"]].set_visible(False)
    title = "Spearman's rank correlation with peak micromotion, 95 % intervals"
    told = map(_alt_of_group, groups)
    return _picture(NAMES[1], figure, _message_of_groups(groups), title, *told)


def _message_of_groups(groups: Sequence[Group]) -> str:
    found = [(g, g.torque.rho) for g in groups if g.torque]
    if not found:
        return TOO_FEW
    low, high = (f(found, key=lambda item: item[1]) for f in (min, max))
    if low[0] is high[0]:
        return f"Torque against motion: ρ = {rho_in_words(low[1])}, {low[0].name}"
    return (
        f"How torque ranks motion depends on the sites: ρ{SPACE}={SPACE}"
        f"{rho_in_words(low[1])} in “{low[0].name}”, {rho_in_words(high[1])} in “{high[0].name}”"
    )


# --- Sites side by side -------------------------------------------------------------------------------


SidePair = tuple[str, str, "Sequence[str]", "Sequence[CheckResult]"]
"""The name, message, titles and answers of a picture of two sites."""


def _pairs(lesson: Lesson) -> Iterator[SidePair]:
    """Yield what is shown of each pair; one in which a site gives way is left out."""
    if lesson.torque_drawn:
        one, other = lesson.torque_drawn.results
        torques, times = f"{_ncm(one)} and {_ncm(other)}{SPACE}N·cm", _peak(other) / _peak(one)
        message = f"Equal torque, {torques}, and {times:.2g} times the motion"
        yield NAMES[2], message, _titles(lesson.torque_drawn), (one, other)
    if lesson.motion_drawn:
        one, other = lesson.motion_drawn.results
        peaks, times = f"{_um(one)} and {_um(other)}{SPACE}µm", _torque(other) / _torque(one)
        message = f"Equal motion, {peaks}, and {times:.2g} times the torque"
        yield NAMES[3], message, _titles(lesson.motion_drawn), (one, other)
    for answer in lesson.built:
        results = [result for result in answer.results if result]
        if len(results) < 2:
            continue
        one, other = results
        torques, peaks = f"{_ncm(one)} and {_ncm(other)}", f"{_um(one)} and {_um(other)}"
        message = f"{answer.pair.title}: {torques}{SPACE}N·cm of torque, {peaks}{SPACE}µm of motion"
        yield f"built-{answer.pair.key}", message, answer.pair.names, (one, other)


def _titles(drawn: Drawn) -> list[str]:
    return [f"Site {answer.point.index}" for answer in (drawn.pair.first, drawn.pair.second)]


def _side_by_side(
    name: str, message: str, titles: Sequence[str], results: Sequence[CheckResult]
) -> Picture:
    """Draw sites in section on one scale, of length and of motion, with their figures below."""
    width = (WIDTH_IN - 0.8) / 2
    tall = min(6.2, width * (HIGH_MM - LOW_MM) / 11.5)
    height = tall + 3.5
    figure = blank_figure(height)
    scale = max(*BANDS_UM, *(_peak(result) for result in results))
    words = []
    for i, (title, result) in enumerate(zip(titles, results, strict=True)):
        left = 0.3 + i * (width + 0.2)
        ax = axes_at(figure, left=left, bottom=2.55, width=width, height=tall)
        _draw_site(ax, result, scale, width / tall)
        lines = _figures_of(result)
        at = (left / WIDTH_IN, 2.45 / height)
        figure.text(*at, title, fontsize=TEXT_PT + 1, fontweight="bold", va="top")
        below = (at[0], at[1] - 0.22 / height)
        figure.text(*below, "\n".join(lines), fontsize=TEXT_PT, va="top", linespacing=1.3)
        words.append(f"{', '.join([title, *lines])}.")
    strip = axes_at(figure, left=0.5, bottom=0.62, width=WIDTH_IN - 1.0, height=0.14)
    draw_shared_scale(strip, BANDS_UM, scale)
    title = f"Invented scenarios, one scale, one load: {LOAD_IN_WORDS}"
    return _picture(name, figure, message, title, "Sections side by side on one scale.", *words)


def _draw_site(ax: Axes, result: CheckResult, scale: float, aspect: float) -> None:
    answer = result.governing
    half = aspect * (HIGH_MM - LOW_MM) / 2
    draw_bodies(ax, outline_of(result.case))
    draw_motion(ax, result, answer, scale)
    ax.axhline(0, color="0.2", linewidth=1.0, linestyle=(0, (6, 3)), zorder=3)
    _draw_common_load(ax, result)
    _ring_peak(ax, result)
    for top, bottom in result.case.socket.holds_mm:
        x = -(result.case.implant.diameter_mm / 2 + 0.7)
        ax.plot([x, x], [-top, -bottom], color="black", linewidth=2.2, zorder=5)
        for end in (top, bottom):
            ax.plot([x - 0.15, x + 0.15], [-end, -end], color="black", linewidth=1.4, zorder=5)
        text = f"hold\n{bottom - top:.3g} mm"
        write_in(ax, (x - 0.2, -(top + bottom) / 2), text, ha="right", va="center")
    ax.set(xlim=(-half, half), ylim=(LOW_MM, HIGH_MM), xticks=[], yticks=[])
    ax.set_aspect("equal", adjustable="box")
    ax.spines[:].set_visible(False)


def _draw_common_load(ax: Axes, result: CheckResult) -> None:
    load, top = result.governing.resultant, result.case.implant.abutment_height_mm
    ax.plot([0, 0], [top, load.height_mm], color="0.15", linewidth=1.4, zorder=5)
    # The arrow comes down on the point it acts on, and its tail stays inside the picture.
    length = 1.43 / math.hypot(load.lateral_n, load.axial_n)
    head = (0.0, load.height_mm)
    tail = (-length * load.lateral_n, load.height_mm + length * load.axial_n)
    arrow: Style = {"arrowstyle": "-|>", "linewidth": 2.4, "color": "black", "mutation_scale": 16}
    ax.annotate("", head, tail, arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0}, zorder=6)
    ax.plot(*head, "o", color="black", markersize=4, zorder=6)


def _ring_peak(ax: Axes, result: CheckResult) -> None:
    peak = result.governing.peak
    side = 1.0 if np.cos(np.radians(peak.angle_deg)) > -1e-9 else -1.0
    for edge, width in (("white", 4.0), ("black", 1.7)):
        ring: Style = {"markersize": 12, "mfc": "none", "mec": edge, "mew": width, "zorder": 7}
        ax.plot(side * peak.radius_mm, -peak.depth_mm, "o", **ring)


def _figures_of(result: CheckResult) -> list[str]:
    """Return what is written below a section."""
    case, answer = result.case, result.governing
    peak = with_error(answer.peak.total_um, answer.error.total_um)
    modulus = case.bone.trabecular_profile_mpa[0][1]
    threads = case.engaged_threads
    engaged = "no thread" if threads is None else f"{threads:.3g} engaged threads"
    return [
        f"peak micromotion {peak} µm",
        f"torque {_ncm(result)} N·cm",
        f"head movement {answer.head.total_um:.0f} µm",
        f"{engaged}, {case.implant.diameter_mm:g} mm wide",
        f"trabecular {modulus:g} MPa, cortical {case.bone.cortical_thickness_mm:g} mm",
        f"friction {case.interface.friction:g}, interference {case.interface.interference_um:g} µm",
    ]


# --- Words --------------------------------------------------------------------------------------------


def _torque(result: CheckResult) -> float:
    return 0.0 if result.torque is None else result.torque.insertion_ncm


def _ncm(result: CheckResult) -> str:
    return f"{_torque(result):.3g}"


def _peak(result: CheckResult) -> float:
    return result.governing.peak.total_um


def _um(result: CheckResult) -> str:
    return f"{_peak(result):.0f}"


def _alt_of_group(group: Group) -> str:
    rows = "; ".join(f"{c.predictor.name} {c.in_words}" for c in group.correlations)
    slipped = f" ({group.gave_way} give way)" if group.gave_way else ""
    return f"Rank correlation with peak micromotion, {group.name}, {group.count}{slipped}: {rows}."

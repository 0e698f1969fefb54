"""Pictures of the lesson: dots, intervals, and sites side by side in section, on one scale.

Everything here is drawing. Each picture says one thing, in its title, as it came out; it reads without
colour.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, NullFormatter

from stillroot.answers.summary import with_error
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
from stillroot.studies.lesson import (
    COMPUTED,
    GAVE_WAY,
    LOAD_IN_WORDS,
    PREDICTORS,
    TORQUE,
    ranked,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stillroot.answers.answer import CheckResult
    from stillroot.pictures.paper import Style
    from stillroot.studies.lesson import (
        BuiltAnswer,
        Correlation,
        Drawn,
        Group,
        Lesson,
        Predictor,
        SiteAnswer,
    )

BANDS_UM = (50.0, 100.0, 150.0)
"""The default bands: the sites of the lesson state none of their own."""
NAMES = (
    "predictors",
    "correlations",
    "equal-torque",
    "equal-motion",
    *("built-surface", "built-depth", "built-fit"),
)
SHORT_NAMES = {
    "torque": "insertion torque",
    "threads": "engaged threads",
    "length_trabecular": "length × trabecular modulus",
    "length_modulus": "length × modulus, cortical too",
}
LOW_MM, HIGH_MM = -12.0, 10.0
"""What of the sections is shown."""


def pictures(lesson: Lesson) -> tuple[Picture, ...]:
    """Return every picture of the lesson, named as in `NAMES`; one that has no sites is left out."""
    drawn = [predictors(lesson), correlations(lesson)]
    if lesson.torque_drawn:
        drawn.append(equal_torque(lesson.torque_drawn))
    if lesson.motion_drawn:
        drawn.append(equal_motion(lesson.motion_drawn))
    drawn += [picture for answer in lesson.built if (picture := built(answer)) is not None]
    return tuple(drawn)


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
        found = [c for c in everyone.correlations if c.predictor is predictor]
        _head_panel(ax, predictor, found)
    _key_of_dots(figure, any(a.outcome == GAVE_WAY for a in sites))
    message = _message(lesson)
    headings = write_headings(figure, message, f"{len(sites)} invented sites, one load: {LOAD_IN_WORDS}")
    return Picture(
        name=NAMES[0],
        figure=figure,
        alt=f"{message}. {_alt_of_group(everyone)}",
        message=message,
        headings=headings,
    )


def _message(lesson: Lesson) -> str:
    """Say which predictor came out ahead, whichever it is."""
    found = sorted(lesson.groups[0].correlations, key=lambda c: -abs(c.rho))
    if not found:
        return "Too few sites for a rank correlation"
    torque = next(c for c in found if c.predictor is TORQUE)
    if found[0] is torque:
        return f"Insertion torque follows peak micromotion most closely here (ρ = {_rho(torque.rho)})"
    name = SHORT_NAMES[found[0].predictor.key]
    return (
        f"{name[0].upper()}{name[1:]} follows peak micromotion most closely here "
        f"(ρ = {_rho(found[0].rho)}); insertion torque less (ρ = {_rho(torque.rho)})"
    )


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
            face = "0.1" if rim else "white"
            size = 4.6 if outcome == COMPUTED else 7.0
            style: Style = {
                "mfc": face,
                "mec": "0.1",
                "mew": 0.9,
                "markersize": size,
                "linestyle": "none",
            }
            ax.plot(x, y, mark, clip_on=False, zorder=4, **style)
    if predictor.key != "threads":
        ax.set_xscale("log")
        ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        ax.xaxis.set_minor_formatter(NullFormatter())
    ax.set_yscale("log")
    ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    ax.yaxis.set_minor_formatter(NullFormatter())
    ax.set_ylim(top=top)
    for band in BANDS_UM:
        ax.axhline(band, color="0.72", linewidth=0.9, zorder=1)
    name = SHORT_NAMES[predictor.key]
    ax.set_xlabel(f"{name} [{predictor.unit}]" if predictor.unit else name)
    if named:
        ax.set_ylabel("peak micromotion [µm]")
    plain_axes(ax)
    ax.xaxis.label.set_fontsize(SMALL_PT + 0.5)
    for spine in ("top", "right"):
        ax.spines[spine].set_visible(False)


def _head_panel(ax: Axes, predictor: Predictor, found: Sequence[Correlation]) -> None:
    name = SHORT_NAMES[predictor.key]
    text = f"{name}\n" + (f"ρ = {_interval(found[0])}" if found else "")
    ax.set_title(text, fontsize=TEXT_PT, fontweight="bold", loc="left", pad=5)


def _key_of_dots(figure: Figure, slipped: bool) -> None:
    text = "● hold reaches the cortical bone    ○ hold in trabecular bone only"
    if slipped:
        text += "    △ gives way, at the top edge; ranks as the largest motion"
    below = "Grey lines: 50, 100, 150 µm. ρ: Spearman's rank correlation with its 95 % interval."
    _note(figure, f"{text}\n{below}", 0.34)


def _note(figure: Figure, text: str, bottom: float) -> None:
    width, height = figure.get_size_inches()
    figure.text(0.3 / width, bottom / height, text, fontsize=SMALL_PT, va="bottom", ha="left")


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
            line: Style = {
                "color": "black",
                "linewidth": 3.0 if c.predictor is TORQUE else 1.5,
                "zorder": 3,
            }
            ax.plot([c.low, c.high], [rows + i] * 2, **line)
            mark = "D" if c.predictor is TORQUE else "o"
            ax.plot(c.rho, rows + i, mark, mfc="white", mec="black", mew=1.5, markersize=7, zorder=4)
            names.append(SHORT_NAMES[c.predictor.key])
        rows += 1 + len(group.correlations)
    ax.axvline(0, color="0.5", linewidth=0.9, zorder=1)
    ax.set(xlim=(-1, 1), ylim=(max(rows, 1) - 0.4, -0.5), yticks=range(rows), yticklabels=names)
    ax.set_xlabel("ρ = −1: more of it always means less motion; ρ = 0: no relation")
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}".replace("-", "−")))
    plain_axes(ax)
    ax.tick_params(axis="y", length=0)
    for spine in ("top", "right", "left"):
        ax.spines[spine].set_visible(False)
    message = _message_of_groups(groups)
    headings = write_headings(
        figure, message, "Spearman's rank correlation with peak micromotion, 95 % intervals"
    )
    alt = " ".join([f"{message}.", *(_alt_of_group(group) for group in groups)])
    return Picture(name=NAMES[1], figure=figure, alt=alt, message=message, headings=headings)


def _message_of_groups(groups: Sequence[Group]) -> str:
    found = [(g, c.rho) for g in groups for c in g.correlations if c.predictor is TORQUE]
    if not found:
        return "Too few sites for a rank correlation"
    low, high = (f(found, key=lambda item: item[1]) for f in (min, max))
    if low[0] is high[0]:
        return f"Torque against motion: ρ = {_rho(low[1])}, {low[0].name}"
    return (
        f"How torque ranks motion depends on the sites: ρ\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}"
        f"{_rho(low[1])} in “{low[0].name}”, {_rho(high[1])} in “{high[0].name}”"
    )


# --- Sites side by side -------------------------------------------------------------------------------


def equal_torque(drawn: Drawn) -> Picture:
    """Draw two sites of equal torque that move very differently."""
    first, second = drawn.results
    factor = _peak(second) / _peak(first)
    message = (
        f"Equal torque, {_ncm(first)} and {_ncm(second)}\N{NO-BREAK SPACE}N·cm, and "
        f"{factor:.2g} times the motion"
    )
    return _pair_picture(NAMES[2], drawn, message)


def equal_motion(drawn: Drawn) -> Picture:
    """Draw two sites of equal motion and very different torque."""
    first, second = drawn.results
    factor = _torque(second) / _torque(first)
    message = (
        f"Equal motion, {_peak(first):.0f} and {_peak(second):.0f}\N{NO-BREAK SPACE}µm, and "
        f"{factor:.2g} times the torque"
    )
    return _pair_picture(NAMES[3], drawn, message)


def _pair_picture(name: str, drawn: Drawn, message: str) -> Picture:
    points = (drawn.pair.first.point, drawn.pair.second.point)
    titles = [f"Site {p.index}" for p in points]
    return _side_by_side(name, message, titles, drawn.results)


def built(answer: BuiltAnswer) -> Picture | None:
    """Draw the two sites of a built pair; None where one of them gives way."""
    first, second = answer.results
    if first is None or second is None:
        return None
    space = "\N{NO-BREAK SPACE}"
    message = (
        f"{answer.pair.title}: {_ncm(first)} and {_ncm(second)}{space}N·cm of torque, "
        f"{_peak(first):.0f} and {_peak(second):.0f}{space}µm of motion"
    )
    return _side_by_side(f"built-{answer.pair.key}", message, answer.pair.names, (first, second))


def _side_by_side(
    name: str,
    message: str,
    titles: Sequence[str],
    results: Sequence[CheckResult],
) -> Picture:
    """Draw sites in section on one scale, of length and of motion, with their figures below."""
    count = len(results)
    width = (WIDTH_IN - 0.6 - 0.2 * (count - 1)) / count
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
        text = f"{title}\n" + "\n".join(lines)
        figure.text(*at, title, fontsize=TEXT_PT + 1, fontweight="bold", va="top")
        below = (at[0], at[1] - 0.22 / height)
        figure.text(*below, "\n".join(lines), fontsize=TEXT_PT, va="top", linespacing=1.3)
        words.append(text.replace("\n", ", "))
    strip = axes_at(figure, left=0.5, bottom=0.62, width=WIDTH_IN - 1.0, height=0.14)
    draw_shared_scale(strip, BANDS_UM, scale)
    headings = write_headings(
        figure, message, f"Invented scenarios, one scale, one load: {LOAD_IN_WORDS}"
    )
    alt = f"{message}. Sections side by side on one scale. " + ". ".join(words) + "."
    return Picture(name=name, figure=figure, alt=alt, message=message, headings=headings)


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
    for spine in ax.spines.values():
        spine.set_visible(False)


def _draw_common_load(ax: Axes, result: CheckResult) -> None:
    load, top = result.governing.resultant, result.case.implant.abutment_height_mm
    size = math.hypot(load.lateral_n, load.axial_n)
    ax.plot([0, 0], [top, load.height_mm], color="0.15", linewidth=1.4, zorder=5)
    length = 2.6
    tail = (
        -length * load.lateral_n / size,
        load.height_mm + length * load.axial_n / size,
    )
    head = (0.0, load.height_mm)
    # The arrow comes down on the point it acts on, and its tail stays inside the picture.
    back = 0.55
    tail = (back * tail[0], head[1] + back * (tail[1] - head[1]))
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
    threads = result.engaged_threads
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


def _rho(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")


def _interval(c: Correlation) -> str:
    return f"{_rho(c.rho)} ({_rho(c.low)} to {_rho(c.high)})"


def _alt_of_group(group: Group) -> str:
    rows = "; ".join(f"{c.predictor.name} {_interval(c)}" for c in group.correlations)
    slipped = f" ({group.gave_way} give way)" if group.gave_way else ""
    return f"Rank correlation with peak micromotion, {group.name}, {group.count}{slipped}: {rows}."

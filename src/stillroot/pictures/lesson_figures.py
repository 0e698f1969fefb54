"""Pictures of the lesson: dots, intervals, and sites side by side in section, on one scale.

Everything here is drawing. Each picture says one thing, in its title, as it came out; it reads without
colour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stillroot.answers.result import peak_text
from stillroot.pictures.labels import hide_spines, write_in
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, WIDTH_IN, Picture, blank_sheet
from stillroot.pictures.scales import plain_numbers, ticks_by_factors
from stillroot.pictures.side_by_side import Site, sites_side_by_side
from stillroot.pictures.words import head_text
from stillroot.studies.lesson import PREDICTORS, ranked, rho_in_words
from stillroot.studies.lesson_sites import COMPUTED, GAVE_WAY, LOAD_IN_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.axes import Axes

    from stillroot.answers.result import CheckResult
    from stillroot.pictures.paper import Style
    from stillroot.studies.lesson import Group, Lesson, Predictor
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
ROW_IN = 0.256
"""Height of a row of intervals."""


def pictures(lesson: Lesson) -> tuple[Picture, ...]:
    """Return every picture of the lesson, named as in `NAMES`; one that has no sites is left out."""
    return (predictors(lesson), correlations(lesson), *_pairs(lesson))


# --- Every site a dot ---------------------------------------------------------------------------------


def predictors(lesson: Lesson) -> Picture:
    """Draw each predictor against peak micromotion, every site a dot."""
    sites, everyone = ranked(lesson.answers), lesson.groups[0]
    title = f"{len(sites)} invented sites, one load: {LOAD_IN_WORDS}"
    sheet = blank_sheet(_message(lesson), title, tall_in=2.72, foot_in=4.85, head_in=1.53)
    peaks = [a.ranked_um for a in sites if a.outcome == COMPUTED]
    slipped = len(peaks) < len(sites)
    top = (2.2 if slipped else 1.2) * max([BANDS_UM[-1], *peaks])
    for i, predictor in enumerate(PREDICTORS):
        row, column = divmod(i, 2)
        ax = sheet.axes(0.85 + 3.65 * column, 3.2, bottom=sheet.foot_in - 3.65 * row)
        _dots(ax, predictor, sites, top)
        ax.set_ylabel("" if column else "peak micromotion [µm]")
        found = [f"ρ = {c.in_words}" for c in everyone.correlations if c.predictor is predictor]
        text = f"{predictor.short}\n{''.join(found)}"
        ax.set_title(text, fontsize=TEXT_PT, fontweight="bold", loc="left", pad=5)
    key = "● hold reaches the cortical bone    ○ hold in trabecular bone only"
    if slipped:
        key += "    △ gives way, at the top edge; ranks as the largest motion"
    lines = "Grey lines: 50, 100, 150 µm. ρ: Spearman's rank correlation with its 95 % interval."
    sheet.note(key, lines)
    return sheet.picture(NAMES[0], f"{sheet.message}. {_alt_of_group(everyone)}")


def _message(lesson: Lesson) -> str:
    """Say which predictor came out ahead, whichever it is."""
    group = lesson.groups[0]
    if group.torque is None:
        return TOO_FEW
    best = max(group.correlations, key=lambda c: abs(c.rho))
    name, rho, torque = (best.predictor.short, *map(rho_in_words, (best.rho, group.torque.rho)))
    ahead = f"{name[0].upper()}{name[1:]} follows peak micromotion most closely here (ρ = {rho})"
    return ahead if best is group.torque else f"{ahead}; insertion torque less (ρ = {torque})"


def _dots(ax: Axes, predictor: Predictor, sites: Sequence[SiteAnswer], top: float) -> None:
    ax.set(xscale="linear" if predictor.key == "threads" else "log", yscale="log")
    looks = {
        (reached, outcome): {"marker": mark, "markersize": size, "mfc": "0.1" if reached else "white"}
        for reached in (False, True)
        for outcome, mark, size in ((COMPUTED, "o", 4.6), (GAVE_WAY, "^", 7.0))
    }
    common: Style = {"linestyle": "none", "mec": "0.1", "mew": 0.9, "clip_on": False, "zorder": 4}
    for of, look in looks.items():
        here = [a for a in sites if (a.point.cortical_hold_mm > 0, a.outcome) == of]
        y = [min(a.ranked_um, top) for a in here]
        ax.plot([predictor.of(a) for a in here], y, **(common | look))
    ax.set_ylim(top=top)
    for axis, log in ((ax.xaxis, predictor.key != "threads"), (ax.yaxis, True)):
        plain_numbers(axis, ticks_by_factors(*axis.get_view_interval()) if log else None)
    for band in BANDS_UM:
        ax.axhline(band, color="0.72", linewidth=0.9, zorder=1)
    unit = f" [{predictor.unit}]" if predictor.unit else ""
    ax.set_xlabel(f"{predictor.short}{unit}", fontsize=SMALL_PT + 0.5)
    hide_spines(ax, "top", "right")


# --- Correlations and their intervals -----------------------------------------------------------------


def correlations(lesson: Lesson) -> Picture:
    """Draw the rank correlation of each predictor in each group of sites, with its interval."""
    groups = [g for g in lesson.groups if g.correlations]
    message, tall_in = _message_of_groups(groups), 5 * ROW_IN * max(len(groups), 1)
    title = "Spearman's rank correlation with peak micromotion, 95 % intervals"
    sheet = blank_sheet(message, title, tall_in=tall_in, foot_in=0.98, head_in=1.22)
    ax = sheet.axes(2.75, WIDTH_IN - 3.1)
    names: list[str] = []
    for group in groups:
        y = len(names)
        ax.axhspan(y - 0.5, y + 0.42, facecolor="0.93", edgecolor="none", zorder=0)
        held = f", {group.gave_way} give way" if group.gave_way else ""
        write_in(ax, (-0.98, y), f"{group.name} ({group.count}{held})", beside=False)
        for row, c in enumerate(group.correlations, start=y + 1):
            mark, wide = ("D", 3.0) if c is group.torque else ("o", 1.5)
            ax.plot([c.low, c.high], [row, row], color="black", linewidth=wide, zorder=3)
            ax.plot(c.rho, row, mark, mfc="white", mec="black", mew=1.5, markersize=7, zorder=4)
        names += ["", *(c.predictor.short for c in group.correlations)]
    ax.axvline(0, color="0.5", linewidth=0.9, zorder=1)
    ax.set(xlim=(-1, 1), ylim=(max(len(names), 1) - 0.4, -0.5))
    ax.set_yticks(range(len(names)), labels=names)
    ax.set_xlabel("ρ = −1: more of it always means less motion; ρ = 0: no relation")
    plain_numbers(ax.xaxis)
    ax.tick_params(axis="y", length=0)
    hide_spines(ax, "top", "right", "left")
    return sheet.picture(NAMES[1], " ".join([f"{message}.", *map(_alt_of_group, groups)]))


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


def _pairs(lesson: Lesson) -> Iterator[Picture]:
    """Yield a picture of each pair; one in which a site gives way is left out."""
    for name, drawn in zip(NAMES[2:4], (lesson.torque_drawn, lesson.motion_drawn), strict=True):
        if drawn:
            one, other = drawn.results
            points = [answer.point.index for answer in (drawn.pair.first, drawn.pair.second)]
            if drawn is lesson.torque_drawn:
                times = _peak(other) / _peak(one)
                message = f"Equal torque, {_torques(one, other)}, and {times:.2g} times the motion"
            else:
                times = _torque(other) / _torque(one)
                message = f"Equal motion, {_peaks(one, other)}, and {times:.2g} times the torque"
            yield _side_by_side(name, message, [f"Site {index}" for index in points], (one, other))
    for answer in lesson.built:
        results = [result for result in answer.results if result]
        if len(results) == len(answer.results):
            told = f"{_torques(*results)} of torque, {_peaks(*results)} of motion"
            message = f"{answer.pair.title}: {told}"
            yield _side_by_side(f"built-{answer.pair.key}", message, answer.pair.names, results)


def _side_by_side(
    name: str, message: str, names: Sequence[str], results: Sequence[CheckResult]
) -> Picture:
    """Draw sites in section on one scale, of length and of motion, with their figures below."""
    pairs = zip(names, results, strict=True)
    sites = [Site(name=site, result=result, lines=_figures_of(result)) for site, result in pairs]
    sheet = sites_side_by_side(
        message, f"Invented scenarios, one scale, one load: {LOAD_IN_WORDS}", sites
    )
    words = " ".join(f"{', '.join([site.name, *site.lines])}." for site in sites)
    return sheet.picture(name, f"{message}. Sections side by side on one scale. {words}")


def _figures_of(result: CheckResult) -> tuple[str, ...]:
    """Return what is written below a section."""
    case, answer = result.case, result.governing
    threads = case.engaged_threads
    engaged = "no thread" if threads is None else f"{threads:.3g} engaged threads"
    modulus = case.bone.trabecular_profile_mpa[0][1]
    return (
        f"peak micromotion {peak_text(answer)}",
        f"torque {_torque(result):.3g} N·cm",
        f"head movement {head_text(answer)}",
        f"{engaged}, {case.implant.diameter_mm:g} mm wide",
        f"trabecular {modulus:g} MPa, cortical {case.bone.cortical_thickness_mm:g} mm",
        f"friction {case.interface.friction:g}, interference {case.interface.interference_um:g} µm",
    )


# --- Words --------------------------------------------------------------------------------------------


def _torque(result: CheckResult) -> float:
    return 0.0 if result.torque is None else result.torque.insertion_ncm


def _peak(result: CheckResult) -> float:
    return result.governing.peak.total_um


def _torques(one: CheckResult, other: CheckResult) -> str:
    return f"{_torque(one):.3g} and {_torque(other):.3g}{SPACE}N·cm"


def _peaks(one: CheckResult, other: CheckResult) -> str:
    return f"{_peak(one):.0f} and {_peak(other):.0f}{SPACE}µm"


def _alt_of_group(group: Group) -> str:
    rows = "; ".join(f"{c.predictor.name} {c.in_words}" for c in group.correlations)
    slipped = f" ({group.gave_way} give way)" if group.gave_way else ""
    return f"Rank correlation with peak micromotion, {group.name}, {group.count}{slipped}: {rows}."

"""What changes the number: the governing peak, and with one thing changed at a time."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, NamedTuple

from stillroot.mechanics.six_directions import GIVES_WAY
from stillroot.pictures.labels import BESIDE, name_rows, write_beside, write_off
from stillroot.pictures.paper import SMALL_PT, WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.scales import end_of_changes, rows_over_bands
from stillroot.pictures.words import quoted_name, um_text, whole_text
from stillroot.studies.explaining import largest_after
from stillroot.words.check_document import ANATOMY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from stillroot.answers.explained import Explained

ROW_IN = 0.34
SAME = 0.005
"""Share of the peak by which a change must move it to be drawn as a line."""
REASON_LETTERS = 60
"""Letters that are kept of a reason: from the axes to the edge of the paper."""
BY_PLAN, ROUGH = "what a plan can change", "what is known only roughly"


class Change(NamedTuple):
    """A change in words, the peak that it leads to [µm], and why there is none.

    A peak that is None without a reason gives way.
    """

    text: str
    peak: float | None
    reason: str = ""

    @property
    def led_to(self) -> str:
        """What it leads to in words, a reason cut to what fits a row."""
        if self.peak is not None:
            return um_text(self.peak)
        return textwrap.shorten(self.reason, REASON_LETTERS, placeholder=" …") or GIVES_WAY


def levers(explained: Explained) -> Picture:
    """Draw what each change does to the largest peak: what a plan can change, and the rest."""
    result = explained.answer
    worst = result.governing
    rows: dict[bool, list[Change]] = {True: [], False: []}
    for lever in explained.levers:
        after = largest_after(result, lever)
        then = "" if after is None or after[0] is worst else f" ({quoted_name(after[0].name)} governs)"
        peak = None if after is None else after[1]
        rows[lever.by_plan].append(Change(f"{lever.text}{then}", peak, lever.reason))
    bands, title = result.case.threshold.bands_um, result.case.title
    peak = worst.borne_peak_um
    return levers_figure(worst.name, peak, rows[True], rows[False], bands, title=title)


def levers_figure(
    governing_name: str,
    answered_um: float | None,
    by_plan: Sequence[Change],
    rough: Sequence[Change],
    bands: Sequence[float],
    *,
    title: str = "",
) -> Picture:
    """Draw how far changes move the largest peak, `answered_um`, which is of `governing_name`.

    It is None where the implant gives way: then the rows say with which changes it does not.

    `by_plan` are the changes that somebody can decide, `rough` those of inputs that are known only
    roughly. The bands [µm] rise; `title` is written small below the message.
    """
    message = f"{quoted_name(governing_name)}: {_found(answered_um, by_plan)}"
    about = f"Peak micromotion of “{governing_name}” with one thing changed at a time"
    groups = {BY_PLAN: by_plan, ROUGH: rough}
    return _changes("levers", message, title, about, answered_um, groups, bands, ANATOMY)


def other_choices(explained: Explained) -> Picture:
    """Draw the governing load's peak as answered and under every other choice, against the bands."""
    result = explained.answer
    worst = result.governing
    answered, index = worst.borne_peak_um, result.loads.index(worst)
    rows = [Change(f"{c.subject}: {c.text}", c.peaks_um[index], c.reason) for c in explained.choices]
    known = [peak for peak in (answered, *(row.peak for row in rows)) if peak is not None]
    choices = f"{quoted_name(worst.name)}: choices without an agreed value"
    if not known:
        message = f"{choices} all leave the implant giving way"
    else:
        low, high = (whole_text(um_text(end(known))) for end in (min, max))
        to = f"at {low}" if low == high else f"anywhere from {low} to {high}"
        message = f"{choices} put the peak {to}"
        if answered is None:
            message += ", or let the implant give way, as answered"
    about = f"Peak micromotion of “{worst.name}” under other choices"
    bands = result.case.threshold.bands_um
    return _changes("choices", message, result.case.title, about, answered, {"": rows}, bands)


def _changes(
    name: str,
    message: str,
    title: str,
    about: str,
    answered: float | None,
    groups: dict[str, Sequence[Change]],
    bands: Sequence[float],
    note: str = "",
) -> Picture:
    """Draw a peak as answered and each changed one [µm] as a row, by groups with their headings."""
    rows: list[Change | str] = []
    for heading, group in groups.items():
        rows += [heading] * bool(heading and group) + list(group)
    peaks = [c.peak for group in groups.values() for c in group if c.peak is not None]
    right = end_of_changes(bands, answered or 0.0, peaks)
    count = 1 + len(rows)
    sheet = blank_sheet(message, title, tall_in=ROW_IN * count, foot_in=1.0, head_in=0.98)
    ax = sheet.axes(3.5, WIDTH_IN - 4.9)
    rows_over_bands(ax, bands, right, count)
    as_it_is = GIVES_WAY if answered is None else um_text(answered)
    if answered is not None:
        ax.axvline(answered, color="black", linewidth=1.2, zorder=3)
        ax.plot(answered, 0, "o", color="black", markersize=7, zorder=5)
    name_rows(ax, [("base case", as_it_is, True)])
    for y, row in enumerate(rows, start=1):
        if isinstance(row, str):
            write_beside(ax, y, row, left=True, fontstyle="italic")
        else:
            _draw_row(ax, y, answered, row, right)
    sheet.note(note)
    told = " ".join(
        f"{f'{heading.capitalize()}: ' if heading else ''}"
        f"{'; '.join(f'{row.text}: {row.led_to}' for row in group)}."
        for heading, group in groups.items()
        if group
    )
    alt = f"{message}. {about}; base case {as_it_is}. {told} {note}".strip()
    return sheet.picture(name, alt)


def _draw_row(ax: Axes, y: int, answered: float | None, row: Change, right: float) -> None:
    """Draw a line from the peak as answered to the changed one: solid where it falls."""
    peak = row.peak
    write_beside(ax, y, row.text, left=True)
    if peak is None and row.reason:
        # Without a value there is room for the reason, from the axes to the edge of the paper.
        across = ax.get_yaxis_transform()
        style: Style = {"fontsize": SMALL_PT, "bbox": BESIDE, "annotation_clip": False}
        write_off(ax, (0.0, y), (5, 0), row.led_to, xycoords=across, **style)
        return
    write_beside(ax, y, row.led_to, left=False)
    if peak is None:
        return
    beyond, end, falls = peak > right, min(peak, right), answered is None or peak < answered
    if answered is not None and abs(peak - answered) > SAME * answered:
        dash = "-" if falls else (0, (3, 1.5))
        ax.plot([answered, end], [y, y], color="black", linewidth=2.2, linestyle=dash, zorder=4)
    face = "black" if falls or beyond else "white"
    look: Style = {"marker": ">" if beyond else "o", "mfc": face, "mec": "black", "clip_on": False}
    ax.plot(end, y, mew=1.4, markersize=7, zorder=5, **look)


def _found(answered: float | None, by_plan: Sequence[Change]) -> str:
    """Say which of the changes that somebody can decide lowers the peak most, and to what."""
    if answered is None:
        borne = [change for change in by_plan if change.peak is not None]
        if not borne:
            return "the implant gives way, and no change of the plan that was tried prevents it"
        best = min(borne, key=lambda change: change.peak or 0.0)
        which = f"of what a plan can change, {quoted_name(best.text)} prevents it with the lowest peak"
        return f"the implant gives way; {which}, {whole_text(best.led_to)}"
    as_it_is = um_text(answered)
    lower = [c for c in by_plan if c.peak is not None and c.peak < answered * (1 - SAME)]
    if not by_plan:
        return f"a peak of {as_it_is}, with no change of the plan tried"
    if not lower:
        # What has no answer for another reason than giving way might lower it.
        solved = " that has an answer" if any(change.reason for change in by_plan) else ""
        return f"no change of the plan{solved} lowers the peak of {as_it_is}"
    text, *_ = best = min(lower, key=lambda change: change.peak or 0.0)
    told = f"from {whole_text(as_it_is)} to {whole_text(best.led_to)}"
    if len(by_plan) == 1:
        return f"{quoted_name(text)} lowers the peak {told}"
    return f"of what a plan can change, {quoted_name(text)} lowers the peak most, {told}"

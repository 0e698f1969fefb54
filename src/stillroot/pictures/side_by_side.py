"""Sites side by side in section, on one scale of length and of motion, with words below each."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matplotlib.colors import Normalize

from stillroot.pictures.bodies import (
    View,
    draw_holds,
    draw_load,
    draw_motion,
    draw_site,
    ring_peak,
    show_section,
)
from stillroot.pictures.paper import SMALL_PT, TEXT_PT, WIDTH_IN, Sheet, blank_sheet
from stillroot.pictures.scales import motion_strip, scale_um

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stillroot.answers.result import CheckResult

COLUMNS = 4
APART_IN = 0.2
TALLEST_IN = 5.6
LINE_IN = 0.17
"""Height of a line of words below a section."""
LETTER_IN = 0.07
"""Width of a small letter, about."""
BESIDE_MM = 2.5
"""Bone that is shown at least beside and below every implant."""
ROOM_FOR_HOLDS_IN = 3.0
"""Width of a section from which on its holds are named in it."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """A site of the picture: its name, its answer, and what is written below it."""

    name: str
    result: CheckResult
    lines: tuple[str, ...]


def sites_side_by_side(message: str, title: str, sites: Sequence[Site]) -> Sheet:
    """Return paper with each site's section under its governing load, the motion along its wall.

    The bands at the strip of colours are those of the first site.
    """
    rows = -(-len(sites) // COLUMNS)
    columns = -(-len(sites) // rows)
    width_in = (WIDTH_IN - 0.6 - APART_IN * (columns - 1)) / columns
    view = _view([site.result for site in sites], width_in)
    letters = int(width_in / LETTER_IN)
    words = [[line for t in s.lines for line in textwrap.wrap(t, letters)[:2]] for s in sites]
    words_in = 0.4 + LINE_IN * max(map(len, words))
    tall_in = width_in * view.span / view.half_width / 2
    foot_in = 0.95 + words_in + (rows - 1) * (tall_in + words_in)
    sheet = blank_sheet(message, title, tall_in=tall_in, foot_in=foot_in, head_in=1.2)
    scale = scale_um(*(site.result for site in sites))
    for place, (site, lines) in enumerate(zip(sites, words, strict=True)):
        row, column = divmod(place, columns)
        left = 0.3 + column * (width_in + APART_IN)
        bottom = foot_in - row * (tall_in + words_in)
        case, answer = site.result.case, site.result.governing
        ax = sheet.axes(left, width_in, bottom=bottom)
        draw_site(ax, case)
        draw_motion(ax, site.result, answer, scale)
        draw_load(ax, case, answer.resultant, view.arrow)
        ring_peak(ax, answer)
        if width_in > ROOM_FOR_HOLDS_IN:
            draw_holds(ax, case, -1.0, view.reach - BESIDE_MM + 0.035 * view.span, view.span)
        show_section(ax, view.half_width, view.low, view.high)
        fits = int(0.85 * letters)
        head = textwrap.shorten(site.name, fits, placeholder=" …") or site.name[:fits]
        sheet.write((left, bottom - 0.08), head, fontsize=TEXT_PT, fontweight="bold", va="top")
        below = (left, bottom - 0.28)
        sheet.write(below, "\n".join(lines), fontsize=SMALL_PT, linespacing=1.25, va="top")
    strip = sheet.axes(0.5, WIDTH_IN - 1.0, bottom=0.66, height=0.14)
    label = "micromotion [µm]: colour and thickness on the held wall; ring: the peak"
    motion_strip(strip, sites[0].result.case.threshold.bands_um, Normalize(0, scale), label)
    return sheet


def _view(results: Sequence[CheckResult], width_in: float) -> View:
    """Return what every section shows: the same for all, in axes of a width."""
    cases = [result.case for result in results]
    low = -max(case.implant.length_mm for case in cases) - BESIDE_MM
    top = max(
        *(case.implant.abutment_height_mm for case in cases),
        *(result.governing.resultant.height_mm for result in results),
    )
    arrow = 0.16 * (top - low)
    high = top + arrow + 0.5
    reach = max(case.implant.diameter_mm / 2 + case.socket.gap_width_mm for case in cases) + BESIDE_MM
    half = max(reach, width_in / 2 * (high - low) / TALLEST_IN)
    return View(half_width=half, low=low, high=high, arrow=arrow, reach=reach, block=reach)

"""Pictures of an answer: all loads at a glance, and all the others in order.

Everything here is drawing. Each picture says one thing, in its title, and reads without colour: motion
on the wall is colour and thickness, states are greys, marks differ in shape. All pictures of one answer
share one colour scale, from 0 to the largest band (or the largest peak, where that is above it).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stillroot.answers.explained import as_explained
from stillroot.answers.result import peak_text
from stillroot.pictures.curve_figure import curve
from stillroot.pictures.directions_figure import six_arrows
from stillroot.pictures.gauge_figure import gauge
from stillroot.pictures.levers_figure import levers, other_choices
from stillroot.pictures.marks import Row, draw_answers
from stillroot.pictures.moved_figure import moved
from stillroot.pictures.paper import WIDTH_IN, Picture, blank_sheet
from stillroot.pictures.pressure_figure import seat_pressure
from stillroot.pictures.scales import scale_um
from stillroot.pictures.section_figure import section
from stillroot.pictures.unrolled_figure import unrolled
from stillroot.pictures.words import bands_text, given_way_text, quoted_name, whole_text
from stillroot.words.loads import load_text

if TYPE_CHECKING:
    from stillroot.answers.explained import Explained, LoadRange
    from stillroot.answers.result import CheckResult
    from stillroot.mechanics.fields import Displacement


ROW_IN = 0.95


def pictures(
    answered: CheckResult | Explained, field: Displacement | None = None
) -> tuple[Picture, ...]:
    """Return every picture of an answer; `field` is the governing load's, where it is solved already.

    The summary, then section, unrolled wall and curve of each load, then what else was asked for; and of
    the governing load the bodies moved, the pressure during insertion, and a gauge at the head.
    """
    explained = as_explained(answered)
    result = explained.answer
    drawn = [
        summary(explained),
        *(draw(result, answer) for answer in result.loads for draw in (section, unrolled, curve)),
        six_arrows(explained.directions) if explained.directions is not None else None,
        levers(explained) if explained.levers else None,
        other_choices(explained) if explained.choices else None,
        moved(result, field or result.field),
        seat_pressure(result),
        gauge(result),
    ]
    return tuple(picture for picture in drawn if picture is not None)


def _ends(its: LoadRange | None) -> tuple[float, float] | None:
    """Return where a peak may lie, without end where the implant gives way."""
    if its is None or its.peak_um is None:
        return None
    return its.peak_um.low, math.inf if its.peak_um.high is None else its.peak_um.high


def summary(answered: CheckResult | Explained) -> Picture:
    """Draw peak, error and head movement of every load against the bands, and its range if known."""
    explained = as_explained(answered)
    result, ranges = explained.answer, explained.ranges
    worst, bands, loads = result.governing, result.case.threshold.bands_um, result.loads
    message = (
        f"{quoted_name(worst.name)}{' governs' if len(loads) > 1 else ''}: peak micromotion "
        f"{whole_text(peak_text(worst))} ({whole_text(worst.band)})"
    )
    if worst.gives_way_at is not None:
        message = f"Under {quoted_name(worst.name)} the implant {given_way_text(worst.gives_way_at)}"
    tall_in = ROW_IN * len(loads)
    sheet = blank_sheet(message, result.case.title, tall_in=tall_in, foot_in=0.92, head_in=1.48)
    rows = [
        Row(name=a.name, told=load_text(a.resultant, lines=1), answer=a, spread_um=_ends(its))
        for a, its in zip(loads, ranges.loads if ranges else (None,) * len(loads), strict=True)
    ]
    ax = sheet.axes(0.3, WIDTH_IN - 0.6)
    draw_answers(ax, rows, bands, 1.22 * scale_um(result))
    if ranges is not None:
        ax.set_xlabel("peak with ±, its range (90 %) below, and head movement [µm]")
    about = f"Peak micromotion and head movement of each load against the bands {bands_text(bands)}"
    return sheet.picture("summary", f"{about}. {' '.join(row.in_words for row in rows)}")

"""How far an answer can be believed, in words: its range over what the case leaves open."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stillroot.answers.wording import rounded

if TYPE_CHECKING:
    from stillroot.answers.explained import Explained, LoadRange, OpenInput, Range, Ranges

SMALL_ERROR = 0.25
"""Of the range: a larger numerical error is told beside it."""
LEAST_WEIGHT = 0.05
"""Of the variance: an input that explains less is not told."""
MOST_TOLD = 4
NO_RANGE = (
    "No range is told: the implant leaves its seat, or on coarse elements the case, or nearly every "
    "change of it, has no answer."
)
FEW = 1 / 20
"""Chance below which a band or giving way is not told."""


def opening(explained: Explained) -> str:
    """Return the first sentence: what moves, how much, how sure, what would make it surer."""
    answer, ranges = explained.answer, explained.ranges
    if ranges is None or not _is_known(explained):
        return answer.summary.sentence
    worst, its = answer.governing, _governing(explained)
    lost = its.gives_way >= FEW
    if its.peak_um is None:
        told = f"Under “{worst.name}” the implant gives way, in nearly all that the case leaves open"
    elif worst.gives_way_at is not None:
        told = f"Under “{worst.name}” the implant gives way with the values of the case"
        if lost:
            told += f", as in about {one_in(its.gives_way)} over what it leaves open"
    else:
        about, between = two_digits(worst.peak.total_um), range_text(its.peak_um)
        told = f"Under “{worst.name}” the implant moves about {about} µm, nine times in ten {between} µm"
        if lost:
            told += f"; it gives way in about {one_in(its.gives_way)}"
    surest = surest_of(ranges)
    if surest is None:
        return f"{told}."
    return f"{told}. To be surer, measure {surest.measurement.partition(' (')[0]}."


def limits_of(explained: Explained) -> tuple[str, ...]:
    """Return what limits an answer; with ranges, first what stands below its first sentence."""
    summary = explained.answer.summary
    if explained.ranges is None:
        return summary.limits
    if not _is_known(explained):
        return (NO_RANGE, *summary.limits)
    return (
        _bands_line(explained),
        *_weights_line(explained.ranges),
        *_error_line(explained),
        f"With the values of the case: {summary.sentence[0].lower()}{summary.sentence[1:]}",
        *summary.limits,
    )


def _is_known(explained: Explained) -> bool:
    """Return whether the governing load has a range, or is known to give way instead."""
    its = _governing(explained)
    return its.peak_um is not None or its.gives_way >= FEW


def _governing(explained: Explained) -> LoadRange:
    answer, ranges = explained.answer, explained.ranges
    assert ranges is not None  # noqa: S101 - for the type checker
    return ranges.loads[answer.loads.index(answer.governing)]


def surest_of(ranges: Ranges) -> OpenInput | None:
    """Return the input whose measurement would narrow the governing peak most, of those that can be."""
    return next(
        (one for one in ranges.inputs if one.measurement and (one.share or 0) >= LEAST_WEIGHT), None
    )


def _bands_line(explained: Explained) -> str:
    its, answer = _governing(explained), explained.answer
    parts = [f"{band} in {share:.0%}" for band, share in its.bands if share >= FEW]
    if its.gives_way >= FEW:
        parts.append(f"gives way in {its.gives_way:.0%}")
    torque = ""
    if explained.ranges is not None and explained.ranges.torque_ncm is not None:
        torque = f" Insertion torque: {range_text(explained.ranges.torque_ncm)} N·cm."
    head = "" if its.head_um is None else f" Head movement: {range_text(its.head_um)} µm."
    return (
        f"Over what the case leaves open, the peak under “{answer.governing.name}” lies "
        f"{', '.join(parts)}.{head}{torque}"
    )


def _weights_line(ranges: Ranges) -> tuple[str, ...]:
    if ranges.counted:
        return (f"The range was counted: {ranges.counted} cases were solved on coarse elements.",)
    weighty = [one for one in ranges.inputs if (one.share or 0) >= LEAST_WEIGHT][:MOST_TOLD]
    if not weighty:
        return ()
    parts = ", ".join(f"{one.text} ({one.share:.0%} of the spread)" for one in weighty)
    surest = surest_of(ranges)
    narrowed = ""
    if surest is not None and surest.narrowed is not None:
        narrowed = (
            f" With {surest.measurement} measured, at best {range_text(surest.narrowed)} µm are left."
        )
    return (f"What widens it: {parts}.{narrowed}",)


def _error_line(explained: Explained) -> tuple[str, ...]:
    worst, its = explained.answer.governing, _governing(explained)
    if worst.gives_way_at is not None or its.peak_um is None or its.peak_um.high is None:
        return ()
    if worst.error.total_um < SMALL_ERROR * (its.peak_um.high - its.peak_um.low):
        return ()
    told = f"The numerical error, ±{rounded(worst.error.total_um)} µm, is not small against this range"
    return (f"{told}: a smaller element_mm or --tolerance makes it smaller.",)


def range_text(of: Range) -> str:
    """Return a range in words, in two digits.

    >>> from stillroot.answers.explained import Range
    >>> range_text(Range(low=27.2, median=172.0, high=971.0))
    '27 to 970'
    >>> range_text(Range(low=3.0, median=9.0, high=None))
    '3.0 or more'
    """
    if of.high is None:
        return f"{two_digits(of.low)} or more"
    return f"{two_digits(of.low)} to {two_digits(of.high)}"


def one_in(share: float) -> str:
    """Return a chance in words.

    >>> one_in(0.11), one_in(0.45), one_in(0.8)
    ('one of 9', '45 of 100', '80 of 100')
    """
    return f"one of {1 / share:.0f}" if share < 0.34 else f"{100 * share:.0f} of 100"


def two_digits(value: float) -> str:
    """Return a number in two digits: more are not known.

    >>> two_digits(971.2), two_digits(27.2), two_digits(3.04), two_digits(0.0)
    ('970', '27', '3.0', '0.0')
    """
    if value <= 0:
        return "0.0"
    place = 1 - math.floor(math.log10(value))
    value = round(value, place)
    return f"{value:.{max(1 - math.floor(math.log10(value)), 0)}f}"

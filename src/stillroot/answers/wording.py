"""How numbers are told, and the sentences that stand beside every one of them."""

from __future__ import annotations

import math

NO_LINE = (
    "The bands overlap in the literature: they place the number, and no pass or fail follows from them."
)
CAUTION = (
    "For research and teaching; not a medical device. It decides nothing about a patient: licensed "
    "practice and local rules decide."
)
CAUTION_LINE = f"# {CAUTION}\n"
"""The first line of every CSV."""


def band_of(motion_um: float, bands_um: tuple[float, ...]) -> str:
    """Return the band that contains a motion, in words."""
    below = [band for band in bands_um if band < motion_um]
    above = [band for band in bands_um if band >= motion_um]
    if not below:
        return f"below {bands_um[0]:g} µm"
    if not above:
        return f"above {bands_um[-1]:g} µm"
    return f"{below[-1]:g} to {above[0]:g} µm"


def bands_in_words(bands_um: tuple[float, ...]) -> tuple[str, ...]:
    """Return every band, in words, the lowest first."""
    return tuple(band_of(motion, bands_um) for motion in (*bands_um, 2 * bands_um[-1]))


def with_error(value: float, error: float) -> str:
    """Return "12.3 ± 0.4": the error is rounded up, and both end on the same digit.

    >>> with_error(67.72, 0.31), with_error(408.2, 4.1), with_error(5.61, 0.004)
    ('67.7 ± 0.4', '408 ± 5', '5.6 ± 0.1')
    """
    digits = 0 if value >= 100 else 1
    step = 10**-digits
    return f"{value:.{digits}f} ± {max(math.ceil(error / step), 1) * step:.{digits}f}"


def rounded(value: float) -> str:
    """Return a motion with one digit below 100 µm and none above; never "-0.0"."""
    digits = 0 if abs(value) >= 100 else 1
    return f"{round(value, digits) + 0.0:.{digits}f}"

"""What the pictures of studies share: keys in words, axes whose values are factors, motion upwards."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from stillroot.pictures.drawing import SMALL_PT, band_ticks, plain_axes, shade_bands

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stillroot.pictures.drawing import Floats


UNITS = {
    "mm": "mm",
    "mpa": "MPa",
    "um": "µm",
    "n": "N",
    "ncm": "N·cm",
    "deg": "°",
}
"""Ends of keys and the units that they stand for."""
OWN_WORDS = {
    "engagement_mm": "engagement length",
    "engagement_from_crest_mm": "engagement length from the crest",
    "load_factor": "factor on the loads",
    "trabecular_factor": "factor on the trabecular modulus",
    "bone.ct_number": "CT number [HU]",
    "bone.density": "apparent density of the bone [g/cm³]",
    "bone.poisson": "Poisson's ratio of the bone",
    "bone.radius_mm": "radius of the bone block",
    "bone.depth_mm": "depth of the bone block",
    "implant.poisson": "Poisson's ratio of the implant",
    "loads.force_n": "force of the load",
    "loads.axial_n": "axial force",
    "loads.lateral_n": "lateral force",
    "loads.height_mm": "height of the load",
}
"""Where the key's last part says too little; without an index, of every load."""
NAMED_BY_SECTION = {"implant": "implant", "implant.thread": "thread", "loads": "load"}
"""Sections whose keys say too little without them."""
LEAST_APART = 0.075
"""Of an axis: how close its ticks may be."""
NOTE_LETTERS = 114
LEAST_UM = 1e-3
"""Where a logarithmic axis of motion begins at the least."""
SPAN_FOR_FACTORS = 20.0
"""Largest over least motion from which on motion is drawn on a logarithmic axis. Taste."""


def key_label(key: str) -> str:
    """Return a key in words with its unit, for an axis.

    >>> key_label("bone.trabecular_modulus_mpa"), key_label("loads[2].axial_n")
    ('trabecular modulus [MPa]', 'axial force of load 2 [N]')
    """
    words, unit = _words_and_unit(key)
    return f"{words} [{unit}]" if unit else words


def key_words(key: str) -> str:
    """Return a key in words, without its unit."""
    return _words_and_unit(key)[0].split(" [")[0]


def value_text(key: str, value: float) -> str:
    """Return a value of a key with its unit."""
    unit = _words_and_unit(key)[1] or _words_and_unit(key)[0].partition(" [")[2].rstrip("]")
    space = "" if unit in ("", "°") else "\N{NO-BREAK SPACE}"
    times = "× " if key.endswith("_factor") else ""
    return f"{times}{number_text(value)}{space}{unit}"


def number_text(value: float) -> str:
    """Return a number with three digits and a true minus."""
    return f"{float(f'{value:.3g}'):.10g}".replace("-", "−")


def _words_and_unit(key: str) -> tuple[str, str]:
    plain = re.sub(r"\[\d+\]", "", key)
    section, _, name = plain.rpartition(".")
    stem, _, end = name.rpartition("_")
    unit = UNITS.get(end, "") if stem else ""
    words = (stem if unit else name).replace("_", " ")
    own = OWN_WORDS.get(plain)
    prefix = NAMED_BY_SECTION.get(section, "")
    if own is None and prefix and not words.startswith("abutment"):
        words = f"{prefix} {words}"
    words = own or words
    load = re.match(r"loads\[(\d+)\]", key)
    if load:
        return f"{words.removesuffix(' of the load')} of load {load[1]}", unit
    places = ", ".join(re.findall(r"\[(\d+)\]", key))
    return (f"{words} ({places})" if places else words), unit


def by_factors(values: Sequence[float]) -> bool:
    """Whether values, rising, are spaced more evenly by factors than by differences."""
    if len(values) < 3 or values[0] <= 0:
        return False
    steps, factors = np.diff(values), np.diff(np.log(values))
    return bool(np.ptp(factors) / factors.mean() < np.ptp(steps) / steps.mean())


def lay_out_values(ax: Axes, values: Sequence[float], *, upright: bool = False) -> None:
    """Lay an axis out for values, rising: by factors where they are so spaced, ticks at values."""
    log = by_factors(values)
    if log:
        (ax.set_yscale if upright else ax.set_xscale)("log")
    axis = ax.yaxis if upright else ax.xaxis
    places = np.log(values) if log else np.asarray(values)
    shares = (places - places[0]) / (places[-1] - places[0])
    kept = [0]
    for place, share in enumerate(shares[1:-1], start=1):
        if min(share - shares[kept[-1]], 1 - share) >= LEAST_APART:
            kept.append(place)
    if log or len(values) <= 1 / LEAST_APART:
        axis.set_major_locator(FixedLocator([values[place] for place in (*kept, len(values) - 1)]))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda v, _: number_text(v)))


def motion_upward(ax: Axes, bands: Sequence[float], motions: Floats) -> None:
    """Lay the upright axis out for motions [µm], with the bands shaded and named."""
    least, most = max(float(np.min(motions)), LEAST_UM), float(np.max(motions))
    if most / least > SPAN_FOR_FACTORS:
        ax.set_yscale("log")
        begin, end = 0.7 * min(least, bands[0]), 1.4 * max(most, bands[-1])
        shade_bands(ax, bands, end, begin=begin, upward=True)
        ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: number_text(v)))
        ax.yaxis.set_minor_locator(NullLocator())
        ax.set_yticks(ticks_by_factors(begin, end, bands))
    else:
        end = 1.2 * max(most, bands[-1])
        shade_bands(ax, bands, end, upward=True)
        ax.set_yticks(band_ticks(bands, end))
    plain_axes(ax)


def ticks_by_factors(low: float, high: float, bands: Sequence[float]) -> list[float]:
    """Return the bands, and 1, 2, 5, 10, 20 … where these keep away from them, from low to high."""
    powers = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    ticks = [m * 10.0**p for p in powers for m in (1, 2, 5)]
    far = [t for t in ticks if low <= t <= high and all(abs(np.log(t / b)) > 0.3 for b in bands)]
    return sorted([*far, *(band for band in bands if low <= band <= high)])


def write_note(figure: Figure, *paragraphs: str) -> None:
    """Write a note at the foot, above the caution; each paragraph begins a line."""
    width, height = figure.get_size_inches()
    lines = [line for text in paragraphs for line in textwrap.wrap(text, NOTE_LETTERS)]
    place: Any = {"va": "bottom", "ha": "left", "fontsize": SMALL_PT, "parse_math": False}
    figure.text(0.3 / width, 0.3 / height, "\n".join(lines), **place)

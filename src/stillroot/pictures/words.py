"""Numbers, names and keys as pictures write them."""

from __future__ import annotations

import math
import re
import textwrap
from typing import TYPE_CHECKING

from stillroot.answers.result import peak_text
from stillroot.words.loads import signed_number

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from stillroot.answers.result import CheckResult, LoadAnswer
    from stillroot.inputs.case import Case

NAME_LETTERS = 56
"""Letters that are kept of a name."""
UNITS = {"mm": "mm", "mpa": "MPa", "um": "µm", "n": "N", "ncm": "N·cm", "deg": "°"}
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


def um_text(value_um: float | None) -> str:
    """Return a motion with its unit, sensibly rounded; None and what is not finite is no answer."""
    if value_um is None or not math.isfinite(value_um):
        return "no answer"
    return f"{value_um:.1f} µm" if value_um < 100 else f"{value_um:.0f} µm"


def bands_text(bands_um: Sequence[float]) -> str:
    """Return the bands with their unit."""
    return f"{', '.join(f'{band:g}' for band in bands_um)} µm"


def head_text(answer: LoadAnswer) -> str:
    """Return the head movement, with its turn where there is a torque."""
    head = answer.head
    turn = f" and {signed_number(head.rotation_deg)}° of turn" if answer.resultant.torque_nmm else ""
    return um_text(head.total_um) + turn


def given_way_text(share: float) -> str:
    """Return that the implant gives way at a share of a load."""
    return f"gives way at {whole_text(percent(share))} of the load"


def under_text(answer: LoadAnswer) -> str:
    """Return how a heading begins: under which load, or at what share it gives way."""
    if answer.gives_way_at is None:
        return f"Under {quoted_name(answer.name)}"
    share = whole_text(percent(answer.gives_way_at))
    return f"At {share} of {quoted_name(answer.name)}, where the implant gives way,"


def peak_words(answer: LoadAnswer) -> str:
    """Return the peak of what is drawn: with its error, or without one where the implant gives way."""
    return peak_text(answer) if answer.gives_way_at is None else um_text(answer.peak.total_um)


def marked_peak(answer: LoadAnswer) -> str:
    """Return what is written at the peak."""
    if answer.gives_way_at is None:
        return f"peak {peak_text(answer)}"
    share = whole_text(percent(answer.gives_way_at))
    return f"{peak_words(answer)} at {share} of the load,\nwhere it gives way"


def percent(share: float) -> str:
    """Return a share in per cent; a share that is not nothing never reads as nothing."""
    return "<1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"


def whole_text(text: str) -> str:
    """Return a text that is not broken over lines."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def joined(parts: Sequence[str]) -> str:
    """Return "a, b and c"."""
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))


def shortened(name: str) -> str:
    """Return a name, cut to what fits a line."""
    cut = textwrap.shorten(name, NAME_LETTERS, placeholder=" …")
    return f"{name[: NAME_LETTERS - 1]}…" if cut == "…" else cut  # one long word is cut within it


def quoted_name(name: str) -> str:
    """Return a name in quotation marks, cut to what fits a line."""
    return f"“{shortened(name)}”"


def gap_text(case: Case) -> str:
    """Return what fills the gap in words."""
    socket = case.socket
    if socket.gap_fill is None:
        return f"gap ({socket.gap_stiffness_mpa:g} MPa)"
    return f"gap ({socket.gap_fill})"


def picture_name(result: CheckResult, answer: LoadAnswer, kind: str) -> str:
    """Return a name fit for a file; the load's place in the case keeps it unique."""
    number = next(i for i, other in enumerate(result.loads) if other is answer)
    return f"{kind}-{result.load_slugs[number]}"


def number_text(value: float) -> str:
    """Return a number with three digits and a true minus."""
    return f"{float(f'{value:.3g}'):.10g}".replace("-", "−")


def key_label(key: str) -> str:
    """Return a key in words with its unit, for an axis.

    >>> key_label("bone.trabecular_modulus_mpa"), key_label("loads[2].axial_n")
    ('trabecular modulus [MPa]', 'axial force of load 2 [N]')
    """
    plain = re.sub(r"\[\d+\]", "", key)
    section, _, name = plain.rpartition(".")
    stem, _, end = name.rpartition("_")
    unit = UNITS.get(end, "") if stem else ""
    words = (stem if unit else name).replace("_", " ")
    prefix = NAMED_BY_SECTION.get(section, "")
    if prefix and not words.startswith("abutment"):
        words = f"{prefix} {words}"
    words = OWN_WORDS.get(plain, words)
    load = re.match(r"loads\[(\d+)\]", key)
    places = ", ".join(re.findall(r"\[(\d+)\]", key))
    if load:
        words = f"{words.removesuffix(' of the load')} of load {load[1]}"
    elif places:
        words = f"{words} ({places})"
    return f"{words} [{unit}]" if unit else words


def key_words(key: str) -> str:
    """Return a key in words, without its unit."""
    return key_label(key).split(" [")[0]


def along_text(key: str, values: Iterable[float], peaks_um: Iterable[float]) -> str:
    """Return the peaks at values of a key."""
    pairs = zip(values, peaks_um, strict=True)
    return "; ".join(f"{value_text(key, value)}: {um_text(peak)}" for value, peak in pairs)


def value_text(key: str, value: float) -> str:
    """Return a value of a key with its unit."""
    unit = key_label(key).partition(" [")[2].rstrip("]")
    space = "" if unit in ("", "°") else "\N{NO-BREAK SPACE}"
    times = "× " if key.endswith("_factor") else ""
    return f"{times}{number_text(value)}{space}{unit}"

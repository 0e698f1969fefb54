"""An axial load on a bonded and on a fresh implant: Winter, Klein, Karl 2013."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from validation.placed import TORN_LAYER, Law, Placed, case_of, placed

NECK_MM = 0.3
"""Depth of the neck, below the crest."""
FIFTHS = 5
END_MM = 0.2
"""Of the side wall, left out at the tip: the flat end and its corner."""
BONDED = {"kind": "bonded", "friction": None, "interference_um": None}


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return motion at the neck [µm] where bonded, and ratios where fresh."""
    return {key: _FIGURES[key](law) for key in keys}


@cache
def fresh(friction: float, law: Law) -> Placed:
    case = case_of(Path(__file__).parent / "axial.toml", law, interface={"friction": friction})
    return placed(case)[0]


def bonded_neck_um(layer: dict[str, float], law: Law) -> float:
    case = case_of(Path(__file__).parent / "axial.toml", law, interface={**BONDED, **layer})
    motion = placed(case)[0].motion
    return float(np.max(motion.total_um[motion.held & (motion.depth_mm < NECK_MM)]))


def evenness(law: Law) -> float:
    """Return the lowest of the means of the wall's fifths over the highest."""
    under = fresh(0.3, law)
    motion, length = under.motion, under.seated.site.solids.implant_length_mm
    side = motion.held & (motion.depth_mm < length - END_MM)
    fifth = np.minimum((motion.depth_mm / length * FIFTHS).astype(int), FIFTHS - 1)
    means = [
        np.average(motion.total_um[here, 0], weights=motion.weight_mm2[here])
        for here in (side & (fifth == i) for i in range(FIFTHS))
    ]
    return float(min(means) / max(means))


_FIGURES = {
    "bonded_neck": lambda law: bonded_neck_um({}, law),
    "bonded_neck_torn": lambda law: bonded_neck_um(TORN_LAYER, law),
    "fresh_evenness": evenness,
    "friction_lowers": lambda law: fresh(0.3, law).peak_um / fresh(0.0, law).peak_um,
}

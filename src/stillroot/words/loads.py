"""Loads in words."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from stillroot.units import NMM_PER_NCM

if TYPE_CHECKING:
    from stillroot.mechanics.resultant import Resultant

LETTERS = 28
"""To a line of a load in a drawing."""


def load_text(load: Resultant, lines: int = 2) -> str:
    """Return direction, size and height of a load."""
    parts = []
    if load.lateral_n or load.axial_n:
        parts.append(f"{np.hypot(load.lateral_n, load.axial_n):.3g} N, {direction_text(load)}")
    if load.torque_nmm:
        joined = "and torque" if parts else "torque"
        parts.append(f"{joined} {signed_number(load.torque_nmm / NMM_PER_NCM)} N·cm")
    if lines > 1:
        parts = [line for part in parts for line in textwrap.wrap(part, LETTERS)]
    text = ("\n" if lines > 1 else " ").join(parts)
    return text + ("\n" if lines > 1 else ", ") + f"{load.height_mm:g} mm above the crest"


def direction_text(load: Resultant) -> str:
    """Return the direction of a load in words."""
    if not load.axial_n:
        return "lateral"
    from_axis = np.degrees(np.arctan2(abs(load.lateral_n), abs(load.axial_n)))
    if from_axis < 0.05:
        return "pressing in" if load.axial_n > 0 else "pulling out"
    return f"{'' if load.axial_n > 0 else 'pulling out at '}{from_axis:.3g}° from the axis"


def signed_number(value: float) -> str:
    """Return a number with a true minus."""
    return f"{value:.3g}".replace("-", "−")

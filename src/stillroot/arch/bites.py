"""Bite patterns: forces at points of a bridge that represent ways to bite on it.

Sizes are assumptions inside the ranges of chewing on implants under an overdenture, vertical 1.5 to 260
N and horizontal 1.5 to 66 N (Mericske-Stern et al. 1992, as tabulated in doi
10.1186/s40729-022-00454-y).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from stillroot.arch.polyline import Polyline
    from stillroot.arrays import Floats

Bite = Literal["one_sided_molar", "both_sides", "incisors", "cantilever_tip"]

MOLAR_N, MOLAR_OUTWARD_N = 150.0, 30.0
INCISOR_N, INCISOR_OUTWARD_N = 60.0, 25.0
TIP_N = 150.0
SAME_MM = 1e-6
"""Cantilevers that differ by less count as equally long; the bite is then on the one at the end."""
UPRIGHT = 1e-3
"""A line whose horizontal part is less than this share of its length is vertical."""
BITES_IN_WORDS: dict[str, str] = {
    "one_sided_molar": f"{MOLAR_N:g} N down and {MOLAR_OUTWARD_N:g} N outward in the middle of the end "
    "cantilever, or on the last implant where there is none",
    "both_sides": "the same at both ends at once",
    "incisors": f"{INCISOR_N:g} N down and {INCISOR_OUTWARD_N:g} N outward midway along the bridge",
    "cantilever_tip": f"{TIP_N:g} N down on the tip of the longer cantilever",
}


@dataclass(frozen=True, kw_only=True)
class PointLoad:
    """A force (3,) [N] at a point (3,) [mm], in the plan's axes."""

    at_mm: Floats
    force_n: Floats


def bite_loads(
    bite: Bite, line: Polyline, first_mm: float, last_mm: float, crown_mm: float
) -> tuple[PointLoad, ...]:
    """Return the forces of a pattern on a bridge.

    `first_mm` and `last_mm` are the positions of its first and last implant along the line, `crown_mm`
    the height of the chewing surface above the line.
    """
    end = (last_mm + line.length_mm) / 2
    tip = line.length_mm if line.length_mm - last_mm > first_mm - SAME_MM else 0.0
    patterns: dict[Bite, tuple[tuple[float, ...], float, float]] = {
        "one_sided_molar": ((end,), MOLAR_N, MOLAR_OUTWARD_N),
        "both_sides": ((first_mm / 2, end), MOLAR_N, MOLAR_OUTWARD_N),
        "incisors": (((first_mm + last_mm) / 2,), INCISOR_N, INCISOR_OUTWARD_N),
        "cantilever_tip": ((tip,), TIP_N, 0.0),
    }
    places, down_n, outward_n = patterns[bite]
    return tuple(
        PointLoad(
            at_mm=line.points(np.array([place]))[0] + [0.0, 0.0, crown_mm],
            force_n=outward_n * outward(line, place) - [0.0, 0.0, down_n],
        )
        for place in places
    )


def outward(line: Polyline, place: float) -> Floats:
    """Return the horizontal unit vector (3,) across the line, away from the middle of the arch.

    A straight bridge has no inside; for it, the vector points to the right as seen along the line.
    """
    middle = line.points(np.linspace(0.0, line.length_mm, 65)).mean(axis=0)
    along = line.direction(place)
    across = np.array([along[1], -along[0], 0.0])
    if np.linalg.norm(across) < UPRIGHT:  # vertical: the line has no side here
        across = np.array([1.0, 0.0, 0.0])
    across /= np.linalg.norm(across)
    here = line.points(np.array([place]))[0]
    return -across if float(across @ (here - middle)) < -1e-9 else across

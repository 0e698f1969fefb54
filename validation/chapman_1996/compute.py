"""Pull-out of a screw: F = S L πD (0.5 + 0.57735 depth/pitch), Chapman et al. 1996 and ASTM F543.

S is the shear strength of the bone, L the length of thread, D its outer diameter. The model has no
shear strength; what can give way is the layer at the wall, at the crushing pressure, and only while the
implant is seated. Here it may do so under the pull as well: the largest pull is what yielding flanks
carry.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from stillroot.errors import NotConverged
from stillroot.inputs.case import Case
from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant
from validation.placed import prepared

if TYPE_CHECKING:
    from stillroot.mechanics.seat import Seated

DIAMETER_MM = 4.1
FRICTION = 0.4
"""The default; the formula has none, and the screws that it was compared with had some."""
SEARCHED_N = (500.0, 2500.0)


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return largest pulls [N] and their ratio."""
    return {key: _FIGURES[key]() for key in keys}


def yielding(depth_mm: float, pitch_mm: float, hold_mm: float) -> Seated:
    """Return a loose implant, held by its thread alone, in cortical bone that yields at the wall."""
    case = Case.from_dict(
        {
            "title": "a screw in cortical bone, invented",
            "implant": {
                "diameter_mm": DIAMETER_MM,
                "length_mm": 8.0,
                "thread": {"form": "v", "pitch_mm": pitch_mm, "depth_mm": depth_mm},
            },
            "bone": {
                "cortical_thickness_mm": 5.0,
                "trabecular_modulus_mpa": 500.0,
                "radius_mm": 7.0,
                "depth_mm": 12.0,
            },
            "socket": {"holds_mm": [[0.0, hold_mm]], "gap_fill": "empty"},
            "interface": {"friction": FRICTION, "interference_um": 0.0},
            "loads": [{"name": "pull", "axial_n": -1.0}],
            "numerics": {"element_mm": 0.5},
        }
    )
    seated = prepared(case).seated()
    return replace(seated, layer=replace(seated.layer, crush_mpa=seated.inserting.crush_mpa))


@cache
def largest_pull_n(depth_mm: float, pitch_mm: float, hold_mm: float) -> float:
    """Return the pull half-way between one that is held and one that is not, 1 % apart."""
    seated = yielding(depth_mm, pitch_mm, hold_mm)
    held, lost = SEARCHED_N
    while lost > 1.01 * held:
        middle = (held * lost) ** 0.5
        try:
            load(seated, [Resultant(axial_n=-middle)])
            held = middle
        except NotConverged:
            lost = middle
    return (held + lost) / 2


_FIGURES = {
    "shallow": lambda: largest_pull_n(0.2, 0.8, 2.4),
    "usual": lambda: largest_pull_n(0.35, 0.8, 2.4),
    "coarse": lambda: largest_pull_n(0.35, 1.2, 2.4),
    "deep_coarse": lambda: largest_pull_n(0.5, 1.2, 2.4),
    "depth_ratio": lambda: largest_pull_n(0.35, 0.8, 2.4) / largest_pull_n(0.2, 0.8, 2.4),
}

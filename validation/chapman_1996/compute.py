"""Pull-out of a screw: F = S L πD (0.5 + 0.57735 depth/pitch), Chapman et al. 1996 and ASTM F543.

S is the shear strength of the bone, L the length of thread, D its outer diameter. The bone yields at S
(von Mises), and the largest pull is the one beyond which there is no equilibrium. Linear bone
would bear any pull: with it the layer at the wall yields, at the pressure at which seating crushes it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.inputs.case import Case
from stillroot.mechanics.loading import loaded
from stillroot.mechanics.resultant import Resultant
from validation.placed import Law, prepared

if TYPE_CHECKING:
    from stillroot.mechanics.seat import Seated

DIAMETER_MM, HOLD_MM = 4.1, 2.4
FRICTION = 0.4
"""The default; the formula has none, and the screws that it was compared with had some."""
SHEAR_MPA = 51.6
"""S: cortical bone along its axis, Turner, Wang, Burr 2001, Calcif Tissue Int 69:373-378."""
HARDENING = 1e-3
"""A trace, which lets the iteration end."""
PULL_N, STEPS = 2500.0, 25


def compute(keys: frozenset[str], law: Law = "yields") -> dict[str, float]:
    """Return largest pulls [N] and their ratio."""
    return {key: _FIGURES[key](law) for key in keys}


def loose(depth_mm: float, pitch_mm: float, law: Law) -> Seated:
    """Return a loose implant, held by its thread alone, in cortical bone."""
    yield_mpa = float(np.sqrt(3) * SHEAR_MPA)
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
                "law": law,
                "strength": {
                    "material": "foam",  # von Mises: in tension as in compression
                    "cortical_compression_mpa": yield_mpa,
                    "cortical_tension_mpa": yield_mpa,
                    "hardening": HARDENING,
                },
            },
            "socket": {"holds_mm": [[0.0, HOLD_MM]], "gap_fill": "empty"},
            "interface": {"friction": FRICTION, "interference_um": 0.0},
            "loads": [{"name": "pull", "axial_n": -1.0}],
            "numerics": {"element_mm": 0.5},
        }
    )
    seated = prepared(case).seated()
    if law == "yields":
        return seated
    return replace(seated, layer=replace(seated.layer, crush_mpa=seated.inserting.crush_mpa))


@cache
def largest_pull_n(depth_mm: float, pitch_mm: float, law: Law) -> float:
    """Return the pull at which the implant gives way."""
    pull = Resultant(axial_n=-PULL_N)
    share = loaded(loose(depth_mm, pitch_mm, law), [pull], steps=STEPS).gives_way_at
    assert share is not None, "the bone bears the whole pull"
    return share * PULL_N


_FIGURES = {
    "shallow": lambda law: largest_pull_n(0.2, 0.8, law),
    "usual": lambda law: largest_pull_n(0.35, 0.8, law),
    "coarse": lambda law: largest_pull_n(0.35, 1.2, law),
    "deep_coarse": lambda law: largest_pull_n(0.5, 1.2, law),
    "depth_ratio": lambda law: largest_pull_n(0.35, 0.8, law) / largest_pull_n(0.2, 0.8, law),
}

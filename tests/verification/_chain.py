"""Small cases, seated and loaded, for the checks of contact and of the whole chain."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stillroot.mechanics.loading import STEPS, load
from validation.placed import Placed as Loaded
from validation.placed import changed_case, prepared

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stillroot.inputs.case import Case
    from stillroot.mechanics.resultant import Resultant
    from stillroot.mechanics.seat import Seated

LINEAR: dict[str, Any] = {
    "title": "Invented scenario: linear",
    "implant": {
        "diameter_mm": 4.0,
        "length_mm": 6.0,
        "modulus_mpa": 1e6,
        "poisson": 0.3,
        "thread": {"form": "none"},
    },
    "bone": {"cortical_thickness_mm": 0.0, "law": "linear", "trabecular_modulus_mpa": 1.0},
    "interface": {"kind": "bonded"},
    "loads": [{"name": "oblique", "axial_n": 0.3, "lateral_n": 0.1}],
    "numerics": {"element_mm": 1.0, "harmonics": 3, "load_steps": 1},
}
"""Bonded, and the implant far stiffer than bone of a single modulus: answers have closed forms."""
PLAIN: dict[str, Any] = {
    "title": "a small case for checks",
    "implant": {"diameter_mm": 4.1, "length_mm": 6.0, "thread": {"form": "v"}},
    "bone": {
        "cortical_thickness_mm": 1.5,
        "law": "linear",
        "trabecular_modulus_mpa": 500.0,
        "radius_mm": 7.0,
        "depth_mm": 10.0,
    },
    "interface": {"friction": 0.4, "interference_um": 5.0},
    "loads": [{"name": "lateral", "lateral_n": 20.0}],
    "numerics": {"element_mm": 0.5, "harmonics": 4},
}
"""Coarse and short on purpose: the properties checked on it do not depend on the mesh."""

BONDED = {"kind": "bonded", "friction": None, "interference_um": None}
SMOOTH = {"thread": {"form": "none"}}


def case_of(**sections: Mapping[str, object]) -> Case:
    """Return the plain case with some keys of its sections changed."""
    return changed_case(PLAIN, sections)


def seated(case: Case) -> Seated:
    return prepared(case).seated()


def loaded(seat_: Seated, *path: Resultant, steps: int = STEPS) -> Loaded:
    return Loaded(seat_, load(seat_, path, steps=steps), path[-1])

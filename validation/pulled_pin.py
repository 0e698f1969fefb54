"""A long pin in rigid bone, held by friction; the tension in a pulled pin, from what its wall takes."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.inputs.case import Case
from stillroot.mechanics.outline import ABUTMENT, IMPLANT, TRABECULAR
from validation.benches import everywhere, half_section_of
from validation.placed import prepared

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.seat import Seated

RADIUS, LENGTH, ABUTMENT_MM, PIN_MPA = 1.0, 14.0, 3.0, 1000.0
RIGID_MPA, BONE_MM = 1e6, 4.0
FRICTION = 0.5
LAYER_MM, SOFT_RATIO, HARD_RATIO = 0.1, 4e-6, 4e-3
"""A layer of 0.1 mm: soft, 4 MPa, G/t = 20 N/mm³, so that βL is 2.8; or hard, 4000 MPa."""
SOFT_INTERFERENCE_UM, HARD_INTERFERENCE_UM = 100.0, 10.25


@cache
def seated(layer: str) -> Seated:
    """Return the pin in its "soft" or "hard" layer."""
    return {
        "soft": lambda: _seated(SOFT_INTERFERENCE_UM, SOFT_RATIO),
        "hard": lambda: _seated(HARD_INTERFERENCE_UM, HARD_RATIO),
    }[layer]()


def _seated(interference_um: float, ratio: float) -> Seated:
    case = Case.from_dict(
        {
            "title": "a pin in rigid bone, invented",
            "implant": {
                "diameter_mm": 2 * RADIUS,
                "length_mm": LENGTH,
                "abutment_diameter_mm": 2 * RADIUS,
                "abutment_height_mm": ABUTMENT_MM,
                "modulus_mpa": PIN_MPA,
                "poisson": 0.0,
                "thread": {"form": "none"},
            },
            "bone": {
                "cortical_thickness_mm": 0.0,
                "law": "linear",
                "trabecular_modulus_mpa": RIGID_MPA,
                "poisson": 0.0,
                "radius_mm": BONE_MM,
                "depth_mm": LENGTH + 2,
                "support": "all_round",
            },
            "interface": {
                "friction": FRICTION,
                "interference_um": interference_um,
                "layer_thickness_mm": LAYER_MM,
                "layer_modulus_ratio": ratio,
            },
            "loads": [{"name": "pull", "axial_n": -1.0}],
        }
    )
    section = half_section_of(
        np.append(np.linspace(0, RADIUS, 5), np.linspace(RADIUS, BONE_MM, 4)[1:]),
        np.linspace(-LENGTH - 2, ABUTMENT_MM, 77),
        {
            IMPLANT: lambda r, z: (r < RADIUS) & (z < 0) & (z > -LENGTH),
            ABUTMENT: lambda r, z: (r < RADIUS) & (z > 0),
            TRABECULAR: everywhere,
        },
        lambda r, z: (r < RADIUS) | (z < 0),
    )
    return prepared(case, section, 1).seated()


def on_side(layer: Layer) -> NDArray[np.bool_]:
    """Return which points (p,) lie on the side of the pin."""
    return np.asarray(layer.normal[0] > 0.5)


def cuts(layer: Layer) -> NDArray[np.float64]:
    """Return the depths [mm] of the ends of edges on the side, sorted: the tension is known there."""
    return np.unique(np.round(-layer.height_mm[on_side(layer)][0::3], 9))


def tension(layer: Layer, state: ContactState, depth_mm: float) -> float:
    """Return the tension [N] in a pulled pin at a depth of `cuts`.

    Each edge's end points count with half of their own edge's length, so a cut goes between edges.
    """
    edge_depth = np.repeat(-layer.height_mm[1::3], 3)
    below = on_side(layer) & (edge_depth > depth_mm)
    shear = state.tractions.traction[1, :, 0]
    return float(2 * np.pi * np.sum((layer.weight_mm2 * shear)[below]))

"""A smooth pin pressed into a sleeve of bone, invented proportions.

The pin is solid. It ends in a wide empty gap, so that only its side touches. Its layer is hard: the 2 µm
that stand in for no thickness.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from stillroot.inputs.case import Case
from stillroot.inputs.materials import Material
from stillroot.mechanics.outline import ABUTMENT, GAP, IMPLANT, TRABECULAR
from validation.benches import everywhere, graded, half_section_of, joined
from validation.placed import Prepared, prepared

if TYPE_CHECKING:
    from stillroot.mechanics.interface import Layer
    from stillroot.mechanics.seat import Seated
    from validation.benches import Floats

PIN, SLEEVE, GAP_WIDTH, TOP = 2.0, 5.0, 0.5, 2.0
"""Radii, width and height [mm]."""
BONE = Material(modulus_mpa=1000.0, poisson=0.3)
RIGID_PIN = Material(modulus_mpa=9e5, poisson=0.0)
"""As good as rigid, so that pulling makes it no thinner."""
INTERFERENCE_UM = 2.0
"""Small, so that no pressure comes near to crushing the bone (7.8 MPa)."""
FRICTION = 0.4


def pin_in_sleeve(
    hold: float,
    pin: Material,
    *,
    bone: Material = BONE,
    support: str = "base",
    element: float = 0.5,
    sleeve: float = SLEEVE,
    below: float = 5.0,
) -> Prepared:
    """Return a pin that bears on a sleeve of outer radius `sleeve` over the length `hold` [mm].

    `below`: depth of bone under the hold.
    """
    length, depth = hold + 1, hold + below
    case = Case.from_dict(
        {
            "title": "pin in a sleeve, invented",
            "implant": {
                "diameter_mm": 2 * PIN,
                "length_mm": length,
                "abutment_height_mm": TOP,
                "modulus_mpa": pin.modulus_mpa,
                "poisson": pin.poisson,
                "thread": {"form": "none"},
            },
            "bone": {
                "cortical_thickness_mm": 0.0,
                "law": "linear",
                "trabecular_modulus_mpa": bone.modulus_mpa,
                "poisson": bone.poisson,
                "radius_mm": sleeve,
                "depth_mm": depth,
                "support": support,
            },
            "socket": {
                "holds_mm": [[0.0, hold]],
                "gap_width_mm": GAP_WIDTH,
                "gap_fill": "empty",
            },
            "interface": {
                "friction": FRICTION,
                "interference_um": INTERFERENCE_UM,
                "layer_thickness_mm": 0.0,
            },
            "loads": [{"name": "pressing in", "axial_n": 1.0}],
        }
    )
    reach, floor = PIN + GAP_WIDTH, -length - GAP_WIDTH
    section = half_section_of(
        joined(np.arange(0, PIN + 1e-9, element), _outwards(reach, sleeve)),
        joined(np.arange(-hold, TOP + 1e-9, element), [-length], _outwards(floor, -depth)),
        {
            IMPLANT: lambda r, z: (r < PIN) & (z < 0) & (z > -length),
            ABUTMENT: lambda r, z: (r < PIN) & (z > 0),
            GAP: lambda r, z: (r < reach) & (z < -hold) & (z > floor),
            TRABECULAR: everywhere,
        },
        lambda r, z: (r < PIN) | (z < 0),
    )
    return prepared(case, section, 1)


def _outwards(start: float, stop: float) -> Floats:
    """Return a grid in steps of about 0.5 mm, which grow where there is far to go."""
    length = abs(stop - start)
    if length > SLEEVE:
        return graded(start, stop, 0.5, 1.4)
    return np.linspace(start, stop, max(round(2 * length), 3) + 1)


def uncrushable(layer: Layer) -> Layer:
    """Return the layer without a limit to its pressure, as Lamé's theory has it."""
    return replace(layer, crush_mpa=np.full_like(layer.crush_mpa, np.inf))


def pressure_between(layer: Layer, seated: Seated, below: float, above: float) -> float:
    """Return the mean pressure on the edges between two heights.

    A mean, since a stiff layer on a grid carries a ripple of 1 % from ends to middles of edges.
    """
    z = layer.height_mm.reshape(-1, 3)[:, 1]
    inside = np.repeat((z > below) & (z < above), 3) & layer.held
    pressure = seated.state.tractions.traction[0, inside, 0]
    return float(np.average(pressure, weights=layer.weight_mm2[inside]))

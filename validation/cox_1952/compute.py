"""A stiff pin glued into soft bone and pulled: Cox 1952, N = P sinh β(L - z)/sinh βL.

β² = 2 G/(E a² ln(R/a)): E is the pin's modulus, a its radius, G the bone's shear modulus, R the radius
at which the bone is held. The pin's far end is free, as the ends of Cox's fibre are.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from stillroot.inputs.case import Case
from stillroot.mechanics.implant_motion import section_motion
from stillroot.mechanics.loading import load
from stillroot.mechanics.outline import ABUTMENT, IMPLANT, TRABECULAR
from stillroot.mechanics.resultant import Resultant, place_of_unit
from validation.benches import half_section_of, joined
from validation.placed import prepared
from validation.pulled_pin import cuts, tension
from validation.suite import Curve

if TYPE_CHECKING:
    from stillroot.mechanics.contact import ContactState
    from stillroot.mechanics.interface import Layer

RADIUS, HELD_AT, LENGTH, ABUTMENT_MM = 1.0, 4.0, 160.0, 8.0
PIN_MPA, BONE_MPA, BONE_POISSON = 110_000.0, 75.0, 0.3
PULL_N = 100.0
RISE_AT_CREST = place_of_unit("crest", "F_z")


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return tensions as shares of the pull, lengths [mm] and the rise of the pin [µm]."""
    return {key: _FIGURES[key]() for key in keys}


def curve() -> Curve:
    """Return the tension in the pin against depth."""
    layer, state, _ = pulled()
    decay = np.sqrt(BONE_MPA / (1 + BONE_POISSON) / (PIN_MPA * RADIUS**2 * np.log(HELD_AT / RADIUS)))
    depth = np.linspace(0, LENGTH, 81)
    return Curve(
        title="A stiff pin, glued into soft bone and pulled",
        x_label="depth (mm)",
        y_label="tension in the pin over the pull",
        published=[(z, np.sinh(decay * (LENGTH - z)) / np.sinh(decay * LENGTH)) for z in depth],
        computed=[(z, tension(layer, state, z) / PULL_N) for z in cuts(layer)[:-1:5]],
    )


@cache
def pulled() -> tuple[Layer, ContactState, float]:
    """Return the wall, the pulled state and the rise of the pin at the crest [mm]."""
    case = Case.from_dict(
        {
            "title": "a stiff pin in soft bone, invented",
            "implant": {
                "diameter_mm": 2 * RADIUS,
                "length_mm": LENGTH,
                "abutment_diameter_mm": 2 * RADIUS,
                "abutment_height_mm": ABUTMENT_MM,
                "modulus_mpa": PIN_MPA,
                "poisson": 0.33,
                "thread": {"form": "none"},
            },
            "bone": {
                "cortical_thickness_mm": 0.0,
                "law": "linear",
                "trabecular_modulus_mpa": BONE_MPA,
                "poisson": BONE_POISSON,
                "radius_mm": HELD_AT,
                "depth_mm": LENGTH + 1.0,
                "support": "all_round",
            },
            "interface": {"kind": "bonded", "layer_thickness_mm": 0.0},
            "loads": [{"name": "pull", "axial_n": -PULL_N}],
        }
    )
    section = half_section_of(
        joined(np.linspace(0, RADIUS, 4), np.geomspace(RADIUS, HELD_AT, 7)),
        np.linspace(-LENGTH, ABUTMENT_MM, 85),
        {
            IMPLANT: lambda r, z: (r < RADIUS) & (z < 0),
            ABUTMENT: lambda _, z: z > 0,
            TRABECULAR: lambda r, _: r > RADIUS,
        },
        lambda r, z: (r < RADIUS) | (z < 0),
    )
    seated = prepared(case, section, 1).seated()
    pull = Resultant(axial_n=-PULL_N, height_mm=ABUTMENT_MM)
    state = load(seated, [pull], steps=1)
    change = state.w - seated.state.w
    rise = section_motion(seated.site, change, pull.on_sections(ABUTMENT_MM))[RISE_AT_CREST]
    return seated.layer, state, float(rise)


def share_at(depth_mm: float) -> float:
    """Return the tension at a depth over the pull."""
    layer, state, _ = pulled()
    return tension(layer, state, depth_mm) / PULL_N


def decay_length() -> float:
    """Return 1/β from N'' = β² N: N(z - h) + N(z + h) = 2 cosh(βh) N(z), half-way down."""
    middle, h = LENGTH / 2, LENGTH / 4
    ratio = (share_at(middle - h) + share_at(middle + h)) / (2 * share_at(middle))
    return float(h / np.arccosh(ratio))


_FIGURES = {
    "decay_length": decay_length,
    "tension_40": lambda: share_at(40.0),
    "tension_80": lambda: share_at(80.0),
    "rise": lambda: 1000 * pulled()[2],
}

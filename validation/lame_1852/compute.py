"""The pressure of an interference fit: Lamé 1852, through `seat` without friction.

Far from the ends of the fit. A sleeve with a free outer side is in plane stress: without friction no
axial force is passed, and Lamé's stresses leave ε_zz uniform. One held at its outer side is in plane
strain.
"""

from __future__ import annotations

from stillroot.inputs.materials import Material
from validation.pins import (
    BONE,
    INTERFERENCE_UM,
    PIN,
    RIGID_PIN,
    pin_in_sleeve,
    pressure_between,
    uncrushable,
)
from validation.suite import Curve

HOLD = 24.0
"""Six diameters; the pressure is read 2.25 diameters or more from either end [mm]."""
WIDE = 100.0
"""Outer radius of a sleeve as good as infinite, 50 times the pin's [mm]."""
SOFT, STIFF = Material(modulus_mpa=1000.0, poisson=0.33), Material(modulus_mpa=110_000.0, poisson=0.33)


def compute(keys: frozenset[str]) -> dict[str, float]:
    """Return pressures [MPa]."""
    return {key: _FIGURES[key]() for key in keys}


def pressure(pin: Material, support: str, **block: float) -> float:
    """Return the pressure [MPa] in the middle of the fit, the block as `pin_in_sleeve` takes it."""
    bed = pin_in_sleeve(HOLD, pin, support=support, **block)
    layer = uncrushable(bed.layer(friction=0.0))
    return pressure_between(layer, bed.seated(layer), -15.0, -9.0)


def curve() -> Curve:
    """Return the pressure of a stiff pin against the sleeve's outer radius."""
    nu_o, nu_i = BONE.poisson, STIFF.poisson
    pin = (1 - nu_i) / STIFF.modulus_mpa

    def lame(c: float) -> float:
        sleeve = ((c**2 + PIN**2) / (c**2 - PIN**2) + nu_o) / BONE.modulus_mpa
        return INTERFERENCE_UM / 1000 / (PIN * (pin + sleeve))

    return Curve(
        title="Titanium pin, 2 µm too wide, in a sleeve with a free outer side",
        x_label="outer over inner radius",
        y_label="pressure (MPa)",
        published=[(k / 10, lame(PIN * k / 10)) for k in range(20, 102, 2)],
        computed=[
            (k, pressure(STIFF, "base", sleeve=PIN * k)) for k in (2.25, 2.5, 3.0, 4.0, 6.0, 10.0)
        ],
    )


_FIGURES = {
    "free_soft": lambda: pressure(SOFT, "base"),
    "free_stiff": lambda: pressure(STIFF, "base"),
    "held_soft": lambda: pressure(SOFT, "all_round"),
    "held_stiff": lambda: pressure(STIFF, "all_round"),
    "rigid_infinite": lambda: pressure(RIGID_PIN, "base", sleeve=WIDE, below=WIDE),
}

"""A smooth pin pressed into a sleeve: Lamé's pressure, and what friction then makes of it.

The pin is solid, of radius b, in a sleeve of radius c. It ends in a wide empty gap, so that only its
side touches. Invented proportions. Its layer is hard; the 2 µm that stand in for no thickness are in
the formula, so that they are no part of the error.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.case import Case
from stillroot.errors import NotConverged
from stillroot.loading import Resultant, Seated, load, seat
from stillroot.materials import Material
from stillroot.motion import resultant_of_tractions
from stillroot.outline import ABUTMENT, GAP, IMPLANT, TRABECULAR
from stillroot.site import HARD_LAYER_MM, Site, prepare

from ._bench import Floats, everywhere, half_section_of, joined

if TYPE_CHECKING:
    from stillroot.interface import Layer

PIN, SLEEVE, GAP_WIDTH, TOP = 2.0, 5.0, 0.5, 2.0
BONE = Material(modulus_mpa=1000.0, poisson=0.3)
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
) -> Site:
    length, depth = hold + 1, hold + 5
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
                "trabecular_modulus_mpa": bone.modulus_mpa,
                "poisson": bone.poisson,
                "radius_mm": SLEEVE,
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
        joined(np.arange(0, PIN + 1e-9, element), np.linspace(reach, SLEEVE, 6)),
        joined(np.arange(-hold, TOP + 1e-9, element), [-length], np.arange(-depth, floor + 1e-9, 0.5)),
        {
            IMPLANT: lambda r, z: (r < PIN) & (z < 0) & (z > -length),
            ABUTMENT: lambda r, z: (r < PIN) & (z > 0),
            GAP: lambda r, z: (r < reach) & (z < -hold) & (z > floor),
            TRABECULAR: everywhere,
        },
        lambda r, z: (r < PIN) | (z < 0),
    )
    return prepare(case, section, 1)


def lame_pressure(pin: Material, *, sleeve_held: bool = False) -> float:
    """Return p = δ / (b (pin + sleeve) + t/E_oed), far from the ends.

    Pin: (1 - ν)/E, in plane stress, since nothing holds its ends. Sleeve with a free outer side: the
    same, for no axial force is passed without friction and Lamé's stresses then leave ε_zz uniform,
    so (1/E) ((c² + b²)/(c² - b²) + ν). Sleeve held at its outer side: that side hinders ε_zz, so plane
    strain; u = A r + B/r with u(c) = 0 gives (c² - b²)/(2G (c² + b²/(1 - 2ν))). c → ∞ gives p = 2Gδ/b.
    """
    b, c, nu = PIN, SLEEVE, BONE.poisson
    if sleeve_held:
        g = BONE.shear_modulus_mpa
        sleeve = (c**2 - b**2) / (2 * g * (c**2 + b**2 / (1 - 2 * nu)))
    else:
        sleeve = ((c**2 + b**2) / (c**2 - b**2) + nu) / BONE.modulus_mpa
    give = b * ((1 - pin.poisson) / pin.modulus_mpa + sleeve)
    return INTERFERENCE_UM / 1000 / (give + HARD_LAYER_MM / BONE.oedometric_modulus_mpa)


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


@pytest.mark.parametrize("support", ["base", "all_round"])
@pytest.mark.parametrize("pin_modulus", [1000.0, 110_000.0])
def test_interference_gives_the_pressure_of_lame(support: str, pin_modulus: float) -> None:
    """Within 0.1 %, more than two pin diameters from the ends, whose effect has died out there."""
    pin = Material(modulus_mpa=pin_modulus, poisson=0.33)
    site = pin_in_sleeve(24.0, pin, support=support)
    layer = uncrushable(site.layer(friction=0.0))
    found = pressure_between(layer, seat(site, layer), -15.0, -9.0)
    expected = lame_pressure(pin, sleeve_held=support == "all_round")
    assert found == pytest.approx(expected, rel=1e-3)


def test_pressure_below_crushing_is_still_that_of_lame() -> None:
    """The limit to the pressure changes nothing where no pressure comes near it."""
    pin = Material(modulus_mpa=110_000.0, poisson=0.33)
    site = pin_in_sleeve(24.0, pin)
    layer = site.layer(friction=0.0)
    seated = seat(site, layer)
    assert seated.state.tractions.traction[0].max() < 0.5 * layer.crush_mpa.min()
    assert pressure_between(layer, seated, -15.0, -9.0) == pytest.approx(lame_pressure(pin), rel=1e-3)


def test_the_two_plane_conditions_differ() -> None:
    """By far more than the tolerance: mistaking one for the other would be seen."""
    pin = Material(modulus_mpa=1000.0, poisson=0.33)
    assert lame_pressure(pin, sleeve_held=True) > 1.2 * lame_pressure(pin)


RIGID_PIN = Material(modulus_mpa=9e5, poisson=0.0)
"""As good as rigid, so that pulling makes it no thinner."""


def gripped(hold: float, bone: Material = BONE) -> Seated:
    """Return a rigid pin seated without friction, then held by it.

    So no shear is locked in, and the pressure is that of the formula.
    """
    site = pin_in_sleeve(hold, RIGID_PIN, bone=bone, element=1.0)
    seated = seat(site, uncrushable(site.layer(friction=0.0)))
    return replace(seated, layer=replace(seated.layer, friction=FRICTION))


def total_pressure(seated: Seated) -> float:
    """Return ∫ p dA over the whole wall [N]."""
    pressure: Floats = seated.state.tractions.traction[0, :, 0]
    return float(2 * np.pi * np.sum(seated.layer.weight_mm2 * pressure))


def test_a_longer_hold_adds_the_pressure_of_lame() -> None:
    """2πb p per length, within 0.1 %. A difference, so that the higher pressure at the ends, the same
    for both lengths, is no part of it; in all it is worth 0.6 mm of hold."""
    short, long = (total_pressure(gripped(hold)) for hold in (8.0, 12.0))
    per_length = 2 * np.pi * PIN * lame_pressure(RIGID_PIN)
    assert (long - short) / 4.0 == pytest.approx(per_length, rel=1e-3)
    assert long / per_length == pytest.approx(12.6, abs=0.1)


def test_torque_capacity() -> None:
    """µ b ∫p dA, so µp·2πb²L: a torque 1 % below it is held in balance, one 1 % above turns the pin.

    Torque leaves the pressure as it is, so nothing softens the limit.
    """
    seated = gripped(8.0)
    capacity = FRICTION * PIN * total_pressure(seated)
    assert capacity > FRICTION * lame_pressure(RIGID_PIN) * 2 * np.pi * PIN**2 * 8.0
    held = load(seated, [Resultant(torque_nmm=0.99 * capacity)])
    assert resultant_of_tractions(seated.layer, held)[5] == pytest.approx(0.99 * capacity, rel=1e-5)
    assert np.mean(held.tractions.sliding) > 0.8
    with pytest.raises(NotConverged):
        load(seated, [Resultant(torque_nmm=1.01 * capacity)])


def test_pull_out_capacity() -> None:
    """µ ∫p dA, so µp·2πbL, within -4 and +2 %.

    Less sharp than the torque: pulling moves the bore of the sleeve too, and the pressure falls by
    2 % before all of it slides. The bone is without Poisson's contraction here; with it the sleeve,
    stretched from its base, grips harder the harder it is pulled (5 % at ν = 0.3), and µp·2πbL is low.
    """
    seated = gripped(12.0, Material(modulus_mpa=1000.0, poisson=0.0))
    capacity = FRICTION * total_pressure(seated)
    held = load(seated, [Resultant(axial_n=-0.96 * capacity)])
    assert resultant_of_tractions(seated.layer, held)[2] == pytest.approx(0.96 * capacity, rel=1e-5)
    with pytest.raises(NotConverged):
        load(seated, [Resultant(axial_n=-1.02 * capacity)])

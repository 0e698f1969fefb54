"""A smooth pin pressed into a sleeve: the effect of friction on Lamé's pressure.

The pressure itself is compared in validation/lame_1852, and the pin is of `validation.pins`. The 2 µm
that replace a layer of no thickness are in the formula here, so they add no error.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from stillroot.errors import NotConverged
from stillroot.inputs.materials import Material
from stillroot.mechanics.balance import resultant_of_tractions
from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.wall_law import HARD_LAYER_MM
from validation.pins import (
    BONE,
    FRICTION,
    INTERFERENCE_UM,
    PIN,
    RIGID_PIN,
    SLEEVE,
    pin_in_sleeve,
    uncrushable,
)

if TYPE_CHECKING:
    from stillroot.mechanics.seat import Seated
    from validation.benches import Floats


def lame_pressure(pin: Material, *, sleeve_held: bool = False) -> float:
    """Return p = δ / (b (pin + sleeve) + t/E_oed), far from the ends.

    Pin: (1 - ν)/E, plane stress, since its ends are free. Sleeve with a free outer side: the same, since
    no axial force is transferred without friction and Lamé's stresses then leave ε_zz uniform, so (1/E)
    ((c² + b²)/(c² - b²) + ν). Sleeve fixed at its outer side: that side restrains ε_zz, so plane strain;
    u = A r + B/r with u(c) = 0 gives (c² - b²)/(2G (c² + b²/(1 - 2ν))). c → ∞ gives p = 2Gδ/b.
    """
    b, c, nu = PIN, SLEEVE, BONE.poisson
    if sleeve_held:
        g = BONE.shear_modulus_mpa
        sleeve = (c**2 - b**2) / (2 * g * (c**2 + b**2 / (1 - 2 * nu)))
    else:
        sleeve = ((c**2 + b**2) / (c**2 - b**2) + nu) / BONE.modulus_mpa
    give = b * ((1 - pin.poisson) / pin.modulus_mpa + sleeve)
    return INTERFERENCE_UM / 1000 / (give + HARD_LAYER_MM / BONE.oedometric_modulus_mpa)


def test_crushing_changes_nothing_below_its_limit() -> None:
    """The limit has no effect where no pressure comes near it: 1e-5, the tolerance of a seat."""
    pin = pin_in_sleeve(8.0, RIGID_PIN)
    layer = pin.layer(friction=0.0)
    limited, free = (pin.seated(one).state.tractions.traction[0] for one in (layer, uncrushable(layer)))
    assert limited.max() < 0.5 * layer.crush_mpa.min()
    np.testing.assert_allclose(limited, free, rtol=1e-5)


def gripped(hold: float, bone: Material = BONE) -> Seated:
    """Return a rigid pin seated without friction, then loaded with it.

    So no shear is locked in, and the pressure is that of the formula.
    """
    pin = pin_in_sleeve(hold, RIGID_PIN, bone=bone, element=1.0)
    seated = pin.seated(uncrushable(pin.layer(friction=0.0)))
    return replace(seated, layer=replace(seated.layer, friction=FRICTION))


def total_pressure(seated: Seated) -> float:
    """Return ∫ p dA over the whole wall [N]."""
    pressure: Floats = seated.state.tractions.traction[0, :, 0]
    return float(2 * np.pi * np.sum(seated.layer.weight_mm2 * pressure))


def test_a_longer_hold_adds_the_pressure_of_lame() -> None:
    """2πb p per length, within 0.1 %. A difference of two lengths, since it cancels the higher pressure
    at the ends, the same for both; in all that is worth 0.6 mm of hold.
    """
    short, long = (total_pressure(gripped(hold)) for hold in (8.0, 12.0))
    per_length = 2 * np.pi * PIN * lame_pressure(RIGID_PIN)
    assert (long - short) / 4.0 == pytest.approx(per_length, rel=1e-3)
    assert long / per_length == pytest.approx(12.6, abs=0.1)


def test_torque_capacity() -> None:
    """µ b ∫p dA, so µp·2πb²L: a torque 1 % below it is carried in balance, one 1 % above turns the pin.

    Torque does not change the pressure, so nothing blurs the limit.
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

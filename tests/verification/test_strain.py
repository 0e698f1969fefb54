"""Strain of the bone: principal values, and a pressed-in pin against Lamé."""

from __future__ import annotations

import numpy as np
import pytest

from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.strain import ANGLES, TENSILE_YIELD_STRAIN, MeanStrain, _principal, bone_strains
from validation.benches import basis_of, field_of, mesh_of

from ._chain import BONDED, SMOOTH, case_of, seated

STRETCH = 1e-3
CRUSH = case_of().bone.crush_strain


@pytest.mark.parametrize("angle_deg", [0.0, 45.0, 25.0])
def test_a_bar_stretched_across_the_axis_has_one_principal_strain(angle_deg: float) -> None:
    """u_x' = εx' along any direction: half of it is harmonic 0 and half harmonic 2, everywhere alike.

    At 0° the first family alone has harmonic 2, at 45° its twin alone, and between them both.
    """
    basis = basis_of(mesh_of(np.linspace(1.0, 2.0, 4), np.linspace(0.0, 1.0, 3)))
    elements = np.arange(basis.nelems)
    half = STRETCH / 2
    even = field_of(basis, lambda r, _: (half * r, 0 * r, 0 * r)).reshape(-1, 3)
    around = field_of(basis, lambda r, _: (half * r, -half * r, 0 * r)).reshape(-1, 3)
    twice = np.radians(2 * angle_deg)
    u = np.zeros((2, 3, basis.N, 3))
    u[0, 0], u[0, 2], u[1, 2] = even, np.cos(twice) * around, np.sin(twice) * around
    strains = _principal(MeanStrain.of(basis, elements).at(u, ANGLES))
    assert strains.shape == (basis.nelems * len(ANGLES), 2)
    assert strains[:, 1] == pytest.approx(STRETCH, rel=1e-9)
    assert strains[:, 0] == pytest.approx(0.0, abs=1e-12)


def test_the_strained_volume_round_a_pressed_in_pin_is_that_of_lame() -> None:
    """ε_θθ = -ε_rr = p a²/(2G r²) round a long pin (Lamé; Timoshenko & Goodier, Theory of Elasticity):
    it exceeds ε within the radius a √(p/2Gε). The ends account for some 5 %.
    """
    length, radius, modulus = 16.0, 2.0, 100.0
    case = case_of(
        implant={"diameter_mm": 2 * radius, "length_mm": length, **SMOOTH},
        bone={
            "cortical_thickness_mm": 0.0,
            "law": "linear",
            "trabecular_modulus_mpa": modulus,
            "radius_mm": 40.0,
            "depth_mm": 60.0,
            "crush_strain": 0.1,
        },
        interface={"friction": 0.0, "interference_um": 60.0, "layer_thickness_mm": 0.0},
        numerics={"element_mm": 0.25, "harmonics": 3},
    )
    it = seated(case)
    (strain,) = bone_strains(it, [it.state], case.bone.crush_strain)
    layer, pressure = it.layer, it.state.tractions.traction[0, :, 0]
    middle = (layer.height_mm < -0.25 * length) & (layer.height_mm > -0.75 * length)
    shear = modulus / (2 * (1 + case.bone.poisson))
    at_wall = float(np.mean(pressure[middle])) / (2 * shear)
    assert at_wall == pytest.approx(0.06 / radius, rel=0.03)
    volume = np.pi * radius**2 * (at_wall / TENSILE_YIELD_STRAIN - 1) * length
    assert strain.past_yield_mm3 == pytest.approx(volume, rel=0.1)
    assert strain.is_past_yield
    assert 0.8 * at_wall < strain.tensile < 1.2 * at_wall


def test_strain_is_proportional_to_the_load_on_a_bonded_implant() -> None:
    it = seated(case_of(interface=BONDED))
    states = [load(it, [Resultant(lateral_n=n, axial_n=n, height_mm=6.0)]) for n in (10.0, 20.0)]
    once, twice = bone_strains(it, states, CRUSH)
    assert twice.compressive == pytest.approx(2 * once.compressive, rel=1e-4)
    assert twice.tensile == pytest.approx(2 * once.tensile, rel=1e-4)
    assert once.past_yield_mm3 == 0


def test_strain_of_the_coarse_seat_is_that_of_the_fine_one() -> None:
    """Reading the strain over a volume makes it independent of the mesh: within 5 %."""
    push = Resultant(lateral_n=20.0, axial_n=40.0, height_mm=6.0)
    coarse, fine = (seated(case_of(numerics={"element_mm": e})) for e in (0.5, 0.2))
    (first,), (second,) = (bone_strains(it, [load(it, [push])], CRUSH) for it in (coarse, fine))
    assert first.compressive == pytest.approx(second.compressive, rel=0.05)
    assert first.tensile == pytest.approx(second.tensile, rel=0.05)

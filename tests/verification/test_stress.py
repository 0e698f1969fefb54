"""Stress in the bodies: uniform states, a pressed-in pin against Lamé, the resultant of a section."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stillroot.mechanics.fields import displacement
from stillroot.mechanics.loading import load
from stillroot.mechanics.resultant import Resultant
from stillroot.mechanics.stress import seated_displacement, stress_in_plane, von_mises
from validation.benches import Floats, basis_of, mesh_of
from validation.pins import BONE, PIN, RIGID_PIN, SLEEVE, pin_in_sleeve, pressure_between, uncrushable

from ._chain import BONDED, case_of, seated

E, NU, STRAIN = 200.0, 0.3, 1e-3
SHEAR = E / (2 * (1 + NU))
# u_x, u_y, u_z of each uniform strain, as u, v, w of (family, harmonic): a displacement along x is
# (1, -1, 0) of the first family's n = 1, one along y the same of the twin's; u_x = εx is half n = 0 and
# half n = 2, and so is u_x = y, u_y = x in the twin's n = 2.
UNIFORM = {
    "pulled along x": ([(0, 0, "r/2", (1, 0, 0)), (0, 2, "r/2", (1, -1, 0))], (1, 0, 0, 0, 0, 0)),
    "pulled along z": ([(0, 0, "z", (0, 0, 1))], (0, 0, 1, 0, 0, 0)),
    "sheared in xy": ([(1, 2, "r/2", (1, -1, 0))], (0, 0, 0, 1, 0, 0)),
    "sheared in yz": ([(1, 1, "z", (1, -1, 0))], (0, 0, 0, 0, 1, 0)),
    "sheared in xz": ([(0, 1, "z", (1, -1, 0))], (0, 0, 0, 0, 0, 1)),
}


@pytest.mark.parametrize("name", UNIFORM)
def test_a_uniform_strain_gives_the_stress_of_hooke_on_both_sides_of_the_axis(name: str) -> None:
    """σ = λ tr ε I + 2G ε with λ = Eν/((1+ν)(1-2ν)); shear strains are γ, so σ = Gγ."""
    parts, strain = UNIFORM[name]
    basis = basis_of(mesh_of(np.linspace(1.0, 2.0, 4), np.linspace(0.0, 1.0, 3)))
    u = np.zeros((2, 3, basis.N, 3))
    r, z = basis.doflocs
    size = {"r/2": r / 2, "z": z}
    for family, n, grows, components in parts:
        u[family, n] = STRAIN * np.outer(size[grows], components)
    lame = E * NU / ((1 + NU) * (1 - 2 * NU))
    normal, shears = np.array(strain[:3], float), np.array(strain[3:], float)
    expected = STRAIN * np.concatenate([lame * normal.sum() + 2 * SHEAR * normal, SHEAR * shears])
    stress = stress_in_plane(basis, u, np.full(basis.nelems, E), NU)
    np.testing.assert_allclose(
        stress, np.broadcast_to(expected, (2, basis.nelems, 6)), atol=1e-9 * E * STRAIN
    )


def test_the_equivalent_stress_is_the_pull_of_a_bar_and_three_roots_of_its_shear() -> None:
    """Von Mises 1913: σ in a bar pulled by σ, √3 τ in pure shear, nothing under pressure all round."""
    pull, shear, pressure = (7.0, 0, 0, 0, 0, 0), (0, 0, 0, 0, 2.0, 0), (-3.0, -3.0, -3.0, 0, 0, 0)
    told = von_mises(np.array([pull, shear, pressure]))
    np.testing.assert_allclose(told, [7.0, 2.0 * np.sqrt(3), 0.0], atol=1e-12)


def test_a_pressed_in_pin_puts_the_stress_of_lame_into_its_sleeve() -> None:
    """σ_rr, σ_θθ = p b²/(c² - b²) (1 ∓ c²/r²) and σ_zz = 0 in the sleeve, -p, -p, 0 in a solid pin, far
    from the ends (Lamé; Timoshenko & Goodier, Theory of Elasticity, art. 28). p is what the wall says
    there. Within 2 % of p on both sides of the axis: elements of 0.25 mm, and the ends 6 mm away."""
    pin = replace(RIGID_PIN, modulus_mpa=5 * BONE.modulus_mpa, poisson=0.3)
    hold = 16.0
    bed = pin_in_sleeve(hold, pin, element=0.25)
    site, it = bed.site, bed.seated(uncrushable(bed.layer(friction=0.0)))
    moved, below, above = seated_displacement(it), -0.625 * hold, -0.375 * hold
    p = pressure_between(it.layer, it, below, above)
    for body, u, material, lame in (
        (site.pair.implant, moved.implant, pin, lambda r: (-p + 0 * r, -p + 0 * r)),
        (site.pair.bone, moved.bone, BONE, in_sleeve(p)),
    ):
        stress = stress_in_plane(
            body.basis, u, np.full(len(body.region), material.modulus_mpa), material.poisson
        )
        r, z = mean_place(body)
        here = (z > below) & (z < above)
        assert np.sum(here) > 100
        radial, hoop = lame(r[here])
        expected = np.stack([radial, hoop, *np.zeros((4, len(radial)))], axis=-1)
        assert np.max(np.abs(stress[:, here] - expected)) < 0.02 * p


def in_sleeve(p: float):
    share = p * PIN**2 / (SLEEVE**2 - PIN**2)
    return lambda r: (share * (1 - SLEEVE**2 / r**2), share * (1 + SLEEVE**2 / r**2))


def mean_place(body) -> Floats:
    return body.nodes_mm[:, body.elements[:3]].mean(axis=1)


def test_seating_leaves_no_stress_where_the_implant_is_glued_without_interference() -> None:
    moved = seated_displacement(seated(case_of(interface=BONDED)))
    assert not moved.bone.any()
    assert not moved.implant.any()


def test_stress_through_a_section_of_the_abutment_carries_the_load() -> None:
    """∫σ_zz dA = -F on any section above the crest, under an axial push (statics): within 1 %."""
    push = Resultant(axial_n=80.0)
    it = seated(case_of(interface=BONDED, numerics={"element_mm": 0.3}))
    body = it.site.pair.implant
    u = displacement(it, load(it, [push]), push).implant
    elastic = it.site.solids.implant
    stress = stress_in_plane(
        body.basis, u, np.full(len(body.region), elastic.modulus_mpa), elastic.poisson
    )
    volume = (
        2
        * np.pi
        * np.sum(np.asarray(body.basis.dx) * np.asarray(body.basis.global_coordinates())[0], axis=1)
    )
    above = mean_place(body)[1] > 0
    carried = np.sum(stress[0, above, 2] * volume[above]) / it.site.solids.top_mm
    assert carried == pytest.approx(-80.0, rel=0.01)

"""Elastic constants agree with one another, and the default law with measurements."""

from __future__ import annotations

import pytest

from stillroot.inputs import materials


def test_elastic_constants_agree_with_one_another() -> None:
    """E_oed = λ + 2G, λ = 2Gν / (1 - 2ν); without lateral contraction E_oed = E = 2G."""
    bone = materials.Material(modulus_mpa=1370.0, poisson=0.3)
    shear = bone.shear_modulus_mpa
    lame = 2 * shear * 0.3 / (1 - 2 * 0.3)
    assert bone.oedometric_modulus_mpa == pytest.approx(lame + 2 * shear)
    cork = materials.Material(modulus_mpa=20.0, poisson=0.0)
    assert cork.oedometric_modulus_mpa == cork.modulus_mpa == 2 * cork.shear_modulus_mpa


def test_the_default_density_law_lies_inside_the_jaw_measurements() -> None:
    """Seven cubes of one mandible: mean 0.55 g/cm³, 114 to 907 MPa by direction (O'Mahony 2000)."""
    assert 114 < materials.DENSITY_LAWS["carter_hayes_1977"](0.55) < 907

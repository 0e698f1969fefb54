"""The bone: layer and modulus, by number, by depth or by density."""

from __future__ import annotations

from typing import Any

import pytest

from stillroot.inputs.case import Case
from tests.unit.inputs._smallest import assert_refused, smallest


@pytest.mark.parametrize(
    ("law", "constant", "power"),
    [
        ("morgan_2003_femoral_neck", 6850.0, 1.49),  # Morgan, Bayraktar, Keaveny 2003
        ("morgan_2003_vertebra", 4730.0, 1.56),  # Morgan, Bayraktar, Keaveny 2003
        ("morgan_2003_pooled", 8920.0, 1.83),  # the same, from memory
        ("carter_hayes_1977", 3790.0 * 0.01**0.06, 3.0),  # Carter & Hayes 1977, at 0.01 /s
    ],
)
def test_density_laws_are_the_published_powers(law: str, constant: float, power: float) -> None:
    bone = {"cortical_thickness_mm": 1.0, "density": 0.6, "density_law": law}
    ((_, modulus),) = Case.from_dict(smallest(bone=bone)).bone.trabecular_profile_mpa
    assert modulus == pytest.approx(constant * 0.6**power)


def test_a_ct_number_gives_density_and_then_modulus() -> None:
    """ρ = 0.131 + 0.001067 HU g/cm³ (Rho, Hobatho, Ashman 1995, from memory)."""
    bone = {"cortical_thickness_mm": 1.0, "ct_number": 500}
    ((_, modulus),) = Case.from_dict(smallest(bone=bone)).bone.trabecular_profile_mpa
    assert modulus == pytest.approx(3790 * 0.01**0.06 * 0.6645**3)


def test_a_modulus_may_vary_with_depth() -> None:
    pairs = [[0, 800], [5.0, 300.0]]
    bone = Case.from_dict(smallest(bone__trabecular_modulus_mpa=pairs)).bone
    assert bone.trabecular_profile_mpa == ((0.0, 800.0), (5.0, 300.0))


def test_a_cortical_layer_may_be_absent_or_deeper_than_the_implant() -> None:
    for thickness in (0, 12, 40):
        case = Case.from_dict(smallest(bone__cortical_thickness_mm=thickness))
        assert case.bone.cortical_thickness_mm == thickness


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        ({"bone__trabecular_modulus_mpa": "soft"}, 'bone.trabecular_modulus_mpa = "soft"', "a number"),
        ({"bone__cortical_thickness_mm": -1}, "bone.cortical_thickness_mm = -1", "at least 0 mm"),
        (
            {"bone__cortical_modulus_mpa": 2e6},
            "bone.cortical_modulus_mpa = 2000000.0",
            "at most 1000000 MPa",
        ),
        (
            {"bone__trabecular_modulus_mpa": 0.001},
            "bone.trabecular_modulus_mpa = 0.001",
            "at least 0.01 MPa",
        ),
        (
            {"bone__trabecular_modulus_mpa": [[0, 5], [3, -1]]},
            "bone.trabecular_modulus_mpa[2][2] = -1",
            "0.01",
        ),
        (
            {"bone__trabecular_modulus_mpa": [[3, 5], [0, 9]]},
            "bone.trabecular_modulus_mpa",
            "growing depth",
        ),
        ({"bone__trabecular_modulus_mpa": []}, "bone.trabecular_modulus_mpa = []", "growing depth"),
        ({"bone__poisson": 0.5}, "bone.poisson = 0.5", "at most 0.495"),
        ({"bone__poisson": -0.1}, "bone.poisson = -0.1", "at least 0"),
        ({"bone__ct_number": 400}, "bone", "it has trabecular_modulus_mpa and ct_number"),
        ({"bone__trabecular_modulus_mpa": None}, "bone", "it has none"),
        (
            {"bone__density_law": "carter_hayes_1977"},
            'bone.density_law = "carter_hayes_1977"',
            "only with ct_number or density",
        ),
        (
            {"bone": {"cortical_thickness_mm": 1, "density": 0.001}},
            "bone.density = 0.001",
            "gives a trabecular modulus of",
        ),
        ({"bone__cortical_thickness_mm": 0.001}, "bone.cortical_thickness_mm = 0.001", "must be 0"),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)

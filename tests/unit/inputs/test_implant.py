"""The implant and its thread: defaults, elastic constants, and sizes that do not go together."""

from __future__ import annotations

import re
from typing import Any

import pytest

from stillroot.inputs import materials
from stillroot.inputs.case import Case
from tests.unit.inputs._smallest import assert_refused, refusal, smallest


def test_an_abutment_is_never_wider_than_a_narrow_implant() -> None:
    assert Case.from_dict(smallest(implant__diameter_mm=3.3)).implant.abutment_diameter_mm == 3.3


@pytest.mark.parametrize(
    ("form", "apical", "coronal"),
    [("v", 30, 30), ("trapezoid", 15, 15), ("square", 0, 0), ("buttress", 15, 45)],
)
def test_flank_angles_of_the_thread_forms(form: str, apical: float, coronal: float) -> None:
    case = Case.from_dict(smallest(implant__thread__form=form))
    assert case.implant.thread.flank_angles_deg == (apical, coronal)


def test_elastic_constants_of_the_implant() -> None:
    assert Case.from_dict(smallest()).implant.elastic == materials.TITANIUM
    zirconia = Case.from_dict(smallest(implant__material="zirconia"))
    assert zirconia.implant.elastic.modulus_mpa == 210_000
    own = Case.from_dict(smallest(implant__modulus_mpa=1000.0, implant__poisson=0.0))
    assert own.implant.elastic == materials.Material(modulus_mpa=1000.0, poisson=0.0)


SIZES = {"implant__diameter_mm": 4.12345678, "implant__length_mm": 8.12345678}


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({**SIZES, "bone__radius_mm": 1.0}, "bone__radius_mm"),
        ({**SIZES, "bone__depth_mm": 1.0}, "bone__depth_mm"),
        ({**SIZES, "implant__abutment_diameter_mm": 5.0}, "implant__abutment_diameter_mm"),
        (
            {
                **SIZES,
                "implant__taper_deg": 3.0,
                "implant__thread__form": "square",
                "implant__thread__depth_mm": 1.9,
            },
            "implant__thread__depth_mm",
        ),
        (
            {
                "implant__diameter_mm": 3.3,
                "implant__thread__form": "square",
                "implant__thread__depth_mm": 1.5,
            },
            "implant__thread__depth_mm",
        ),
        (
            {"implant__thread__pitch_mm": 0.2, "implant__thread__depth_mm": 0.35},
            "implant__thread__pitch_mm",
        ),
        ({**SIZES, "implant__thread__pitch_mm": 9.0}, "implant__thread__pitch_mm"),
        (
            {
                "implant__thread__form": "square",
                "implant__thread__pitch_mm": 0.5123456789,
                "implant__thread__crest_flat_mm": 0.5123456789,
            },
            "implant__thread__pitch_mm",
        ),
        (
            {
                "implant__thread__form": "square",
                "implant__length_mm": 37.7777777,
                "implant__thread__pitch_mm": 0.5,
            },
            "implant__thread__pitch_mm",
        ),
        (
            {"implant__thread__flank_angle_deg": 1.0, "implant__thread__crest_flat_mm": 0.0},
            "implant__thread__crest_flat_mm",
        ),
    ],
)
def test_the_bound_that_a_message_tells_is_itself_taken(changes: dict[str, Any], key: str) -> None:
    told = re.search(r"at (least|most) ([\d.]+) mm", refusal(smallest(**changes)))
    assert told is not None
    bound = float(told[2])
    Case.from_dict(smallest(**{**changes, key: bound}))
    beyond = bound * (0.999 if told[1] == "least" else 1.001)
    assert key.rpartition("__")[2] in refusal(smallest(**{**changes, key: beyond}))


def test_an_outline_given_inline_is_checked_alike() -> None:
    message = refusal(smallest(implant={"outline_mm": [[2, 0], [-1, -5], [0, -9]]}))
    assert message.startswith("implant.outline_mm = [[2, 0], [-1, -5], [0, -9]]: ")
    assert "the axis at point 2" in message


def test_an_outline_file_is_read_for_a_case_file_only() -> None:
    assert "outline_mm" in refusal(smallest(implant={"outline_csv": "outline.csv"}))


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        ({"implant__material": "steel"}, 'implant.material = "steel"', '"titanium" or "zirconia"'),
        ({"implant__length_mm": 0}, "implant.length_mm = 0", "greater than 0 mm"),
        ({"implant__taper_deg": -1}, "implant.taper_deg = -1", "at least 0 degrees"),
        ({"implant__taper_deg": 12}, "implant.taper_deg = 12", "leaves a tip radius"),
        ({"implant__abutment_diameter_mm": 4.5}, "implant.abutment_diameter_mm = 4.5", "at most 4 mm"),
        ({"implant__thread__depth_mm": 1.8}, "implant.thread.depth_mm = 1.8", "at most 1.75 mm"),
        ({"implant__thread__pitch_mm": 0.3}, "implant.thread.pitch_mm = 0.3", "crest flat (0.1 mm)"),
        ({"implant__thread__pitch_mm": 11}, "implant.thread.pitch_mm = 11", "at most 9.9 mm"),
        ({"implant__thread": {"form": "round"}}, 'implant.thread.form = "round"', '"v", "square"'),
        (
            {"implant__thread": {"form": "square", "flank_angle_deg": 5}},
            "implant.thread.flank_angle_deg = 5",
            'not used with form = "square"',
        ),
        (
            {"implant__thread": {"form": "none", "pitch_mm": 1}},
            "implant.thread.pitch_mm = 1",
            'not used with form = "none"',
        ),
        ({"implant__modulus_mpa": 1e5}, "implant.poisson", "is missing: modulus_mpa needs it"),
        (
            {"implant__material": "titanium", "implant__poisson": 0.3},
            'implant.material = "titanium"',
            "not used with poisson",
        ),
        ({"implant__thread__pitch_mm": 0.01}, "implant.thread.pitch_mm = 0.01", "at least 0.1"),
        ({"implant__abutment_height_mm": 9e15}, "implant.abutment_height_mm", "at most 200"),
        ({"implant__modulus_mpa": 0.01, "implant__poisson": 0.3}, "implant.modulus_mpa", "at least 100"),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)

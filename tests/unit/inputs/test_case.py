"""A case: defaults that one section takes from another, and what its sections ask of each other."""

from pathlib import Path
from typing import Any

import pytest

from stillroot.inputs.case import Case, read_case
from tests.unit.inputs._smallest import SHIPPED, assert_refused, refusal, smallest


def test_an_implant_bears_on_its_whole_length_unless_said_otherwise() -> None:
    assert Case.from_dict(smallest()).socket.holds_mm == ((0.0, 10.0),)


def test_defaults_follow_the_implant() -> None:
    case = Case.from_dict(smallest(implant__abutment_height_mm=4.5))
    assert case.loads[0].height_mm == 4.5
    assert case.implant.abutment_diameter_mm == 4.0


def test_bone_goes_as_far_beside_the_implant_as_below_it_unless_it_is_a_block() -> None:
    data = smallest(implant__diameter_mm=4.0, implant__length_mm=10.0, numerics__far_mm=30.0)
    assert Case.from_dict(data).block_mm == (32.0, 40.0)
    block = Case.from_dict(smallest(bone__radius_mm=9.0, bone__depth_mm=14.0))
    assert block.block_mm == (9.0, 14.0)
    assert block.is_whole_block
    assert not Case.from_dict(smallest(bone__radius_mm=9.0)).is_whole_block


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_case_says_that_it_is_invented(path: Path) -> None:
    assert "invented scenario" in read_case(path).title.lower()
    assert "invented scenario" in path.read_text(encoding="utf-8").splitlines()[0]


def test_the_promised_cases_are_shipped() -> None:
    assert {path.stem for path in SHIPPED} == {
        "foam_block_30deg",
        "canine_socket",
        "healed_premolar",
        "soft_posterior",
    }


def test_a_gap_needs_bone_beyond_it() -> None:
    holds = [[2, 9]]
    beside = refusal(smallest(socket__holds_mm=holds, bone__radius_mm=4.2))
    below = refusal(smallest(socket__holds_mm=holds, bone__depth_mm=11.2))
    assert "must be at least 4.5 mm" in beside
    assert "must be at least 11.5 mm" in below


def test_none_counts_as_not_given() -> None:
    data = smallest()
    data["implant"]["material"] = None
    assert Case.from_dict(data) == Case.from_dict(smallest())


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        ({"loads": []}, "loads = []", "must have at least 1"),
        ({"loads": {"name": "a", "axial_n": 1}}, "loads", "[[loads]]"),
        ({"socket__holds_mm": [[8, 11]]}, "socket.holds_mm = [[8, 11]]", "outside the implant"),
        ({"bone__radius_mm": 3.9}, "bone.radius_mm = 3.9", "at least 4 mm"),
        ({"bone__depth_mm": 10.5}, "bone.depth_mm = 10.5", "at least 11 mm"),
        (
            {"loads": [{"name": "a", "axial_n": 1}, {"name": "a", "axial_n": 2}]},
            "loads",
            '"a" more than once',
        ),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)

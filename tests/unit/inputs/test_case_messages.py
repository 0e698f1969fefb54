"""A message names file, key and value, and says what would be right."""

import math
from pathlib import Path
from typing import Any

import pytest

from stillroot.errors import CaseError
from stillroot.inputs.case import read_case
from tests.unit.inputs._smallest import assert_refused, refusal, smallest, write

SMALLEST = """
title = "smallest"
[implant]
diameter_mm = 4.0
length_mm = 10
[bone]
cortical_thickness_mm = 1.5
trabecular_modulus_mpa = 500
[[loads]]
name = "lateral"
lateral_n = 20
"""


def test_a_message_names_file_key_value_and_what_is_right(tmp_path: Path) -> None:
    path = write(tmp_path, SMALLEST.replace("diameter_mm = 4.0", "diameter_mm = -3"))
    with pytest.raises(CaseError) as caught:
        read_case(path)
    error = caught.value
    assert str(error) == (
        f"{path}: implant.diameter_mm = -3: must be greater than 0 mm (usual: 3 to 5 mm)"
    )
    assert (error.file, error.key, error.value) == (str(path), "implant.diameter_mm", "-3")


def test_a_section_that_is_missing_is_told_how_to_be_written() -> None:
    text = refusal({})
    assert "implant: is missing: write [implant] and its keys below it, diameter_mm, length_mm" in text
    assert "bone: is missing: write [bone] and its keys below it, cortical_thickness_mm" in text
    assert "loads: is missing: write [[loads]] and its keys below it, name" in text


def test_a_wrong_unit_is_one_problem_not_also_a_missing_key() -> None:
    message = refusal(smallest(implant={"diameter_cm": 0.4, "length_mm": 10}))
    assert message == (
        "implant.diameter_cm = 0.4: is an unknown key; did you mean implant.diameter_mm? "
        "Its value is in mm."
    )


def test_many_problems_are_told_together_but_not_all_of_them() -> None:
    wrong = {f"implant__{key}": -1 for key in ("diameter_mm", "length_mm", "abutment_height_mm")}
    bone = {f"bone__{key}": -1 for key in ("radius_mm", "poisson", "depth_mm", "density")}
    lines = refusal(smallest(**wrong, **bone)).splitlines()
    assert len(lines) == 6
    assert lines[-1] == "and 2 more"


@pytest.mark.parametrize(
    ("changes", "place", "said"),
    [
        (
            {"implant__diameter_cm": 0.4},
            "implant.diameter_cm = 0.4",
            "implant.diameter_mm? Its value is in mm",
        ),
        ({"implant__lenght_mm": 10}, "implant.lenght_mm = 10", "did you mean implant.length_mm?"),
        ({"implant__pitch_mm": 0.8}, "implant.pitch_mm = 0.8", "did you mean implant.thread.pitch_mm?"),
        ({"bone__colour": "white"}, 'bone.colour = "white"', "known here: cortical_thickness_mm"),
        ({"load": []}, "load = []", "did you mean loads?"),
        ({"sockets": {}}, "sockets", "did you mean socket?"),
        ({"title": None}, "title", "is missing"),
        ({"implant__length_mm": None}, "implant.length_mm", "is missing"),
        ({"bone": None}, "bone", "is missing"),
        ({"loads": None}, "loads", "is missing"),
        ({"loads": [3]}, "loads[1] = 3", "must be a table, [[loads]]"),
        ({"implant": 3}, "implant = 3", "must be a table, [implant]"),
        ({"implant__thread": "v"}, 'implant.thread = "v"', "must be a table, [implant.thread]"),
        ({"title": 3}, "title = 3", "must be text"),
        ({"title": ""}, 'title = ""', "must not be empty"),
        ({"implant__length_mm": "10"}, 'implant.length_mm = "10"', "must be a number, without quotes"),
        ({"implant__length_mm": True}, "implant.length_mm = true", "must be a number"),
        ({"implant__length_mm": 10**400}, "implant.length_mm = 1000", "must be a number"),
        ({"implant__length_mm": 10**5000}, "implant.length_mm = a number of", "must be a number"),
        ({"numerics__harmonics": 6.0}, "numerics.harmonics = 6.0", "must be a whole number"),
        ({"implant__length_mm": math.nan}, "implant.length_mm = nan", "finite"),
        ({"loads": [{"name": "a", "axial_n": math.inf}]}, "loads[1].axial_n = inf", "finite"),
    ],
)
def test_a_wrong_value_is_refused_by_name(changes: dict[str, Any], place: str, said: str) -> None:
    assert_refused(changes, place, said)

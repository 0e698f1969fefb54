"""An outline gives the implant's sizes, and is refused where it is unsound."""

from pathlib import Path

import pytest

from stillroot.errors import CaseError
from stillroot.inputs.case import read_case
from tests.unit.inputs._smallest import write

OUTLINED = """
title = "outlined"
[implant]
outline_csv = "outline.csv"
[bone]
cortical_thickness_mm = 0
density = 0.5
[[loads]]
name = "pressing in"
force_n = 100
angle_deg = 0
"""


OUTLINE = "r_mm,z_mm\n2.0,0\n2.2,-1\n1.8,-9\n0,-11\n"


def test_an_outline_gives_diameter_and_length(tmp_path: Path) -> None:
    implant = read_case(write(tmp_path, OUTLINED, OUTLINE)).implant
    assert (implant.diameter_mm, implant.length_mm) == (4.4, 11.0)
    assert implant.outline_mm == ((2.0, 0.0), (2.2, -1.0), (1.8, -9.0), (0.0, -11.0))
    assert implant.platform_diameter_mm == implant.abutment_diameter_mm == 4.0


def test_an_outline_may_undercut_but_not_cross(tmp_path: Path) -> None:
    undercut = "r_mm,z_mm\n2,0\n2,-2\n1.6,-1.5\n1.6,-8\n0,-8\n"
    assert read_case(write(tmp_path, OUTLINED, undercut)).implant.length_mm == 8.0


@pytest.mark.parametrize(
    ("outline", "said"),
    [
        (None, "cannot be read"),
        ("", "first line is r_mm,z_mm"),
        ("2,0\n2,-9\n", "first line is r_mm,z_mm"),
        ("r_mm,z_mm\n2,0\n", "at least 2 points"),
        ("r_mm,z_mm\n2,0\n2,-5,1\n0,-9\n", 'line 3 is "2,-5,1"'),
        ("r_mm,z_mm\n2,0\n2\n0,-9\n", 'line 3 is "2"'),
        ("r_mm,z_mm\n2,0\ntwo,-5\n0,-9\n", 'line 3 is "two,-5"'),
        ("r_mm,z_mm\n2,0\nnan,-5\n0,-9\n", 'line 3 is "nan,-5"'),
        ("r_mm,z_mm\n2,-1\n2,-9\n", "begin at the crest"),
        ("r_mm,z_mm\n2,0\n-1,-5\n0,-9\n", "the axis at point 2"),
        ("r_mm,z_mm\n2,0\n0,-5\n1,-9\n", "the axis at point 2"),
        ("r_mm,z_mm\n2,0\n2,1\n0,-9\n", "below the crest"),
        ("r_mm,z_mm\n2,0\n2,-5\n2,-5\n0,-9\n", "points 2 and 3 are the same"),
        ("r_mm,z_mm\n2,0\n2,-9\n1,-8\n", "end at its deepest point"),
        (
            "r_mm,z_mm\n2,0\n1,-6\n1,-3\n2,-8\n",
            "begins at point 1 meets the one that begins at point 3",
        ),
        ("r_mm,z_mm\n2,0\n2,-6\n2,-3\n1,-9\n", "crosses or touches itself"),
        ("r_mm,z_mm\n2,0\n1,-5\n2,-6\n3,-2\n1,-5\n1,-9\n", "crosses or touches itself"),
    ],
)
def test_an_unsound_outline_is_refused(outline: str | None, said: str, tmp_path: Path) -> None:
    path = write(tmp_path, OUTLINED, outline)
    with pytest.raises(CaseError) as caught:
        read_case(path)
    message = str(caught.value)
    assert message.startswith(f'{path}: implant.outline_csv = "outline.csv": ')
    assert said in message
    assert "\n" not in message


@pytest.mark.parametrize("key", ["diameter_mm", "length_mm", "taper_deg"])
def test_an_outline_leaves_no_room_for_other_sizes(key: str, tmp_path: Path) -> None:
    text = OUTLINED.replace("[bone]", f"{key} = 4\n[bone]")
    with pytest.raises(CaseError, match=f"implant.{key} = 4: is not used with an outline"):
        read_case(write(tmp_path, text, OUTLINE))


def test_two_outlines_are_refused(tmp_path: Path) -> None:
    text = OUTLINED.replace("[bone]", "outline_mm = [[2, 0], [0, -9]]\n[bone]")
    with pytest.raises(CaseError, match="is not used with outline_mm"):
        read_case(write(tmp_path, text, OUTLINE))

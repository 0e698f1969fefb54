"""A case is written with every default and reads back equal; a file that cannot be read is refused."""

import copy
from pathlib import Path
from typing import Any

import pytest

from stillroot.errors import CaseError
from stillroot.inputs.case import Case, read_case, resolved_toml
from tests.unit.inputs._smallest import SHIPPED, smallest, write

VARIANTS = {
    "smallest": smallest(),
    "bonded": smallest(interface__kind="bonded"),
    "smooth": smallest(implant__thread={"form": "none"}),
    "square": smallest(implant__thread={"form": "square"}),
    "own material": smallest(implant__modulus_mpa=5000, implant__poisson=0.4),
    "own gap": smallest(socket={"holds_mm": [[2, 5], [7, 10]], "gap_modulus_mpa": 6.56}),
    "density": smallest(bone={"cortical_thickness_mm": 0, "density": 0.4}),
    "profile from below the crest": smallest(bone__trabecular_modulus_mpa=[[1.0, 400]]),
    "torque": smallest(loads=[{"name": "t", "torque_ncm": 10, "height_mm": 0}]),
    "outline": smallest(implant={"outline_mm": [[2, 0], [1.9, -8], [0, -10]]}),
}


@pytest.mark.parametrize("data", VARIANTS.values(), ids=VARIANTS.keys())
def test_a_resolved_case_reads_back_equal(data: dict[str, Any], tmp_path: Path) -> None:
    before = copy.deepcopy(data)
    case = Case.from_dict(data)
    again = read_case(write(tmp_path, resolved_toml(case)))
    assert data == before, "the user's own dictionary is left as it was"
    assert again == case
    assert hash(again) == hash(case)
    assert again.fingerprint() == case.fingerprint()
    assert resolved_toml(again) == resolved_toml(case)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_case_reads_back_equal(path: Path, tmp_path: Path) -> None:
    case = read_case(path)
    assert read_case(write(tmp_path, resolved_toml(case))) == case


def test_the_resolved_case_writes_every_default() -> None:
    text = resolved_toml(Case.from_dict(smallest()))
    for line in ("friction = 0.4", "far_mm = 100.0", "axial_n = 0.0", 'material = "titanium"'):
        assert line in text


def test_a_fingerprint_follows_the_values_not_how_they_were_written() -> None:
    case = Case.from_dict(smallest())
    spelt_out = Case.from_dict(smallest(implant__length_mm=10, interface__friction=0.4))
    signed_zero = Case.from_dict(smallest(implant__taper_deg=-0.0))
    assert case.fingerprint() == spelt_out.fingerprint() == signed_zero.fingerprint()
    assert case.fingerprint() != Case.from_dict(smallest(interface__friction=0.5)).fingerprint()


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="there is no such file"):
        read_case(tmp_path / "nowhere.toml")
    with pytest.raises(CaseError, match="is a folder"):
        read_case(tmp_path)


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


def test_a_file_that_is_not_utf8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(SMALLEST.encode() + b"\n# \xe9")
    with pytest.raises(CaseError, match="is not UTF-8"):
        read_case(path)


def test_broken_toml_is_refused_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match=r"is not valid TOML: .*line 4, column"):
        read_case(write(tmp_path, 'title = "a"\n[implant]\nlength_mm = 10\ndiameter_mm = \n'))

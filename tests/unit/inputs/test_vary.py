"""A case with some of its keys changed: defaults follow, and what excludes another replaces it."""

import tomllib

import pytest

from stillroot import Case
from stillroot.errors import CaseError
from stillroot.inputs.vary import assert_apart, changed, with_keys

CASE = """
title = "Invented scenario: study"
[implant]
diameter_mm = 4.0
length_mm = 4.0
thread = { form = "none" }
[bone]
cortical_thickness_mm = 1.0
trabecular_modulus_mpa = 300.0
[[loads]]
name = "oblique"
axial_n = 20.0
lateral_n = 5.0
[numerics]
element_mm = 1.0
harmonics = 3
load_steps = 1
"""


def test_a_key_changes_what_it_names_and_defaults_follow(shipped_case):
    longer = changed(shipped_case, {"implant.length_mm": shipped_case.implant.length_mm + 1})
    assert longer.implant.length_mm == shipped_case.implant.length_mm + 1
    assert changed(shipped_case, {"load_factor": 1.0}) == shipped_case.model_copy(update={"spread": ()})
    higher = changed(shipped_case, {"loads.height_mm": 9.5})
    assert {load.height_mm for load in higher.loads} == {9.5}


def test_a_hold_over_the_whole_implant_stays_so_when_it_grows():
    case = Case.from_dict(tomllib.loads(CASE))
    assert changed(case, {"implant.length_mm": 6.0}).socket.holds_mm == ((0.0, 6.0),)
    assert changed(case, {"engagement_mm": 1.5}).socket.holds_mm == ((2.5, 4.0),)
    assert changed(case, {"engagement_from_crest_mm": 1.5}).socket.holds_mm == ((0.0, 1.5),)


def test_one_way_of_stating_a_modulus_takes_the_place_of_another():
    case = Case.from_dict(tomllib.loads(CASE))
    by_density = changed(case, {"bone.density": 0.5})
    assert by_density.bone.trabecular_modulus_mpa is None
    doubled = changed(by_density, {"trabecular_factor": 2.0})
    (one,), (two,) = by_density.bone.trabecular_profile_mpa, doubled.bone.trabecular_profile_mpa
    assert two[1] == pytest.approx(2 * one[1])
    assert changed(case, {"interface.measured_torque_ncm": 20.0}).interface.measured_torque_ncm == 20.0


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("loads[2].axial_n", "the list there has 1"),
        ("socket.holds_mm[1][3]", "the list there has 2"),
        ("implant.length_mm[1]", "there is no list there"),
    ],
)
def test_a_place_that_is_not_there_is_told(key, told):
    with pytest.raises(CaseError, match=told):
        changed(Case.from_dict(tomllib.loads(CASE)), {key: 1.0})


def test_a_part_of_a_list_that_the_case_leaves_open_can_be_set():
    case = Case.from_dict(tomllib.loads(CASE))
    assert changed(case, {"socket.holds_mm[1][1]": 1.0}).socket.holds_mm == ((1.0, 4.0),)


def test_what_is_no_number_cannot_vary_but_can_be_set():
    case = Case.from_dict(tomllib.loads(CASE))
    with pytest.raises(CaseError, match="not a number"):
        changed(case, {"bone.support": 1.0})
    assert with_keys(case, {"bone.support": "base"}).bone.support == "base"


def test_two_keys_for_one_thing_are_refused():
    for pair in (
        ("engagement_mm", "engagement_from_crest_mm"),
        ("loads.height_mm", "loads[1].height_mm"),
        ("bone.density", "bone.trabecular_modulus_mpa"),
    ):
        with pytest.raises(CaseError, match="vary one of the two"):
            assert_apart(pair)
    assert_apart(("loads[1].height_mm", "loads[2].height_mm", "bone.poisson"))

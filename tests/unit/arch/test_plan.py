"""The plan file: its defaults, its bites as forces, and what it refuses, in one message."""

from __future__ import annotations

import copy
from pathlib import Path

import numpy as np
import pytest

from stillroot.arch.plan import Plan, read_plan
from stillroot.errors import CaseError

ROOT = Path(__file__).parents[3]
PLANS = sorted((ROOT / "docs" / "plans").glob("*.toml"))
CASE = {
    "title": "one",
    "implant": {"diameter_mm": 4.1, "length_mm": 8.0, "abutment_height_mm": 5.0},
    "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 200.0},
}
PLAN = {
    "title": "two implants",
    "cases": {"one": CASE},
    "implants": [
        {"name": "left", "case": "one", "at_mm": [-8.0, 0.0, 0.0]},
        {"name": "right", "case": "one", "at_mm": [8.0, 0.0, 0.0]},
    ],
    "bridge": {"end_cantilever_mm": 6.0},
    "loads": [{"name": "tip", "bite": "cantilever_tip"}],
}


def changed(change) -> dict:
    data = copy.deepcopy(PLAN)
    change(data)
    return data


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_a_shipped_plan_is_invented_and_says_so_and_survives_being_written_out(path):
    plan = read_plan(path)
    assert plan.title.startswith("Invented scenario")
    assert Plan.from_dict(plan.to_dict()) == plan


def test_the_bridge_runs_through_the_abutments_and_on_along_its_cantilever():
    line = Plan.from_dict(PLAN).line
    assert line.corners_mm.tolist() == [[-8, 0, 5], [8, 0, 5], [14, 0, 5]]
    assert line.length_mm == 22.0


def test_a_tilted_implant_keeps_its_length_and_leans_where_its_azimuth_says():
    data = changed(lambda d: d["implants"][1].update(tilt_deg=30.0, azimuth_deg=90.0))
    plan = Plan.from_dict(data)
    lean = plan.head_mm(plan.implants[1]) - plan.implants[1].crest_mm
    assert lean == pytest.approx([0.0, 2.5, 5.0 * np.sqrt(0.75)])
    frame = plan.implants[1].frame
    assert frame.T @ frame == pytest.approx(np.eye(3))
    assert np.linalg.det(frame) == pytest.approx(1.0)


def test_bites_press_downwards_where_they_are_named_after():
    data = changed(
        lambda d: d.update(
            loads=[
                {"name": bite, "bite": bite, "scale": 2.0}
                for bite in ("one_sided_molar", "both_sides", "incisors", "cantilever_tip")
            ]
        )
    )
    plan = Plan.from_dict(data)
    molar, both, incisors, tip = (plan.point_loads(load) for load in plan.loads)
    assert molar[0].at_mm.tolist() == [11, 0, 11]
    assert [force.at_mm[0] for force in both] == [-8, 11]
    assert incisors[0].at_mm[0] == 0
    assert tip[0].at_mm[0] == 14
    assert tip[0].force_n.tolist() == [0, 0, -300]
    assert all(force.force_n[2] < 0 for force in (*molar, *both, *incisors))


def test_an_implant_left_out_leaves_bridge_and_loads_where_they_are():
    three = changed(
        lambda d: d["implants"].append({"name": "last", "case": "one", "at_mm": [8.0, -12.0, 0.0]})
    )
    plan = Plan.from_dict(three)
    for name in ("last", "3"):
        fewer = plan.without(name)
        assert [implant.name for implant in fewer.implants] == ["left", "right"]
        assert fewer.line.corners_mm.tolist() == plan.line.corners_mm.tolist()
        before, after = (p.point_loads(p.loads[0])[0] for p in (plan, fewer))
        assert before.at_mm.tolist() == after.at_mm.tolist()


def test_a_case_file_is_found_from_the_folder_of_the_plan(tmp_path):
    (tmp_path / "case.toml").write_text(
        (ROOT / "docs" / "cases" / "healed_premolar.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    (tmp_path / "plan.toml").write_text(
        'title = "files"\n'
        '[[implants]]\nname = "a"\ncase_file = "case.toml"\nat_mm = [0, 0, 0]\n'
        '[[implants]]\nname = "b"\ncase_file = "case.toml"\nat_mm = [9, 0, 0]\n'
        '[[loads]]\nname = "bite"\nbite = "incisors"\n',
        encoding="utf-8",
    )
    plan = read_plan(tmp_path / "plan.toml")
    assert {plan.case_of(implant).implant.length_mm for implant in plan.implants} == {10.0}


def one_implant(d):
    d["implants"].pop()


def same_place(d):
    d["implants"][1]["at_mm"] = [-8.0, 0.0, 0.0]


def crossing_tips(d):
    for implant, azimuth in zip(d["implants"], (180.0, 0.0), strict=True):
        implant.update(tilt_deg=45.0, azimuth_deg=azimuth)
        implant["at_mm"] = [implant["at_mm"][0] / 2, 0.0, 0.0]


def missed(d):
    d["bridge"] = {"path_mm": [[-8.0, 0.0, 5.0], [8.0, 6.0, 5.0]]}
    d["loads"] = [{"name": "bite", "bite": "incisors"}]


def off_bridge(d):
    d["loads"] = [{"name": "far", "forces": [{"at_mm": [0, 30, 5], "force_n": [0, 0, -10]}]}]


def same_implant_name(d):
    d["implants"][1]["name"] = "left"


def same_load_name(d):
    d["loads"].append({"name": "tip", "bite": "incisors"})


def no_cantilever(d):
    d["bridge"] = {}


def unknown_case(d):
    d["implants"][0]["case"] = "two"


def wrong_case(d):
    d["cases"]["one"]["implant"]["length_mm"] = -1


def case_without_bone(d):
    del d["cases"]["one"]["bone"]


def no_force(d):
    d["loads"] = [{"name": "none", "forces": [{"at_mm": [0, 0, 5], "force_n": [0, 0, 0]}]}]


def two_forms(d):
    d["loads"][0]["forces"] = [{"at_mm": [0, 0, 5], "force_n": [0, 0, -9]}]


def path_and_cantilever(d):
    d["bridge"]["path_mm"] = [[-8, 0, 5], [14, 0, 5]]


def short_vector(d):
    d["implants"][0]["at_mm"] = [1.0, 2.0]


def text_for_number(d):
    d["bridge"]["width_mm"] = "4"


def case_is_a_number(d):
    d["cases"]["one"] = 3


def long_name(d):
    d["implants"][0]["name"] = "x" * 61


def misspelt(d):
    d["bridge"]["heigth_mm"] = 4.0


@pytest.mark.parametrize(
    ("change", "key", "text"),
    [
        (one_implant, "implants", "at least 2 implants"),
        (same_place, "implants", "one inside the other"),
        (crossing_tips, "implants", "one inside the other"),
        (missed, "bridge.path_mm", 'misses "right" by'),
        (off_bridge, "loads", "is off the bridge"),
        (same_implant_name, "implants", "more than once"),
        (same_load_name, "loads", "more than once"),
        (no_cantilever, "loads", "the bridge has none"),
        (unknown_case, "implants", 'cases in this plan: "one"'),
        (wrong_case, "cases.one.implant.length_mm", "greater than 0 mm"),
        (case_without_bone, "cases.one.bone", "is missing: write [cases.one.bone]"),
        (no_force, "loads[1].forces", "is no load"),
        (two_forms, "loads[1].bite", "give one of the two"),
        (path_and_cantilever, "bridge.end_cantilever_mm", "is not used with path_mm"),
        (short_vector, "implants[1].at_mm", "three numbers"),
        (text_for_number, "bridge.width_mm", "without quotes"),
        (case_is_a_number, "cases.one", "must be a table, [cases.one]"),
        (case_without_bone, "cases.one.bone", "write [cases.one.bone] and its keys below it"),
        (long_name, "implants[1].name", "at most 60 letters"),
        (misspelt, "bridge.heigth_mm", "did you mean bridge.height_mm"),
    ],
    ids=lambda value: value.__name__ if callable(value) else "",
)
def test_a_wrong_plan_is_refused_with_its_key_and_what_would_be_right(change, key, text):
    with pytest.raises(CaseError) as caught:
        Plan.from_dict(changed(change), "plan.toml")
    assert caught.value.key == key
    assert text in str(caught.value)
    assert str(caught.value).startswith("plan.toml: ")
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("nobody", "no such implant"),
        ("0", "no such implant"),
        ("9" * 5000, "no such implant"),
        ("1", "leaves one implant"),
    ],
)
def test_leaving_out_nobody_or_too_many_is_refused(name, text):
    with pytest.raises(CaseError, match=text):
        Plan.from_dict(PLAN).without(name)

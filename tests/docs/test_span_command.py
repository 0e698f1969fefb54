"""`stillroot span`: exit codes, one message, nothing half-written, and the text of page and pictures."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w
from PIL import Image

from stillroot.arch.plan import Plan, read_plan
from stillroot.arch.span import check_span
from stillroot.arch.span_vary import Variation, Varied, vary
from stillroot.errors import CaseError
from stillroot.pictures.span_figure import arch_pictures
from stillroot.writing.output import data_of, document_of
from stillroot.writing.terminal import text_of

ROOT = Path(__file__).parents[2]
PLANS = sorted((ROOT / "docs" / "plans").glob("*.toml"))
COARSE = {
    "title": "one",
    "implant": {"diameter_mm": 4.1, "length_mm": 6.0, "thread": {"form": "v", "pitch_mm": 1.0}},
    "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
    "numerics": {"element_mm": 0.6, "harmonics": 3},
}
PLAN = {
    "title": "Invented scenario: command line",
    "cases": {
        "one": COARSE,
        "soft": {**COARSE, "bone": {**COARSE["bone"], "cortical_thickness_mm": 0.5}},
    },
    "implants": [
        {"name": "right", "case": "one", "at_mm": [-9.0, 0.0, 0.0]},
        {"name": "middle", "case": "one", "at_mm": [0.0, 7.0, 0.0]},
        {
            "name": "left",
            "case": "soft",
            "at_mm": [9.0, 0.0, 0.0],
            "tilt_deg": 15.0,
            "azimuth_deg": -90.0,
        },
    ],
    "bridge": {"end_cantilever_mm": 5.0},
    "loads": [{"name": "tip", "bite": "cantilever_tip"}, {"name": "front", "bite": "incisors"}],
}


@pytest.fixture
def plan_file(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(tomli_w.dumps(PLAN), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def answer():
    return check_span(Plan.from_dict(PLAN), quick=True, unsplinted=True)


def test_the_answer_names_the_governing_implant_and_load_and_what_torques_do_not_tell(run, plan_file):
    code, out, err = run("span", plan_file)
    words = " ".join(out.split())
    assert (code, err) == (0, "")
    assert re.search(r'Peak interface micromotion is [\d.]+ ± [\d.]+ µm .* at "left" under "tip"', words)
    assert "the sum ignores where the load acts" in words
    assert "The model takes the crest as level across the axis of a tilted implant" in words
    assert "no pass or fail" in words
    assert "not a medical device" in words


def test_json_is_all_there_is_on_stdout_and_the_page_lists_every_key(run, plan_file):
    code, out, _ = run("span", plan_file, "--quick", "--unsplinted", "--json")
    assert code == 0
    page = (ROOT / "docs" / "span.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `([^`]+)` \|", page, re.MULTILINE))
    data = json.loads(out)
    load = data["loads"][0]
    implant = load["implants"][0]
    keys = {*data, *load, *implant, *implant["on_single_crown"], *data["governing"]}
    assert keys <= listed


def test_the_torques_and_their_sum_stand_beside(answer):
    data = data_of(answer)
    torques = data["insertion_torques_ncm"]
    assert data["torque_sum_ncm"] == pytest.approx(sum(torques.values()))
    assert f"sum {data['torque_sum_ncm']:.0f}" in text_of(document_of(answer))


def test_the_folder_is_whole_and_the_plan_in_it_gives_the_same_plan(run, plan_file, tmp_path):
    out = tmp_path / "answer"
    assert run("span", plan_file, "--quick", "--out", out)[0] == 0
    names = {path.name for path in out.iterdir()}
    assert names == {
        "span.json",
        "span.txt",
        "plan.toml",
        "report.html",
        *(f"arch-{name}.{kind}" for name in ("1-tip", "2-front") for kind in ("png", "svg")),
    }
    assert read_plan(out / "plan.toml") == read_plan(plan_file)
    assert run("span", plan_file, "--quick", "--out", out)[0] == 0


def test_an_implant_that_is_lost_leaves_its_load_to_the_others(run, plan_file):
    whole, fewer = (
        json.loads(run("span", plan_file, "--quick", "--json", *more)[1])
        for more in ((), ("--without", "middle"))
    )
    assert [i["name"] for i in fewer["loads"][1]["implants"]] == ["right", "left"]
    peaks = [
        max(i["peak_micromotion_um"] for i in data["loads"][1]["implants"]) for data in (whole, fewer)
    ]
    assert peaks[1] > peaks[0]


def test_implants_left_out_by_number_are_counted_as_in_the_file(run, tmp_path):
    path = tmp_path / "four.toml"
    fourth = {"name": "last", "case": "one", "at_mm": [18.0, -9.0, 0.0]}
    path.write_text(tomli_w.dumps({**PLAN, "implants": [*PLAN["implants"], fourth]}), encoding="utf-8")
    answer = json.loads(run("span", path, "--quick", "--json", "--without", 1, "--without", 2)[1])
    assert [i["name"] for i in answer["loads"][0]["implants"]] == ["left", "last"]


def test_a_longer_cantilever_moves_the_implants_more():
    rows = vary(Plan.from_dict(PLAN), "cantilever=2,6,12").rows
    peaks = [row.result.governing.governing.peak.total_um for row in rows if row.result is not None]
    assert len(peaks) == 3
    assert peaks == sorted(peaks)


@pytest.mark.parametrize(
    ("asked", "labels"),
    [
        ("implants", ["3", "2, without middle"]),
        ("stiffness=0.1,1", ["11000 MPa", "110000 MPa", "rigid"]),
        ("engagement:left=3,6", ["3 mm", "6 mm"]),
    ],
)
def test_one_thing_is_varied_at_a_time(run, plan_file, asked, labels):
    code, out, _ = run("span", plan_file, "--vary", asked, "--json")
    assert code == 0
    assert [row["varied_to"] for row in json.loads(out)["rows"]] == labels


@pytest.mark.parametrize(
    ("more", "text"),
    [
        (("--vary", "colour"), "must be cantilever, implants, stiffness or engagement:NAME"),
        (("--vary", "cantilever=a"), "numbers from 0 up"),
        (("--vary", "implants=7"), "whole numbers from 2 to 3"),
        (("--vary", "engagement:nobody"), "no such implant"),
        (("--vary", "implants", "--unsplinted"), "is not used with --vary"),
        (("--without", "nobody"), "no such implant"),
        (("--without", "1", "--without", "left"), "leaves one implant"),
    ],
)
def test_what_cannot_be_asked_is_one_message(run, plan_file, tmp_path, more, text):
    out = () if "--vary" in more else ("--out", tmp_path / "answer")
    code, printed, err = run("span", plan_file, *more, *out)
    assert code == 2
    assert printed == ""
    assert text in err
    assert len(err.strip().splitlines()) == 1
    assert not (tmp_path / "answer").exists()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (None, "there is no such file; give the path of a plan file"),
        ("title = ", "is not valid TOML"),
        ('title = "t"\nimplants = 3\n', "must be a list of tables"),
        (
            'title = "t"\n[[implants]]\nname = "a"\ncase_file = "none.toml"\nat_mm = [0, 0, 0]\n',
            "none.toml: there is no such file",
        ),
    ],
)
def test_a_file_that_is_no_plan_is_refused(run, tmp_path, text, told):
    path = tmp_path / "plan.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    code, out, err = run("span", path, "--out", tmp_path / "answer")
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err
    assert not (tmp_path / "answer").exists()


def test_a_bridge_that_is_pulled_off_smooth_slippery_implants_is_no_number(run, tmp_path):
    slippery = {
        **COARSE,
        "implant": {"diameter_mm": 4.1, "length_mm": 6.0, "thread": {"form": "none"}},
        "interface": {"friction": 0.0},
    }
    pull = {"at_mm": [0.0, 3.0, 6.0], "force_n": [0.0, 0.0, 50.0]}
    upright = [{**implant, "tilt_deg": 0.0} for implant in PLAN["implants"]]
    data = {
        **PLAN,
        "cases": {"one": slippery, "soft": slippery},
        "implants": upright,
        "loads": [{"name": "pulled", "forces": [pull]}],
    }
    path = tmp_path / "plan.toml"
    path.write_text(tomli_w.dumps(data), encoding="utf-8")
    code, out, err = run("span", path, "--quick", "--out", tmp_path / "answer")
    assert code == 3
    assert out == ""
    assert "no equilibrium" in err
    assert not (tmp_path / "answer").exists()


def test_forces_that_cancel_are_no_load_and_those_that_stretch_the_bridge_are_one():
    def with_forces(*places):
        signs = (1.0, -1.0)
        forces = [
            {"at_mm": list(at), "force_n": [40.0 * sign, 0.0, 0.0]}
            for at, sign in zip(places, signs, strict=True)
        ]
        return Plan.from_dict({**PLAN, "loads": [{"name": "pair", "forces": forces}]})

    with pytest.raises(CaseError, match='load "pair": its forces cancel'):
        check_span(with_forces((0.0, 7.0, 6.0), (0.0, 7.0, 6.0)), quick=True)
    load = check_span(with_forces((9.0, 0.0, 6.0), (-9.0, 0.0, 6.0)), quick=True).loads[0]
    assert load.balance < 1e-4
    assert load.implants[0].force[0] < 0 < load.implants[2].force[0]


def test_the_page_shows_what_tight_collars_do_to_sum_and_motion():
    collars = read_plan(ROOT / "docs" / "plans" / "tight_collars.toml")
    data = collars.to_dict()
    along = Plan.from_dict(
        {**data, "implants": [{**implant, "case": "along"} for implant in data["implants"]]}
    )
    columns = []
    for plan in (collars, along):
        result = check_span(plan, quick=True)
        molar, pressed = result.loads[0].implants, result.loads[2].implants
        torques = [torque.insertion_ncm for torque in result.torques if torque is not None]
        moved = [molar[4].peak, pressed[2].peak, molar[3].peak, molar[3].head]
        columns.append([torques[1], torques[2], sum(torques), *(each.total_um for each in moved)])
    page = (ROOT / "docs" / "span.md").read_text(encoding="utf-8")
    table = page.partition("| torques, canines and others")[2].partition("\n\n")[0]
    shown = [[float(x) for x in re.findall(r"[\d.]+", row)] for row in table.splitlines()]
    (canine, other, canine_along, other_along), *rest = shown
    told = [
        [canine, other, *(row[0] for row in rest)],
        [canine_along, other_along, *(row[1] for row in rest)],
    ]
    for now, then in zip(columns, told, strict=True):
        assert then == pytest.approx(now, rel=0.02, abs=0.5)


def test_the_picture_on_the_page_is_of_the_plan():
    with Image.open(ROOT / "docs" / "images" / "five_on_soft_side-arch.png") as image:
        shown = image.text["Description"]
    plan = read_plan(ROOT / "docs" / "plans" / "five_on_soft_side.toml").to_dict()
    of_its_load = Plan.from_dict({**plan, "loads": plan["loads"][3:4]})
    (picture,) = arch_pictures(check_span(of_its_load, quick=True, unsplinted=True))
    now = picture.alt
    number = re.compile(r"\d+(?:\.\d+)?")
    assert number.sub("#", shown) == number.sub("#", now)
    for one, other in zip(number.findall(shown), number.findall(now), strict=True):
        assert float(one) == pytest.approx(float(other), rel=0.02, abs=0.1 if "." in one else 1.0)


def test_the_pictures_tell_what_the_table_tells(answer):
    for picture, load in zip(arch_pictures(answer), answer.loads, strict=True):
        for implant in load.implants:
            assert implant.name in picture.alt
            assert f"{abs(implant.axial_n):.0f} N" in picture.alt or abs(implant.axial_n) < 0.5


def test_what_gives_way_is_told_in_words_in_table_data_and_picture(answer):
    load = answer.loads[0]
    lost = replace(load, alone=tuple(replace(a, peak_um=None, head_um=None) for a in load.alone))
    result = replace(answer, loads=(lost, *answer.loads[1:]))
    assert 'on single crowns "right" gives way' in " ".join(text_of(document_of(result)).split())
    assert data_of(result)["loads"][0]["implants"][0]["on_single_crown"]["peak_micromotion_um"] is None
    drawn = [text.get_text() for ax in arch_pictures(result)[0].figure.axes for text in ax.texts]
    assert sum("gives way" in text for text in drawn) == len(load.implants)
    varied = Variation(plan=answer.plan, what="Nothing", rows=(Varied(label="so", result=None),))
    assert "gives way" in text_of(document_of(varied))
    assert data_of(varied)["rows"] == [{"varied_to": "so", "answer": None}]


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_nothing_in_the_pictures_of_a_shipped_plan_overlaps_or_is_cut_off(path):
    plan = read_plan(path).to_dict()
    for case in plan["cases"].values():
        case["bone"]["law"] = "linear"  # where texts stand does not depend on it
    for picture in arch_pictures(check_span(Plan.from_dict(plan), quick=True, unsplinted=True)):
        figure = picture.figure
        figure.draw_without_rendering()
        texts = [t for ax in figure.axes for t in ax.texts if t.get_text()]
        boxes = [(text.get_text(), text.get_window_extent()) for text in texts]
        page = figure.bbox
        for i, (told, box) in enumerate(boxes):
            assert page.x0 <= box.x0, told
            assert box.x1 <= page.x1, told
            crossed = [other for other, its in boxes[i + 1 :] if box.overlaps(its)]
            assert not crossed, (told, crossed)

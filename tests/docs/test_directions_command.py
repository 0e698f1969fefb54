"""`stillroot directions`: what is printed, what --json contains, what --out writes, what is refused."""

import json

import numpy as np
import pytest
from matplotlib.image import imread

from stillroot import read_case
from stillroot.answers.answer import directions
from stillroot.answers.wording import rounded
from stillroot.pictures.directions_figure import LOOK, _width, six_arrows
from stillroot.words.directions import IN_PLAIN_WORDS, in_words
from stillroot.words.torques import TORQUE_IS_ONE

CASE = """
title = "Invented scenario: six directions"
[implant]
diameter_mm = 4.0
length_mm = 6.0
thread = { pitch_mm = 1.0 }
[bone]
cortical_thickness_mm = 1.0
law = "linear"
trabecular_modulus_mpa = 300.0
radius_mm = 10.0
depth_mm = 11.0
[[loads]]
name = "push"
axial_n = 50.0
[numerics]
element_mm = 0.6
harmonics = 3
"""
LOOSE = "[interface]\nfriction = 0.0\ninterference_um = 0.0\n"
SHORT = '[socket]\nholds_mm = [[4.0, 5.0]]\ngap_fill = "empty"\n'
BONDED = '[interface]\nkind = "bonded"\n'
KEYS = {
    "name",
    "stiffness",
    "unit",
    "secant_stiffness",
    "micromotion_um",
    "head_movement_um",
    "state",
    "reference_load",
    "reference_unit",
}


@pytest.fixture
def case_file(tmp_path):
    return written(tmp_path, "")


def written(folder, more):
    path = folder / "case.toml"
    path.write_text(CASE + more, encoding="utf-8")
    return path


def test_a_table_a_sentence_and_the_cautions(run, case_file):
    code, out, err = run("directions", case_file)
    assert code == 0
    assert err == ""
    flat = " ".join(out.split())
    for words in ("Pressed in", "Pulled out", "Tilted about y", "Turned about its axis"):
        assert words in flat
    assert "Moves little in all six directions." in flat
    assert TORQUE_IS_ONE in flat
    assert "Insertion torque" in flat
    assert "Centre of rotation" in flat
    assert "A third of the held surface slips: sideways" in flat
    for word in (
        "Moves little:",
        "moves much:",
        "Gives way:",
        "bands overlap",
        "secant",
        "tangent",
        "not a medical device",
    ):
        assert word in flat
    assert "not a medical device" in flat
    assert max(map(len, out.splitlines())) <= 100


def test_json_is_all_there_is_on_stdout(run, case_file):
    code, out, _ = run("directions", case_file, "--json")
    assert code == 0
    data = json.loads(out)
    assert len(data["directions"]) == 7
    for row in data["directions"]:
        assert set(row) >= KEYS
        assert row["unit"] == ("N/mm" if row["reference_unit"] == "N" else "N·mm/rad")
    matrix = np.array(data["stiffness_matrix"])
    assert matrix.shape == (6, 6)
    np.testing.assert_allclose(matrix, matrix.T, atol=1e-6 * np.abs(matrix).max())
    assert data["reference_height_mm"] == 0
    assert -6 < data["centre_of_rotation_mm"] < 0
    assert data["insertion_torque_ncm"] >= data["removal_torque_ncm"] > 0
    assert data["sliding_axial_n"] > 0
    assert set(data) >= {"sliding_lateral_n", "versions", "caution"}


def test_stiffness_and_load_are_in_one_unit(run, case_file):
    """Load over stiffness is the movement: as printed for head movement, within the difference between
    the axis and the mean of its section.
    """
    _, out, _ = run("directions", case_file, "--json")
    rows = {row["name"]: row for row in json.loads(out)["directions"]}
    for name in ("lateral x", "axial in"):
        row = rows[name]
        moved_um = 1000 * row["reference_load"] / row["secant_stiffness"]
        assert moved_um == pytest.approx(row["head_movement_um"], rel=0.1)
    turn = rows["rotation about the axis"]
    turned = np.degrees(turn["reference_load"] / turn["secant_stiffness"])
    assert turned == pytest.approx(turn["head_rotation_deg"], rel=0.1)


def test_the_matrix_at_another_height_is_the_same_implant(run, case_file):
    """Transferred by hand: H is that of a rigid body; a rotation about y moves the crest by -5 mm times
    it.
    """
    crest, above = (
        np.array(
            json.loads(run("directions", case_file, "--json", "--at-height", h)[1])["stiffness_matrix"]
        )
        for h in (0, 5)
    )
    h = np.eye(6)
    h[0, 4], h[1, 3] = -5.0, 5.0
    np.testing.assert_allclose(h.T @ crest @ h, above, atol=1e-9 * np.abs(above).max())


@pytest.mark.parametrize("height", ["-7", "nan", "1e9"])
def test_a_height_off_the_implant_is_refused(run, case_file, tmp_path, height):
    code, out, err = run("directions", case_file, "--at-height", height, "--out", tmp_path / "answer")
    assert code == 2
    assert out == ""
    assert "--at-height" in err
    assert "-6 mm" in err
    assert list(tmp_path.iterdir()) == [case_file]


def test_the_folder_is_whole_and_can_be_written_again(run, case_file, tmp_path):
    folder = tmp_path / "answer"
    for _ in range(2):
        assert run("directions", case_file, "--out", folder)[0] == 0
    names = {path.name for path in folder.iterdir()}
    pictures = {"directions.png", "directions.svg"}
    assert names == {"directions.json", "directions.txt", "report.html", *pictures}
    assert json.loads((folder / "directions.json").read_text("utf-8"))["title"].startswith("Invented")
    assert "Moves little in all six" in (folder / "directions.txt").read_text("utf-8")
    grey = imread(folder / "directions.png")[..., :3]
    assert np.ptp(grey, axis=2).max() < 0.02, "nothing is told by colour"


def test_a_folder_of_another_answer_is_left_alone(run, case_file, tmp_path):
    folder = tmp_path / "answer"
    folder.mkdir()
    (folder / "result.json").write_text("{}", encoding="utf-8")
    code, _, err = run("directions", case_file, "--out", folder)
    assert code == 2
    assert "other files" in err
    assert [path.name for path in folder.iterdir()] == ["result.json"]


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ("", "Moves little in all six directions."),
        (LOOSE, "Gives way about its own axis; moves little in the other five."),
    ],
)
def test_the_sentence_counts_the_six(tmp_path, more, sentence):
    assert in_words(directions(read_case(written(tmp_path, more))).six) == sentence


def test_a_glued_implant_has_directions_and_no_torque(run, tmp_path):
    code, out, _ = run("directions", written(tmp_path, BONDED), "--json")
    data = json.loads(out)
    assert code == 0
    assert data["insertion_torque_ncm"] is None
    assert {row["state"] for row in data["directions"]} == {"moves little"}


def test_a_reading_that_cannot_be_is_one_message(run, tmp_path):
    path = written(tmp_path, "[interface]\nmeasured_torque_ncm = 900.0\n")
    code, _, err = run("directions", path)
    assert code == 2
    assert err.startswith(f"stillroot: {path}: interface.measured_torque_ncm = 900")


@pytest.mark.parametrize("more", ["", LOOSE, SHORT], ids=["moves little", "gives way", "moves much"])
def test_the_picture_tells_what_the_table_tells(tmp_path, more):
    answer = directions(read_case(written(tmp_path, more)))
    picture = six_arrows(answer)
    texts = [t.get_text() for ax in picture.figure.axes for t in ax.texts]
    for row in answer.six.directions:
        (label,) = (text for text in texts if text.startswith(f"{IN_PLAIN_WORDS[row.name]}\n"))
        told = "gives way" if row.micromotion is None else f"{rounded(row.micromotion.peak.total_um)} µm"
        assert told in label
        assert told in picture.alt
        assert row.state in label
    title = " ".join(text.get_text() for text in picture.figure.texts).split()
    assert " ".join(in_words(answer.six).split()) in " ".join(title)
    shafts = [_width(row) for row in answer.six.directions]
    motions = [
        np.inf if r.micromotion is None else r.micromotion.peak.total_um for r in answer.six.directions
    ]
    order = np.argsort(motions)
    assert np.all(np.diff(np.array(shafts)[order]) <= 0), "the less it moves, the thicker"


@pytest.mark.parametrize("more", ["", LOOSE, SHORT], ids=["moves little", "gives way", "moves much"])
def test_nothing_in_the_picture_overlaps_or_is_cut_off(tmp_path, more):
    figure = six_arrows(directions(read_case(written(tmp_path, more)))).figure
    figure.draw_without_rendering()
    boxes = [t.get_window_extent() for ax in figure.axes for t in ax.texts]
    page = figure.bbox
    for i, box in enumerate(boxes):
        assert page.x0 <= box.x0
        assert box.x1 <= page.x1
        assert not any(box.overlaps(other) for other in boxes[i + 1 :])


def test_what_moves_little_moves_much_and_gives_way_differ_without_colour():
    assert len({(look["facecolor"], look.get("hatch")) for look in LOOK.values()}) == 3

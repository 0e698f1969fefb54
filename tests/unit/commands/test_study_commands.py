"""The commands of studies: numbers on stdout, files whole or not there, one message for bad input."""

import json
import sqlite3
import tomllib
from contextlib import closing
from dataclasses import replace

import polars as pl
import pytest

from stillroot import Case, Where, spread
from stillroot.answers.wording import CAUTION
from stillroot.studies.outcome import no_outcome
from stillroot.words.study_documents import spread_sentences

CASE = """
title = "Invented scenario: study"
[implant]
diameter_mm = 4.0
length_mm = 4.0
thread = { form = "none" }
[bone]
cortical_thickness_mm = 1.0
law = "linear"
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
SPREAD = """
[spread]
trabecular_factor = { median = 1, factor = 2 }
load_factor = [0.7, 1.3]
"""


@pytest.fixture(autouse=True)
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("STILLROOT_STORE", str(tmp_path / "kept" / "solved.sqlite"))


@pytest.fixture
def case_file(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(CASE + SPREAD, encoding="utf-8")
    return path


@pytest.fixture
def softer_file(tmp_path):
    path = tmp_path / "softer.toml"
    path.write_text(CASE.replace("300.0", "60.0") + SPREAD, encoding="utf-8")
    return path


SWEEP = ("--vary", "load_factor=0.5:1.5:3", "--vary", "bone.trabecular_modulus_mpa=100,400")


def test_a_sweep_writes_table_data_text_and_pictures(run, case_file, tmp_path):
    folder = tmp_path / "answer"
    code, out, err = run("sweep", case_file, *SWEEP, "--out", folder, "--workers", 1)
    assert (code, err) == (0, "")
    assert "Numerical error: at most" in out
    assert "not a medical device" in out
    names = {path.name for path in folder.iterdir()}
    assert names >= {"study.json", "study.txt", "table.csv", "table.parquet"}
    assert any(name.endswith(".png") for name in names)
    data = json.loads((folder / "study.json").read_text("utf-8"))
    table = pl.read_parquet(folder / "table.parquet")
    written = pl.read_csv(folder / "table.csv", schema=table.schema, comment_prefix="#")
    assert table.equals(written)
    assert (folder / "table.csv").read_text("utf-8").startswith(f"# {CAUTION}\n")
    assert pl.read_parquet_metadata(folder / "table.parquet")["caution"] == CAUTION
    assert table.height == len(data["cases"]) == 6
    assert {"load_factor", "bone.trabecular_modulus_mpa", "peak_micromotion_um"} <= set(table.columns)
    peaks = table.sort("bone.trabecular_modulus_mpa", "load_factor")["peak_micromotion_um"].to_list()
    assert peaks[0] < peaks[1] < peaks[2]
    assert all(soft > stiff for soft, stiff in zip(peaks[:3], peaks[3:], strict=True))


def test_a_spread_tells_chances_and_drivers(run, case_file, tmp_path):
    code, out, err = run(
        "spread", case_file, "--samples", 8, "--workers", 1, "--out", tmp_path / "answer"
    )
    assert (code, err) == (0, "")
    for words in ("(5th to 95th percentile", "The whole spread lies in one band", "What drives it"):
        assert words in " ".join(out.split())
    data = json.loads((tmp_path / "answer" / "study.json").read_text("utf-8"))
    assert len(data["samples"]) == 8 * (2 + 2)
    assert data["drivers"][0]["key"] == "trabecular_factor"
    assert data["can_be_trusted"] is True
    assert {item["source"] for item in data["inputs"]} == {"the case file"}


def test_a_case_without_a_spread_takes_shipped_ranges_and_says_so(run, tmp_path):
    path = tmp_path / "plain.toml"
    path.write_text(CASE, encoding="utf-8")
    code, out, _ = run("spread", path, "--samples", 8, "--no-drivers", "--workers", 1, "--bone-type", 4)
    assert code == 0
    assert "type 4: CT numbers 200 to 500 HU" in " ".join(out.split())
    assert "assumption" in out


def test_how_far_a_number_may_go(run, case_file, tmp_path):
    arguments = ("--below", 20, "--samples", 8, "--workers", 1, "--ask", "load", "--ask", "bone")
    code, out, err = run("bounds", case_file, *arguments, "--out", tmp_path / "answer")
    assert (code, err) == (0, "")
    assert "in 90% of 8 samples" in out
    assert "Largest load, times the stated one:" in out
    assert "which is" in out
    data = json.loads((tmp_path / "answer" / "study.json").read_text("utf-8"))
    for answer in data["answers"]:
        assert answer["peak_um"] <= 20
        assert answer["value"] in [tried["value"] for tried in answer["tried"]]


def test_a_study_without_any_answer_is_told_and_ends_with_3(run, tmp_path):
    """A smooth implant without friction turns freely: under a torque it has no equilibrium."""
    path = tmp_path / "turned.toml"
    path.write_text(CASE.replace("axial_n = 20.0", "torque_ncm = 1.0"), encoding="utf-8")
    code, out, _ = run("sweep", path, "--vary", "interface.friction=0", "--workers", 1)
    assert code == 3
    assert "1 of 1 cases have no answer" in out


def test_cases_side_by_side(run, case_file, softer_file, tmp_path):
    code, out, err = run(
        "compare", case_file, softer_file, "--samples", 8, "--workers", 1, "--out", tmp_path / "answer"
    )
    assert (code, err) == (0, "")
    assert "bone.trabecular_modulus_mpa" in out
    assert "beyond the spread (it does so in 100% of the samples)" in " ".join(out.split())
    assert (tmp_path / "answer" / "table.csv").is_file()


def test_units_and_names_in_brackets_are_printed_as_they_stand(run, case_file, softer_file, tmp_path):
    named = tmp_path / "with[b]brackets.toml"
    named.write_text(softer_file.read_text(encoding="utf-8"), encoding="utf-8")
    _, out, _ = run("compare", case_file, named, "--no-spread", "--workers", 1)
    assert "[mm]" in out
    assert "with[b]brackets" in out.split("What differs")[0]


def test_many_cases_side_by_side_stay_readable(run, tmp_path):
    paths = [tmp_path / f"an_invented_case_with_a_long_name_{n}.toml" for n in range(6)]
    for n, path in enumerate(paths):
        path.write_text(CASE.replace("300.0", f"{300.0 + n}"), encoding="utf-8")
    _, out, _ = run("compare", *paths, "--no-spread", "--workers", 1)
    assert "bone.trabecular_modulus_mpa" in out
    assert "…" not in out
    assert max(map(len, out.splitlines())) <= 100


def test_what_is_wrong_with_a_case_of_a_comparison_names_it(run, case_file, tmp_path):
    path = tmp_path / "plain.toml"
    path.write_text(CASE, encoding="utf-8")
    code, out, err = run("compare", path, case_file, "--bone-type", 3)
    assert (code, out) == (2, "")
    assert err.startswith("stillroot: case: the case has a [spread] of its own")


def test_json_is_all_there_is_on_stdout(run, case_file):
    code, out, _ = run("sweep", case_file, *SWEEP, "--json", "--workers", 1)
    data = json.loads(out)
    assert code == 0
    assert set(data) >= {"grid", "cases", "relative_error", "versions", "program", "caution", "case"}


def test_what_is_solved_is_kept_shown_and_cleared(run, case_file):
    run("sweep", case_file, "--vary", "load_factor=1,2", "--workers", 1)
    _, out, _ = run("store")
    assert "4 cases solved by this version, 0 by others" in out  # two of them with their errors
    _, out, _ = run("store", "--clear")
    assert "Forgot 4 solved cases" in out
    assert "0 cases solved by this version" in out


def test_cases_that_fail_are_counted_with_reasons_and_too_many_spoil_a_study(run, tmp_path):
    """A smooth implant without friction turns freely: under a torque it has no equilibrium."""
    path = tmp_path / "turned.toml"
    path.write_text(CASE.replace("axial_n = 20.0", "torque_ncm = 1.0"), encoding="utf-8")
    code, out, _ = run("sweep", path, "--vary", "interface.friction=0,0.4", "--workers", 1)
    told = " ".join(out.split())
    assert code == 0
    assert '1 of 2 cases have no answer: 1 × load "oblique": the implant gives way at' in told
    assert "this result cannot be trusted" in told


SWEPT = ("sweep", "CASE", "--vary")
BAD = {
    "unknown key": ((*SWEPT, "implant.lenght_mm=3:5:3"), "did you mean implant.length_mm"),
    "no number": ((*SWEPT, "implant.material=1:2:3"), "is not a number"),
    "no values": ((*SWEPT, "load_factor"), "must be KEY=from:to:count"),
    "empty range": ((*SWEPT, "load_factor=2:1:5"), "is an empty range"),
    "count of zero": ((*SWEPT, "load_factor=1:2:0"), "must have 2 to"),
    "no count": ((*SWEPT, "load_factor=1:2"), "must be KEY=from:to:count"),
    "text": ((*SWEPT, "load_factor=a:b:3"), "must be KEY=from:to:count"),
    "not finite": ((*SWEPT, "load_factor=1,nan"), "must be KEY=from:to:count"),
    "log from zero": ((*SWEPT, "load_factor=0:1:3:log"), "must begin above 0"),
    "twice": ((*SWEPT, "load_factor=1,2", "--vary", "load_factor=3,4"), "is varied already"),
    "beyond a limit": ((*SWEPT, "implant.diameter_mm=0.1:5:3"), "at least 0.25 mm must remain"),
    "no such list": ((*SWEPT, "loads[2].axial_n=1,2"), "the list there has 1"),
    "too many": (
        (*SWEPT, "load_factor=1:2:1000", "--vary", "interface.friction=0:1:1000"),
        "1 to 100000",
    ),
    "numbers without end": ((*SWEPT, "load_factor=-1e308:1e308:3"), "must be KEY=from:to:count"),
    "from no beginning": ((*SWEPT, "load_factor=-inf:inf:3"), "must be KEY=from:to:count"),
    "two ways to a modulus": (
        (*SWEPT, "bone.trabecular_modulus_mpa=50,100", "--vary", "bone.density=0.2,0.4"),
        "one takes the place of the other",
    ),
    "one load and all loads": (
        (*SWEPT, "loads.axial_n=5,10", "--vary", "loads[1].axial_n=20,30"),
        "one takes the place of the other",
    ),
    "two holds": (
        (*SWEPT, "engagement_mm=1,2", "--vary", "engagement_from_crest_mm=1,2"),
        "one takes the place of the other",
    ),
    "a question that the case lacks": (
        ("bounds", "HELD", "--below", 50, "--ask", "bone", "--ask", "length"),
        "is no question that this case has",
    ),
    "a key of thousands of letters": ((*SWEPT, f"{'x' * 5000}=1"), "xxx…xxx"),
    "no samples": (("spread", "CASE", "--samples", 0), "must be a power of two"),
    "seven samples": (("spread", "CASE", "--samples", 7), "must be a power of two"),
    "two spreads": (("spread", "CASE", "--bone-type", 3), "leave out one of the two"),
    "no limit": (("bounds", "CASE", "--below", 0), "must be a motion above 0"),
    "no confidence": (("bounds", "CASE", "--below", 50, "--confidence", "20%"), "must be from 50%"),
    "bounds, no samples": (("bounds", "CASE", "--below", 50, "--samples", 0), "must be a power of two"),
    "one case": (("compare", "CASE"), "a comparison takes from 2"),
    "the same case": (("compare", "CASE", "CASE"), "given more than once"),
    "no file": (("compare", "CASE", "nowhere.toml"), "there is no such file"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_one_message_and_nothing_is_written(run, case_file, tmp_path, name):
    arguments, said = BAD[name]
    held = tmp_path / "held.toml"
    held.write_text(f"{CASE}[socket]\nholds_mm = [[0.0, 3.0]]\n", encoding="utf-8")
    placed = [{"CASE": case_file, "HELD": held}.get(a, a) for a in arguments]
    code, out, err = run(*placed, "--out", tmp_path / "answer")
    assert code == 2
    assert out == ""
    assert err.startswith("stillroot: ")
    assert err.count("\n") == 1
    assert said in err
    assert len(err) < 1000
    assert not (tmp_path / "answer").exists()


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("bone.density = [0.1, 0.5]\nbone.modulus = [1, 2]", "spread.bone.modulus"),
        ("interface.friction = [-0.1, 0.5]", "it reaches -0.1, which is no sound case"),
        ("interface.friction = { mean = 0.3, sd = 0.2 }", "it reaches -0.3, which is no sound case"),
        ("implant.thread = [1, 2]", "is not a number"),
        ("load_factor = 2", "must be a range such as"),
        ("load_factor = [1, 1" + "0" * 400 + "]", "must be a range such as"),
        ("load_factor = { median = 1, factor = 1e7 }", "a factor above 1, at most 1000"),
        ("loads.height_mm = [1, 2]\n'loads.height_mm' = [3, 4]", "is given twice"),
        ("bone.ct_number = [200, 300]\nbone.density = [0.2, 0.4]", "takes the place of the other"),
    ],
)
def test_a_spread_that_makes_no_sense_is_refused(run, tmp_path, table, said):
    path = tmp_path / "case.toml"
    path.write_text(f"{CASE}\n[spread]\n{table}\n", encoding="utf-8")
    code, out, err = run("spread", path, "--samples", 8)
    assert (code, out) == (2, "")
    assert said in err
    assert str(path) in err


def test_samples_without_an_answer_are_part_of_what_is_said():
    case = Case.from_dict(tomllib.loads(CASE + SPREAD))
    found = spread(case, Where(workers=1), samples=16, drivers=False)
    none = no_outcome(case, "no equilibrium was found")
    some = replace(found, outcomes=(*found.outcomes[:16], *[none] * 16))
    assert "below 50 µm and no answer each have a chance" in spread_sentences(some)[1]
    one = replace(found, outcomes=(found.outcomes[0], *[none] * 31))
    assert spread_sentences(one)[1] == "Almost no sample has an answer, so no band can be given."


def test_no_cluster_is_exit_code_4(run, case_file):
    code, out, err = run("sweep", case_file, *SWEEP, "--cluster", "nowhere")
    assert (code, out) == (4, "")
    assert "no dask scheduler answers there" in err


def test_a_store_that_cannot_be_is_one_message(run, case_file, tmp_path):
    code, out, err = run("sweep", case_file, *SWEEP, "--store", tmp_path)
    assert (code, out) == (2, "")
    assert "solved cases cannot be kept there" in err


def test_what_is_no_store_is_not_written_over(run, tmp_path):
    letter, album = tmp_path / "letter.txt", tmp_path / "album.sqlite"
    letter.write_text("x", encoding="utf-8")
    with closing(sqlite3.connect(album)) as made:
        made.execute("CREATE TABLE photos (name TEXT)")
    for path in (letter, album):
        before = path.read_bytes()
        code, out, err = run("store", "--clear", "--store", path)
        assert (code, out) == (2, "")
        assert f"{path}: solved cases cannot be kept there" in err
        assert path.read_bytes() == before


def test_a_spoilt_row_of_the_store_is_solved_again(run, case_file, tmp_path):
    arguments = ("sweep", case_file, "--vary", "load_factor=1,2", "--workers", 1, "--json")
    whole = run(*arguments)[1]
    with closing(sqlite3.connect(tmp_path / "kept" / "solved.sqlite")) as kept, kept:
        kept.execute("UPDATE solved SET outcome = '{'")
    assert run(*arguments) == (0, whole, "")

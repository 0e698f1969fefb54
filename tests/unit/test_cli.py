"""The command line: exit codes, one message, nothing half-written, JSON alone on stdout."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import meshio
import numpy as np
import polars as pl
import pytest

from stillroot import read_case
from stillroot.answers.answer import check
from stillroot.inputs.case import resolved_toml
from stillroot.mechanics.stress import von_mises
from stillroot.studies import explaining
from stillroot.writing import field_files

CASE = """
title = "Invented scenario: command line"
[implant]
diameter_mm = 4.0
length_mm = 6.0
thread = { pitch_mm = 1.0 }
[bone]
cortical_thickness_mm = 1.0
law = "linear"
trabecular_modulus_mpa = 300.0
[[loads]]
name = "push and bend"
axial_n = 50.0
lateral_n = 10.0
[numerics]
element_mm = 0.6
harmonics = 3
"""


@pytest.fixture
def unexplained(monkeypatch):
    """Leave out the explanations of a report: tests of the other files need not wait for them."""
    monkeypatch.setattr(explaining, "explain", lambda result, **_: result)


@pytest.fixture
def case_file(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


def test_a_check_ends_in_a_table_and_a_summary(run, case_file):
    code, out, err = run("check", case_file)
    assert code == 0
    assert err == ""
    assert "push and bend" in out
    assert "the implant moves about" in out
    assert "peak interface micromotion is" in out
    assert "no pass or fail" in out
    assert "not a medical device" in out


def test_json_is_all_there_is_on_stdout(run, case_file):
    code, out, _ = run("check", case_file, "--json")
    assert code == 0
    data = json.loads(out)
    load = data["loads"][0]
    assert data["engagement_length_mm"] == 6.0
    assert data["engaged_threads"] == 6.0
    assert data["insertion_torque_ncm"] > 0
    assert set(data) >= {"summary", "versions", "loads"}
    assert load["peak_micromotion_um"] == pytest.approx(np.hypot(load["sliding_um"], load["opening_um"]))
    assert load["mean_micromotion_um"] < load["p95_micromotion_um"] <= load["peak_micromotion_um"]
    assert set(load["share_above"]) == {"50", "100", "150"}
    assert set(load["peak_at"]) >= {"depth_mm", "radius_mm", "angle_deg"}
    head = load["head_movement_um"]
    parts = [head["lateral"], head["across"], head["axial"]]
    assert head["total"] == pytest.approx(np.linalg.norm(parts))
    assert load["band"] == "below 50 µm"
    assert load["error_um"] > 0
    assert load["equilibrium_residual"] < 1e-4


def test_out_holds_everything_and_the_case_can_be_run_again(run, case_file, tmp_path):
    folder = tmp_path / "deep" / "answer"
    code, _, _ = run("check", case_file, "--out", folder)
    assert code == 0
    names = {path.name for path in folder.iterdir()}
    assert {"result.json", "summary.txt", "case.toml", "mesh.vtu", "summary.png"} <= names
    assert {"section-1-push-and-bend.svg", "unrolled-1-push-and-bend.png"} <= names
    assert read_case(folder / "case.toml") == read_case(case_file)
    assert (folder / "case.toml").read_text("utf-8") == resolved_toml(read_case(case_file))
    first = json.loads((folder / "result.json").read_text("utf-8"))
    run("check", folder / "case.toml", "--out", folder)
    assert json.loads((folder / "result.json").read_text("utf-8")) == first
    assert [path.name for path in folder.parent.iterdir()] == ["answer"], "nothing left beside it"


def _fields_of(result, answer):
    field = field_files.displacement(result.seated, answer.state, answer.resultant)
    seat = field_files.seated_displacement(result.seated)
    return field_files.load_fields(result, answer.state, field, seat)


def test_the_displacement_in_the_file_jumps_at_the_wall_by_the_micromotion(case_file):
    result = check(read_case(case_file))
    answer = result.loads[0]
    mesh = _fields_of(result, answer)
    wall = result.seated.layer
    jumps = []
    for side in (1, -1):
        at = np.column_stack([side * wall.radius_mm, 0 * wall.radius_mm, wall.height_mm])
        first = np.argmin(np.linalg.norm(mesh.points[:, None] - at, axis=2), axis=0)
        n_implant = 2 * result.seated.site.pair.implant.nodes_mm.shape[1]
        bone = n_implant + np.argmin(np.linalg.norm(mesh.points[n_implant:, None] - at, axis=2), axis=0)
        moved = mesh.point_data["displacement_um"]
        jumps.append(np.linalg.norm(moved[first] - moved[bone], axis=1))
    angles = np.degrees(answer.micromotion.angles)
    total = answer.micromotion.total_um
    np.testing.assert_allclose(jumps[0], total[:, np.isclose(angles, 0)][:, 0], atol=1e-6 * total.max())
    np.testing.assert_allclose(
        jumps[1][wall.radius_mm > 0.01],
        total[:, np.isclose(angles, 180)][:, 0][wall.radius_mm > 0.01],
        atol=1e-6 * total.max(),
    )


@pytest.mark.usefixtures("unexplained")
def test_the_fields_can_be_read_by_others(run, case_file, tmp_path, capsys):
    run("check", case_file, "--out", tmp_path / "answer")
    mesh = meshio.read(tmp_path / "answer" / "fields-1-push-and-bend.vtu")
    capsys.readouterr()
    assert mesh.cells[0].type == "triangle6"
    corners, middle = mesh.cells[0].data[:, :3], mesh.cells[0].data[:, 3:]
    np.testing.assert_allclose(
        mesh.points[middle],
        0.5 * (mesh.points[corners] + mesh.points[np.roll(corners, -1, axis=1)]),
        atol=1e-9,
    )
    modulus = mesh.cell_data["modulus_mpa"][0]
    assert set(np.unique(modulus)) == {300.0, 13700.0, 110000.0}
    above = mesh.points[corners, 2].mean(axis=1) > 0
    assert set(modulus[above]) == {110000.0}, "the abutment is of the implant's material"
    stress, equivalent = mesh.cell_data["stress_mpa"][0], mesh.cell_data["von_mises_mpa"][0]
    assert stress.shape == (len(corners), 6)
    np.testing.assert_allclose(equivalent, von_mises(stress), rtol=1e-4, atol=1e-5)


@pytest.mark.usefixtures("unexplained")
def test_the_interface_in_the_files_is_that_of_the_answer(run, case_file, tmp_path):
    run("check", case_file, "--out", tmp_path / "answer")
    (load,) = json.loads((tmp_path / "answer" / "result.json").read_text("utf-8"))["loads"]
    mesh = meshio.read(tmp_path / "answer" / "interface-1-push-and-bend.vtu")
    motion, held = mesh.point_data["micromotion_um"], mesh.cell_data["held"][0] == 1
    assert motion[mesh.cells[0].data[held]].max() == pytest.approx(load["peak_micromotion_um"], rel=1e-3)
    force = mesh.cell_data["traction_mpa"][0] * mesh.cell_data["area_mm2"][0][:, None]
    size = load["axial_n"]
    np.testing.assert_allclose(
        force.sum(axis=0), [load["lateral_n"], 0, -load["axial_n"]], atol=1e-3 * size
    )
    table = pl.read_csv(tmp_path / "answer" / "interface-1-push-and-bend.csv", comment_prefix="#")
    on_held = table.filter(pl.col("held"))
    mean = np.average(on_held["micromotion_um"], weights=on_held["area_mm2"])
    assert mean == pytest.approx(load["mean_micromotion_um"], rel=0.01)


BAD = {
    "unknown key": (("length_mm", "lenght_mm"), "length_mm"),
    "wrong unit": (("length_mm = 6.0", "length_cm = 0.6"), "length_mm"),
    "negative": (("length_mm = 6.0", "length_mm = -6.0"), "greater than 0"),
    "nan": (("axial_n = 50.0", "axial_n = nan"), "axial_n"),
    "thread too deep": (("pitch_mm = 1.0", "pitch_mm = 5.0, depth_mm = 1.9"), "core"),
    "hold outside": (("[[loads]]", "[socket]\nholds_mm = [[0, 7]]\n[[loads]]"), "outside the implant"),
    "no engagement": (("[[loads]]", "[socket]\nholds_mm = []\n[[loads]]"), "engagement of zero"),
    "both load forms": (("axial_n = 50.0", "force_n = 50.0"), "force_n and angle_deg"),
    "broken toml": (("[bone]", "[bone"), "not valid TOML"),
}


@pytest.mark.parametrize(("change", "expected"), BAD.values(), ids=BAD)
def test_bad_input_is_one_message_and_writes_nothing(run, tmp_path, change, expected):
    path = tmp_path / "bad.toml"
    path.write_text(CASE.replace(*change), encoding="utf-8")
    code, out, err = run("check", path, "--out", tmp_path / "answer")
    assert code == 2
    assert out == ""
    assert err.startswith(f"stillroot: {path}")
    assert expected in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_file_is_one_message(run, tmp_path):
    code, _, err = run("check", tmp_path / "none.toml")
    assert code == 2
    assert "there is no such file" in err


@pytest.mark.parametrize("kind", ["file", "foreign folder"])
def test_an_output_folder_that_would_be_harmed_is_refused(run, case_file, tmp_path, kind):
    target = tmp_path / "target"
    if kind == "file":
        target.write_text("mine", encoding="utf-8")
    else:
        target.mkdir()
        (target / "letter.txt").write_text("mine", encoding="utf-8")
    code, _, err = run("check", case_file, "--out", target)
    assert code == 2
    assert "--out" in err
    assert (target if kind == "file" else target / "letter.txt").read_text("utf-8") == "mine"


MOUNTED = """
import os, sys
from pathlib import Path
from stillroot.errors import OutputError
from stillroot.writing.whole_folder import assert_writable
folder = Path(sys.argv[1])
assert_writable(folder / "inside", "result.json")
(folder.parent / "link").symlink_to(folder)
for named in (folder, folder.parent / "link"):
    try:
        assert_writable(named, "result.json")
    except OutputError as error:
        print(error)
assert not any(folder.iterdir())
"""


def test_a_mount_point_is_refused_before_any_work_is_done(tmp_path):
    mount = tmp_path / "mount"
    mount.mkdir()
    into = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c"]
    mounted = 'mount -t tmpfs none "$0" && exec "$1" -c "$2" "$0"'
    try:
        subprocess.run([*into, 'mount -t tmpfs none "$0"', mount], check=True, capture_output=True)  # noqa: S603
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("nothing can be mounted here")
    told = subprocess.run(  # noqa: S603
        [*into, mounted, mount, sys.executable, MOUNTED], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert [line.split(":")[0] for line in told] == [f"--out {mount}", f"--out {tmp_path / 'link'}"]
    assert all("mount point" in line and "name a folder in it" in line for line in told)


def test_a_load_that_nothing_holds_gives_way_and_has_no_number(run, tmp_path):
    path = tmp_path / "loose.toml"
    text = CASE.replace("lateral_n = 10.0", "torque_ncm = 5.0")
    path.write_text(text + "[interface]\nfriction = 0\ninterference_um = 0\n", encoding="utf-8")
    code, out, _ = run("check", path, "--json", "--no-range")
    (load,) = json.loads(out)["loads"]
    assert code == 0
    assert load["range_um"] is None
    assert load["gives_way_at"] == pytest.approx(0.0, abs=1e-6)
    assert load["peak_micromotion_um"] is load["error_um"] is load["remaining_um"]["peak"] is None
    assert load["band"] == "gives way"
    assert "The implant gives way at 0% of" in json.loads(out)["summary"]


@pytest.mark.usefixtures("without_gmsh")
def test_a_machine_without_gmsh_is_told_what_to_install(run, case_file):
    code, _, err = run("check", case_file)
    assert code == 4
    assert "apt-get install" in err


@pytest.mark.usefixtures("unexplained")
def test_a_failure_while_writing_leaves_the_earlier_answer_whole(run, case_file, tmp_path, monkeypatch):
    folder = tmp_path / "answer"
    run("check", case_file, "--out", folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}

    def fails(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(field_files, "load_fields", fails)
    code, _, err = run("check", case_file, "--out", folder)
    assert code == 2
    assert "No space left on device" in err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert {path.name for path in tmp_path.iterdir()} == {"answer", "case.toml"}


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_an_interrupt_leaves_nothing_half_written(case_file, tmp_path):
    code = (
        "import stillroot.writing.field_files as e, time, stillroot.cli as c\n"
        "def slow(*_):\n    print('writing', flush=True); time.sleep(60)\n"
        "e.load_fields = slow\n"
        f"c.main(['check', {str(case_file)!r}, '--out', {str(tmp_path / 'answer')!r}])\n"
    )
    process = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "writing\n"
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "nothing was written" in err
    assert "Traceback" not in err
    assert [path.name for path in Path(tmp_path).iterdir()] == ["case.toml"]

"""The folder of the lesson: what is kept when it is stopped, the table, and what the page says."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
import time
from html.parser import HTMLParser

import pytest

from stillroot.answers.wording import CAUTION
from stillroot.errors import OutputError
from stillroot.studies import lesson as lessons
from stillroot.studies import lesson_sites as sites
from stillroot.studies import running, store
from stillroot.studies.lesson import PREDICTORS, TORQUE, Plan
from stillroot.studies.store import key_of
from stillroot.writing import lesson_files
from stillroot.writing.lesson_files import make_lesson

SMALL = Plan(count=8, small=True)


def quiet(*_: object) -> None:
    """Ignore progress."""


@pytest.fixture
def counted(monkeypatch):
    """Collect the title and the element size of each case that is solved."""
    seen = []
    solve = running.solved

    def counting(chain, case, **how):
        seen.append((case.title, case.numerics.element_mm))
        return solve(chain, case, **how)

    monkeypatch.setattr(running, "solved", counting)
    return seen


def coarse(seen):
    """Return the numbers of the sites among cases solved as coarsely as the small set."""
    numbers = [re.search(r"site (\d+) of the lesson", title) for title, _ in seen]
    sizes = [size for _, size in seen]
    return [
        int(n[1]) for n, size in zip(numbers, sizes, strict=True) if n and size == SMALL.grain.element_mm
    ]


COLUMNS = [
    "site",
    *("engaged_threads", "trabecular_modulus_mpa", "interference_um", "diameter_mm", "friction"),
    *("hold_place_0_crest_1_tip", "hold_top_mm", "hold_bottom_mm", "engagement_length_mm"),
    *("cortical_hold_mm", "length_times_trabecular_n_mm", "length_times_modulus_n_mm", "outcome"),
    *("insertion_torque_ncm", "share_crushed", "peak_micromotion_um", "peak_depth_mm"),
    *("mean_micromotion_um", "p95_micromotion_um", "head_movement_um", "reason"),
    *("finer_insertion_torque_ncm", "finer_peak_micromotion_um", "load_axial_n", "load_lateral_n"),
    *("load_height_mm", "element_mm", "harmonics", "stillroot_version"),
]


def test_the_table_holds_every_site_with_units_in_its_columns(lesson_folder):
    folder, lesson = lesson_folder
    with (folder / "sites.csv").open(encoding="utf-8", newline="") as file:
        assert file.readline() == f"# {CAUTION}\n"
        rows = list(csv.DictReader(file))
    assert len(rows) == 8
    assert list(rows[0]) == COLUMNS
    for row, answer in zip(rows, lesson.answers, strict=True):
        assert int(row["site"]) == answer.point.index
        assert float(row["insertion_torque_ncm"]) == answer.insertion_torque_ncm
        assert float(row["peak_micromotion_um"]) == answer.peak_micromotion_um
        assert float(row["diameter_mm"]) == answer.point.diameter_mm
        assert float(row["load_lateral_n"]) == 30
    assert sum(row["finer_peak_micromotion_um"] != "" for row in rows) == len(lesson.error.sites)


def test_the_error_of_the_set_is_that_of_the_table(lesson_folder):
    folder, lesson = lesson_folder
    with (folder / "sites.csv").open(encoding="utf-8", newline="") as file:
        file.readline()  # the caution
        rows = [row for row in csv.DictReader(file) if row["finer_peak_micromotion_um"]]
    off = [
        abs(float(r["peak_micromotion_um"]) / float(r["finer_peak_micromotion_um"]) - 1) for r in rows
    ]
    assert lesson.error.largest_peak == pytest.approx(max(off))
    assert 0 < lesson.error.largest_peak < 0.3


class Page(HTMLParser):
    """Collect images, addresses and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.images: list[dict[str, str]] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if tag == "img":
            self.images.append(found)
        self.addresses += [
            v for k, v in found.items() if k in {"src", "href", "srcset", "action", "data"}
        ]
        if tag not in {"img", "meta", "br"}:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def page(lesson_folder):
    folder, _ = lesson_folder
    return Page((folder / "lesson.html").read_text(encoding="utf-8"))


def test_the_page_is_whole_and_needs_no_network(page):
    assert page.open == []
    assert page.addresses
    assert all(address.startswith("data:image/png;base64,") for address in page.addresses)
    assert not re.search(r"url\(|@import|<script", "".join(page.words))


def test_every_picture_is_told_in_words(page, lesson_folder):
    folder, _ = lesson_folder
    assert len(page.images) == len(list(folder.glob("*.png"))) >= 3
    assert all(len(image["alt"]) > 100 for image in page.images)


def test_the_page_holds_its_numbers(page, lesson_folder):
    _, lesson = lesson_folder
    text = " ".join(" ".join(page.words).split())
    torque = lesson.groups[0].correlations[PREDICTORS.index(TORQUE)]
    assert f"ρ = {torque.rho:.2f}".replace("-", "−") in text
    for result in (result for answer in lesson.built for result in answer.results):
        assert f"{result.governing.head.total_um:.0f}" in text
    for pair in lesson.equal_motion:
        assert f"{pair.first.insertion_torque_ncm:.0f}" in text
    assert "r = 0.55" in text
    assert "Ottoni" in text
    assert "not a medical device" in text
    assert "none is a patient" in text
    assert "Do not teach from its figures" in text


def test_a_finished_lesson_is_not_solved_again(lesson_folder, counted, monkeypatch):
    folder, first = lesson_folder
    before = (folder / "sites.csv").read_bytes(), (folder / "lesson.html").read_bytes()

    def ranked_again(_plan, answers, fine, *_):
        assert tuple(answers) == first.answers
        assert sorted(answer.point.index for answer in fine) == sorted(first.error.sites)
        return first

    monkeypatch.setattr(lessons, "lesson_of", ranked_again)
    make_lesson(folder, SMALL, 1, quiet)
    assert counted == []
    assert ((folder / "sites.csv").read_bytes(), (folder / "lesson.html").read_bytes()) == before


def test_a_longer_set_solves_only_what_is_new(lesson_folder, counted, monkeypatch, tmp_path):
    folder, _ = lesson_folder
    monkeypatch.setattr(lessons, "lesson_of", lambda *_: pytest.fail("far enough"))
    copy = tmp_path / "copy"
    copy.mkdir()
    (copy / "sites.jsonl").write_bytes((folder / "sites.jsonl").read_bytes())
    with pytest.raises(pytest.fail.Exception, match="far enough"):
        make_lesson(copy, Plan(count=9, small=True), 1, quiet)
    assert coarse(counted) == [9]


def test_another_version_or_grain_is_solved_anew(lesson_folder, monkeypatch):
    folder, lesson = lesson_folder
    kept = lesson_files.SiteFile.opened(folder)
    point = lesson.answers[0].point

    def is_kept(grain):
        return bool(kept.found([key_of(sites.case_of(point, grain), with_error=False)]))

    assert is_kept(sites.SMALL_CLOUD)
    assert not is_kept(sites.CLOUD)
    monkeypatch.setattr(store, "program", lambda: "99.0+other")
    assert not is_kept(sites.SMALL_CLOUD)


def test_a_line_of_an_older_version_is_passed_over(tmp_path):
    (tmp_path / "sites.jsonl").write_text('{"case": "c", "program": "0.1", "answer": {}}\n', "utf-8")
    assert lesson_files.SiteFile.opened(tmp_path).found(["c", ""]) == {}


def test_a_line_left_unfinished_is_cut_off(lesson_folder, tmp_path):
    folder, _ = lesson_folder
    lines = (folder / "sites.jsonl").read_bytes().splitlines(keepends=True)
    (tmp_path / "sites.jsonl").write_bytes(b"".join(lines[:3]) + lines[3][:50])
    kept = lesson_files.SiteFile.opened(tmp_path)
    assert len(kept.found([json.loads(line)["key"] for line in lines])) == 3
    assert kept.path.read_bytes() == b"".join(lines[:3])


def test_a_failure_while_writing_leaves_the_earlier_lesson_whole(lesson_folder, monkeypatch):
    folder, lesson = lesson_folder
    monkeypatch.setattr(lessons, "lesson_of", lambda *_: lesson)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(lesson_files, "page", full)
    with pytest.raises(OutputError, match="No space left"):
        make_lesson(folder, SMALL, 1, quiet)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize("kind", ["file", "foreign folder"])
def test_what_is_not_a_lesson_is_left_alone(tmp_path, kind):
    target = tmp_path / "target"
    if kind == "file":
        target.write_text("mine", encoding="utf-8")
    else:
        target.mkdir()
        (target / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="name a"):
        make_lesson(target, SMALL, 1, quiet)
    assert [path.name for path in tmp_path.rglob("*.*")] == ([] if kind == "file" else ["letter.txt"])


def test_notes_laid_beside_a_lesson_stay(lesson_folder, monkeypatch):
    folder, lesson = lesson_folder
    monkeypatch.setattr(lessons, "lesson_of", lambda *_: lesson)
    note = folder / "notes.txt"
    note.write_text("mine", encoding="utf-8")
    make_lesson(folder, SMALL, 1, quiet)
    assert note.read_text(encoding="utf-8") == "mine"
    note.unlink()


# --- What its pairs show -----------------------------------------------------------------------------


def figures_of(lesson, key):
    (found,) = (answer for answer in lesson.built if answer.pair.key == key)
    torques = [result.torque.insertion_ncm for result in found.results]
    return torques, [result.governing.peak.total_um for result in found.results], found


def test_a_rougher_surface_multiplies_torque_and_not_the_hold_against_a_push(lesson_folder):
    """Below full slip everywhere, torque is µ p r: four times the friction is four times the torque."""
    (slippery, rough), (more, less), _ = figures_of(lesson_folder[1], "surface")
    assert rough == pytest.approx(4 * slippery, rel=0.02)
    assert 1.0 < more / less < 2.0


def test_the_collar_gives_the_torque_and_the_length_below_it_holds_against_tilt(lesson_folder):
    (short, long), (more, less), found = figures_of(lesson_folder[1], "depth")
    assert short < long < 1.2 * short
    assert more > 1.5 * less
    heads = [result.governing.head.total_um for result in found.results]
    assert heads[0] > 2.5 * heads[1]


def test_fit_and_stiffness_give_one_torque_and_very_different_motions(lesson_folder):
    (tight, easy), (more, less), _ = figures_of(lesson_folder[1], "fit")
    assert easy == pytest.approx(tight, rel=0.1)
    assert more > 3 * less  # with the linear bone of the small set


def test_a_clot_takes_load_off_a_short_hold(lesson_folder):
    _, peaks, found = figures_of(lesson_folder[1], "depth")
    assert found.clot_um[0] < 0.9 * peaks[0]


# --- Stopped and gone on ------------------------------------------------------------------------------


def started(folder, *arguments):
    code = f"from stillroot.cli import main; main({['lesson', str(folder), *arguments]!r})"
    program = f"if __name__ == '__main__':\n    {code}\n"
    script = folder.parent / "run.py"
    script.write_text(program, encoding="utf-8")
    return subprocess.Popen(  # noqa: S603 - our own code
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def wait_for_lines(path, count):
    for _ in range(600):
        if path.is_file() and path.read_bytes().count(b"\n") >= count:
            return
        time.sleep(0.1)
    pytest.fail(f"{path} did not come to {count} lines")


@pytest.mark.skipif(os.name != "posix", reason="signals")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["interrupted", "killed"])
def test_a_stopped_run_goes_on_where_it_was(tmp_path, counted, monkeypatch, how):
    folder = tmp_path / "stopped"
    run = started(folder, "--small", "--sites", "8", "--workers", "2")
    wait_for_lines(folder / "sites.jsonl", 2)
    if how == signal.SIGINT:
        os.killpg(run.pid, how)  # as a terminal does: workers get it too
    else:
        run.send_signal(how)
    _, err = run.communicate(timeout=60)  # ends only when the workers have ended too
    if how == signal.SIGINT:
        assert run.returncode == 130
        assert (
            err
            == "stillroot: stopped; finished sites are kept, and the same command goes on from there\n"
        )
    assert [path.name for path in folder.iterdir()] == ["sites.jsonl"], "no output before it is whole"
    kept = [json.loads(line) for line in (folder / "sites.jsonl").read_text("utf-8").splitlines()]
    done = set(coarse([(item["title"], SMALL.grain.element_mm) for item in kept]))
    assert 2 <= len(done) < 8
    monkeypatch.setattr(lessons, "lesson_of", lambda *_: pytest.fail("far enough"))
    count = max(done) + 1
    with pytest.raises(pytest.fail.Exception, match="far enough"):
        make_lesson(folder, Plan(count=count, small=True), 1, quiet)
    assert set(coarse(counted)) == set(range(1, count + 1)) - done

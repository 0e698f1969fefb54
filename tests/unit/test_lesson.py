"""The lesson: ranks and pairs, what is kept when it is stopped, and the contents of the page."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from scipy import stats

from stillroot.answers.summary import CAUTION
from stillroot.errors import MeshError, NotConverged, OutputError
from stillroot.pictures.lesson_figures import predictors
from stillroot.studies import lesson as lessons
from stillroot.studies import lesson_sites as sites
from stillroot.studies.lesson import (
    PREDICTORS,
    TORQUE,
    Plan,
    correlations,
    equal,
    equal_motion_pairs,
    equal_torque_pairs,
    group_of,
    ranked,
)
from stillroot.studies.lesson_sites import (
    COMPUTED,
    GAVE_WAY,
    NO_ANSWER,
    RANGES,
    SiteAnswer,
    site_points,
)
from stillroot.writing import lesson_files
from stillroot.writing.lesson_files import make_lesson

SMALL = Plan(count=8, small=True)


def quiet(*_: object) -> None:
    """Ignore progress."""


def made_up(count: int, *, seed: int = 1) -> list[SiteAnswer]:
    """Return answers with random torques and peaks, for tests that only rank and pair."""
    random = np.random.default_rng(seed)
    torque, peak = random.uniform(5, 90, count), random.lognormal(4, 1, count)
    return [
        SiteAnswer(
            point=point,
            outcome=COMPUTED,
            insertion_torque_ncm=float(t),
            peak_micromotion_um=float(p),
            head_movement_um=float(2 * p),
        )
        for point, t, p in zip(site_points(count), torque, peak, strict=True)
    ]


def slipped(answer: SiteAnswer, outcome: str = GAVE_WAY) -> SiteAnswer:
    return replace(answer, outcome=outcome, peak_micromotion_um=None, reason="it slipped")


@pytest.fixture(scope="module")
def lesson_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lesson") / "small"
    return folder, make_lesson(folder, SMALL, 1, quiet)


@pytest.fixture
def counted(monkeypatch):
    """Count the sites that are solved."""
    seen = []
    solve = lessons.solve_site

    def counting(point, grain):
        seen.append((point.index, grain))
        return solve(point, grain)

    monkeypatch.setattr(lessons, "solve_site", counting)
    return seen


# --- The set ------------------------------------------------------------------------------------------


def test_sites_lie_in_the_stated_ranges_and_fill_them():
    points = site_points(64)
    for r in RANGES:
        values = np.array([getattr(point, r.key) for point in points])
        assert r.low <= values.min()
        assert values.max() <= r.high
        position = np.log(values / r.low) / np.log(r.high / r.low) if r.even_in_log else None
        share = (values - r.low) / (r.high - r.low) if position is None else position
        quarters = np.histogram(share, bins=4, range=(0, 1))[0]
        assert quarters.min() >= 12, f"{r.key}: about 16 of 64 in each quarter"


def test_a_longer_set_begins_with_the_shorter_one():
    assert site_points(32)[:8] == site_points(8)


def test_a_hold_is_as_long_as_its_threads_and_stays_on_the_implant():
    for point in site_points(128):
        top, bottom = point.hold_mm
        assert 0 <= top < bottom <= sites.LENGTH_MM
        assert bottom - top == pytest.approx(sites.PITCH_MM * point.engaged_threads, abs=0.011)


def test_length_times_modulus_counts_the_rim_with_its_own_modulus():
    point = replace(site_points(1)[0], engaged_threads=5.0, place=0.0, trabecular_modulus_mpa=100.0)
    assert point.length_times_trabecular_n_mm == pytest.approx(4.0 * 100)
    assert point.length_times_modulus_n_mm == pytest.approx(1.0 * 13_700 + 3.0 * 100)


def test_every_site_bears_the_common_load():
    cases = {sites.case_of(p, sites.SMALL_CLOUD).loads for p in site_points(4)}
    cases |= {case.loads for pair in sites.built_pairs(sites.SMALL_CLOUD) for case in pair.cases}
    assert len(cases) == 1
    assert cases.pop()[0].components == (100.0, 30.0, 0.0)


def test_a_range_or_a_finding_has_its_source_beside_it():
    assert all(r.source for r in RANGES)
    assert all(item["source"] for item in sites.STATED["published"])
    assert all(item["source"] for item in sites.STATED["fixed"])


# --- Ranks --------------------------------------------------------------------------------------------


def test_rank_correlation_is_spearmans():
    answers = made_up(40)
    motion = [a.ranked_um for a in answers]
    for c in correlations(answers):
        expected = stats.spearmanr([c.predictor.of(a) for a in answers], motion).statistic
        assert c.rho == pytest.approx(expected, abs=1e-12)
        assert c.low <= c.rho <= c.high


def test_ties_take_their_mean_rank():
    x, y = np.array([1.0, 1.0, 2.0, 3.0, 3.0]), np.array([5.0, 4.0, np.inf, np.inf, 1.0])
    assert lessons.spearman(x, y) == pytest.approx(stats.spearmanr(x, y).statistic, abs=1e-12)


def test_the_interval_is_that_of_a_bootstrap_over_the_sites():
    answers = made_up(40)
    torque = np.array([TORQUE.of(a) for a in answers])
    motion = np.array([a.ranked_um for a in answers])
    other = stats.bootstrap(
        (torque, motion),
        lambda x, y: stats.spearmanr(x, y).statistic,
        paired=True,
        vectorized=False,
        method="percentile",
        n_resamples=1000,
        rng=np.random.default_rng(7),
    ).confidence_interval
    found = correlations(answers)[0]
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=0.06)


def test_what_orders_the_sites_exactly_is_clearly_ahead_of_torque():
    answers = [
        replace(a, peak_micromotion_um=1e6 / a.point.length_times_trabecular_n_mm) for a in made_up(40)
    ]
    found = {c.predictor.key: c for c in correlations(answers)}
    assert found["length_trabecular"].rho == pytest.approx(-1)
    assert found["length_trabecular"].ahead[0] > 0
    assert found["torque"].ahead is None


def test_torque_is_said_to_be_ahead_where_it_is():
    answers = [replace(a, peak_micromotion_um=1e4 / a.insertion_torque_ncm) for a in made_up(40)]
    group = group_of("all sites", answers)
    lesson = lessons.Lesson(
        plan=SMALL,
        answers=tuple(answers),
        error=None,
        groups=(group,),
        equal_torque=(),
        equal_motion=(),
        torque_drawn=None,
        motion_drawn=None,
        built=(),
    )
    assert "ahead of the others" in lesson_files.finding(lesson)[0]
    assert predictors(lesson).alt.startswith("Insertion torque follows peak micromotion most closely")


def test_a_site_that_is_not_held_ranks_as_the_largest_motion():
    answers = made_up(20)
    answers[3] = slipped(answers[3])
    motion = np.array([a.ranked_um for a in answers])
    assert np.argmax(stats.rankdata(motion)) == 3
    group = group_of("all", answers)
    assert (group.count, group.gave_way) == (20, 1)
    assert all(np.isfinite([c.rho, c.low, c.high]).all() for c in group.correlations)


def test_a_site_without_an_answer_has_no_rank():
    answers = made_up(20)
    answers[3] = replace(slipped(answers[3], NO_ANSWER), insertion_torque_ncm=None)
    assert len(ranked(answers)) == 19
    assert group_of("all", answers).count == 19


def test_too_few_sites_have_no_correlation():
    assert group_of("few", made_up(lessons.LEAST_RANKED - 1)).correlations == ()


def test_a_failing_load_is_not_held_and_a_failing_seat_or_mesh_is_no_answer(monkeypatch):
    def fails(error):
        def _fails(*_, **__):
            raise error

        return _fails

    point = site_points(1)[0]
    monkeypatch.setattr(lessons, "load", fails(NotConverged("slips out", stage="load")))
    answer = lessons.solve_site(point, sites.SMALL_CLOUD)
    assert (answer.outcome, answer.reason, answer.peak_micromotion_um) == (GAVE_WAY, "slips out", None)
    assert answer.insertion_torque_ncm > 0
    for error in (NotConverged("backs out", stage="seat"), MeshError("a sliver")):
        monkeypatch.setattr(lessons, "prepared_site", fails(error))
        answer = lessons.solve_site(point, sites.SMALL_CLOUD)
        assert (answer.outcome, answer.reason) == (NO_ANSWER, str(error))


# --- Pairs --------------------------------------------------------------------------------------------


def test_pairs_keep_their_tolerance_and_are_the_most_different():
    answers = made_up(80)
    low, high = lessons.ORDINARY_NCM
    for found, same, differs in (
        (equal_torque_pairs(answers), TORQUE.of, lambda a: a.ranked_um),
        (equal_motion_pairs(answers), lambda a: a.ranked_um, TORQUE.of),
    ):
        assert len(found) == lessons.PAIRS
        indices = [a.point.index for pair in found for a in (pair.first, pair.second)]
        assert len(set(indices)) == len(indices)
        for pair in found:
            assert equal(same(pair.first), same(pair.second))
            assert pair.factor == differs(pair.second) / differs(pair.first) >= 1
            assert low <= TORQUE.of(pair.first) <= high
            assert low <= TORQUE.of(pair.second) <= high
        ordinary = [a for a in answers if low <= TORQUE.of(a) <= high]
        every = [
            differs(a) / differs(b)
            for a in ordinary
            for b in ordinary
            if a is not b and equal(same(a), same(b))
        ]
        assert found[0].factor == max(every)


def test_equal_is_within_five_per_cent_of_the_larger():
    assert equal(95.0, 100.0)
    assert not equal(94.9, 100.0)


def test_a_site_that_gives_way_makes_no_pair():
    answers = [slipped(a) for a in made_up(30)]
    assert equal_torque_pairs(answers) == equal_motion_pairs(answers) == ()


# --- Pairs built to show why --------------------------------------------------------------------------


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
    assert more > 5 * less


def test_a_clot_takes_load_off_a_short_hold(lesson_folder):
    _, peaks, found = figures_of(lesson_folder[1], "depth")
    assert found.clot_um[0] < 0.9 * peaks[0]


# --- The folder ---------------------------------------------------------------------------------------


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


def test_a_finished_lesson_is_not_solved_again(lesson_folder, counted):
    folder, first = lesson_folder
    before = (folder / "sites.csv").read_bytes(), (folder / "lesson.html").read_bytes()
    again = make_lesson(folder, SMALL, 1, quiet)
    assert counted == []
    assert again.answers == first.answers
    assert ((folder / "sites.csv").read_bytes(), (folder / "lesson.html").read_bytes()) == before


def test_a_longer_set_solves_only_what_is_new(lesson_folder, counted, monkeypatch, tmp_path):
    folder, _ = lesson_folder
    monkeypatch.setattr(lessons, "lesson_of", lambda *_: pytest.fail("far enough"))
    copy = tmp_path / "copy"
    copy.mkdir()
    (copy / "sites.jsonl").write_bytes((folder / "sites.jsonl").read_bytes())
    with pytest.raises(pytest.fail.Exception, match="far enough"):
        make_lesson(copy, Plan(count=9, small=True), 1, quiet)
    assert [index for index, grain in counted if grain == sites.SMALL_CLOUD] == [9]


def test_another_version_or_grain_is_solved_anew(lesson_folder, monkeypatch):
    folder, lesson = lesson_folder
    kept = lesson_files.Store.opened(folder).read()
    point = lesson.answers[0].point
    assert lesson_files._key(point, sites.SMALL_CLOUD) in kept
    assert lesson_files._key(point, sites.CLOUD) not in kept
    monkeypatch.setattr(lesson_files, "program", lambda: "99.0+other")
    assert lesson_files._key(point, sites.SMALL_CLOUD) not in kept


def test_a_line_left_unfinished_is_cut_off(lesson_folder, tmp_path):
    folder, _ = lesson_folder
    lines = (folder / "sites.jsonl").read_bytes().splitlines(keepends=True)
    (tmp_path / "sites.jsonl").write_bytes(b"".join(lines[:3]) + lines[3][:50])
    store = lesson_files.Store.opened(tmp_path)
    assert len(store.read()) == 3
    assert store.path.read_bytes() == b"".join(lines[:3])


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
    run = started(folder, "--small", "--sites", "40", "--workers", "2")
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
    done = {item["answer"]["point"]["index"] for item in kept}
    assert 2 <= len(done) < 40
    monkeypatch.setattr(lessons, "lesson_of", lambda *_: pytest.fail("far enough"))
    count = max(done) + 1
    with pytest.raises(pytest.fail.Exception, match="far enough"):
        make_lesson(folder, Plan(count=count, small=True), 1, quiet)
    solved = {index for index, grain in counted if grain == sites.SMALL_CLOUD}
    assert solved == set(range(1, count + 1)) - done


def test_two_workers_find_what_one_does(lesson_folder):
    _, lesson = lesson_folder
    points = [a.point for a in lesson.answers[:3]]
    found = sorted(lessons.solved(points, sites.SMALL_CLOUD, 2), key=lambda a: a.point.index)
    for mine, theirs in zip(found, lesson.answers[:3], strict=True):
        assert mine.peak_micromotion_um == pytest.approx(theirs.peak_micromotion_um, rel=1e-6)

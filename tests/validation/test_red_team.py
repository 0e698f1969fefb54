"""Bad, odd and extreme case files: a slice of the campaign, and proof that its judge finds faults."""

import csv
import json
import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from stillroot import cli
from validation.red_team import campaign
from validation.red_team.campaign import mutant, run_mutant
from validation.red_team.judge import PASSES, judge
from validation.red_team.strategies import KINDS, Mutant, limits

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="each mutant is run in a fork")

SEED, COUNT = 2027, 120

CASE = b"""
title = "Invented scenario: red team"
[implant]
diameter_mm = 4.0
length_mm = 3.0
thread = { form = "none" }
[bone]
cortical_thickness_mm = 1.0
law = "linear"
trabecular_modulus_mpa = 300.0
radius_mm = 8.0
depth_mm = 7.0
[[loads]]
name = "push and bend"
axial_n = 50.0
lateral_n = 10.0
[numerics]
element_mm = 2.0
harmonics = 3
"""


def made(*arguments, hurdle=""):
    arguments = arguments or ("check", "case.toml", "--json")
    return Mutant(files={"case.toml": CASE}, arguments=arguments, hurdle=hurdle)


@pytest.fixture(scope="module", autouse=True)
def _warm():
    campaign.warm_up()


@pytest.fixture(scope="module")
def answered():
    one = made()
    run, finding = run_mutant(one)
    assert finding.outcome == "answer", finding.detail
    return one, run


def test_every_mutant_ends_in_an_answer_in_order_or_in_one_message(tmp_path):
    # By itself: what hypothesis draws depends on the modules that are imported.
    again = [sys.executable, "-m", "validation.red_team.campaign", "--quick", "--seed", str(SEED)]
    more = ["--count", str(COUNT), "--workers", "1", "--kept", str(tmp_path)]
    subprocess.run([*again, *more], check=False, cwd=campaign.HERE.parents[1], timeout=900)  # noqa: S603
    log = (tmp_path / f"red_team-{SEED}-quick.jsonl").read_text(encoding="utf-8")
    records = [json.loads(line) for line in log.splitlines()[1:] if line]
    assert len(records) == COUNT
    failures = [record for record in records if record["outcome"] not in PASSES]
    assert not failures, f"{' '.join(again)} --only INDEX --shrink"
    outcomes = Counter(record["outcome"] for record in records)
    assert outcomes["answer"] >= 6
    assert outcomes["exit 2"] >= 80
    assert len({kind for record in records for kind in record["kinds"]}) > 0.8 * len(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_made_and_changes_something(kind):
    made = [mutant(1, index, first=kind) for index in range(4)]
    assert all(kind in one.kinds for one in made)
    assert len({(one.files["case.toml"], one.arguments, one.hurdle) for one in made}) > 1


def test_the_recorded_campaign_made_each_kind():
    with (campaign.HERE / "tally.csv").open(encoding="utf-8") as file:
        told = {row["kind"]: int(row["mutants"]) for row in csv.DictReader(file)}
    assert set(told) == {*KINDS, "all"}
    assert min(told.values()) >= 5


def test_a_mutant_is_the_same_whenever_it_is_made():
    assert [mutant(5, index) for index in range(9)] == [mutant(5, index) for index in range(9)]
    assert mutant(5, 1).files != mutant(6, 1).files


def test_the_limits_of_every_section_are_found():
    assert limits("interface.friction") == ((0, 1), (2, -1))
    assert limits("implant.poisson") == ((0, 1), (0.495, -1))
    assert limits("bone.density") == ((0, 1), (2.5, -1))
    assert limits("numerics.harmonics") == ((3, 1), (32, -1))


def test_a_full_disk_or_a_full_stdout_leaves_nothing():
    for one in (
        made("check", "case.toml", "--json", "--out", "deep/answer", hurdle="disk full"),
        made("check", "case.toml", "--json", hurdle="stdout full"),
    ):
        run, finding = run_mutant(one)
        assert (finding.outcome, run.code) in {("exit 2", 2), ("exit 4", 4)}, finding.detail


def _runs_for_ever(_):
    while True:
        pass


def _takes_all_memory(_):
    held = [bytearray(2**24) for _ in range(64)]
    sys.exit(len(held))


def _leaves_a_file(_):
    Path("half.json").write_text("{", encoding="utf-8")
    cli.complain("this is a long enough message, and a file beside it")
    sys.exit(2)


def _raises(_):
    msg = "out of range"
    raise IndexError(msg)


def _talks_on_stdout(_):
    print("well")
    cli.complain("this is a long enough message, and talk before it")
    sys.exit(2)


@pytest.mark.parametrize(
    ("main", "outcome"),
    [
        (_runs_for_ever, "hang"),
        (_takes_all_memory, "memory"),
        (_leaves_a_file, "partial files"),
        (_raises, "traceback"),
        (_talks_on_stdout, "bad message"),
        (lambda _: sys.exit(1), "traceback"),
        (lambda _: sys.exit(2), "bad message"),
        (lambda _: os.abort(), "traceback"),
    ],
)
def test_each_failure_is_told_apart(monkeypatch, main, outcome):
    monkeypatch.setattr(cli, "main", main)
    monkeypatch.setattr(campaign, "LONGEST_S", 1 if outcome == "hang" else 60)
    monkeypatch.setattr(campaign, "MOST_MEMORY_MB", 100)
    _, finding = run_mutant(made())
    assert finding.outcome == outcome, finding.detail


def test_a_failure_is_made_smaller(monkeypatch):
    monkeypatch.setattr(cli, "main", _raises)
    first, least = mutant(1, 3, quick=True), campaign.smallest(1, 3, quick=True)
    assert len(least.kinds) <= len(first.kinds)
    assert run_mutant(least)[1].outcome == "traceback"


def _load(**changes):
    return lambda data: data["loads"][0].update(changes)


@pytest.mark.parametrize(
    "spoil",
    [
        _load(peak_micromotion_um=float("nan")),
        _load(peak_micromotion_um=float("inf")),
        _load(peak_micromotion_um=1.0),
        _load(sliding_um=-1.0),
        _load(opening_um=1e3),
        _load(mean_micromotion_um=1e3),
        _load(mean_micromotion_um=-1.0),
        _load(p95_micromotion_um=1e3),
        _load(share_over_crush=1.1),
        _load(error_um=0.0),
        _load(error_um=1e3),
        _load(equilibrium_residual=1e-3),
        _load(band="above 150 µm"),
        _load(share_above={"50": 0.1, "100": 0.2, "150": 0.0}),
        _load(range_um={"peak": [9.0, 3.0], "head": None}),
        _load(gives_way_in=0.5),
        _load(lateral_n=-10.0),
        _load(name="another"),
        _load(peak_at={"depth_mm": 9.0, "radius_mm": 2.0, "angle_deg": 0.0, "all_round": False}),
        lambda data: data.update(insertion_torque_ncm=None),
        lambda data: data.update(title="another"),
        lambda data: data.update(summary=data["summary"].replace("motion is ", "motion is 1", 1)),
        lambda data: data["versions"].pop("numpy"),
        lambda data: data["case"]["bone"].update(poisson=0.31),
        lambda data: data["loads"].pop(),
    ],
)
def test_an_answer_out_of_order_is_found(answered, spoil):
    one, run = answered
    data = json.loads(run.out)
    spoil(data)
    finding = judge(one, replace(run, out=json.dumps(data)))
    assert finding.outcome == "wrong answer"


def test_noise_beside_an_answer_is_found(answered):
    one, run = answered
    assert judge(one, replace(run, out=run.out + "done")).outcome == "wrong answer"
    assert judge(one, replace(run, err="RuntimeWarning")).outcome == "wrong answer"
    assert judge(one, replace(run, after={**run.after, "mesh.msh": b"x"})).outcome == "wrong answer"


def test_six_directions_out_of_order_are_found():
    one = made("directions", "case.toml", "--json")
    run, finding = run_mutant(one)
    assert finding.outcome == "answer", finding.detail
    for spoil in (
        lambda data: data["directions"][0].update(state="gives way"),
        lambda data: data["directions"][2].update(stiffness=-1.0),
        lambda data: data["directions"].reverse(),
        lambda data: data.update(summary="Free sideways, held in the other four."),
        lambda data: data["stiffness_matrix"][0].__setitem__(4, 0.0),
        lambda data: data["stiffness_matrix"][2].__setitem__(2, -1.0),
    ):
        data = json.loads(run.out)
        spoil(data)
        assert judge(one, replace(run, out=json.dumps(data))).outcome == "wrong answer"


def recorded(index, kinds):
    return campaign.Record(index, kinds, "answer", "", seconds=0.5, memory_mb=10.0)


def test_a_log_goes_on_where_it_was_cut(tmp_path):
    path, record = tmp_path / "log.jsonl", recorded(3, ["at a limit"])
    path.write_text(f'head\n{json.dumps(vars(record))}\n{{"index": 4, "kin', encoding="utf-8")
    assert campaign.finished(path, "head") == {3: record}
    assert campaign.finished(path, "head") == {3: record}
    assert campaign.finished(path, "another") == {}


def test_the_tally_counts_a_mutant_in_each_of_its_kinds():
    records = [recorded(index, [kind]) for index, kind in enumerate(KINDS)]
    worse = recorded(99, ["at a limit", "physics: friction"])
    rows = {
        row["kind"]: row
        for row in campaign.tally([*records, replace(worse, outcome="hang", seconds=60.0)])
    }
    assert rows["at a limit"]["mutants"] == rows["physics: friction"]["mutants"] == 2
    assert rows["physics: glued"]["mutants"] == rows["physics: friction"]["hang"] == 1
    assert (rows["all"]["answer"], rows["all"]["hang"]) == (len(KINDS), 1)
    assert (rows["all"]["slowest_s"], rows["physics: glued"]["slowest_s"]) == (60.0, 0.5)


def test_an_interrupted_run_leaves_no_process_and_no_folder(monkeypatch, tmp_path):
    pids = []

    def interrupt(pid, _):
        pids.append(pid)
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "main", _runs_for_ever)
    monkeypatch.setattr(campaign.tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(campaign.os, "wait4", interrupt)
    with pytest.raises(KeyboardInterrupt):
        run_mutant(made())
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(ChildProcessError):
        os.waitpid(pids[0], os.WNOHANG)

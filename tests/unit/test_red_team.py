"""Bad, odd and extreme case files: a slice of the campaign, and proof that its judge finds faults."""

import json
import os
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from stillroot import cli
from validation.red_team import fuzz
from validation.red_team.judge import judge
from validation.red_team.mutations import KINDS, Mutant, limits, mutant

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="each mutant is run in a fork")

SEED, COUNT = 2026, 300

CASE = b"""
title = "Invented scenario: red team"
[implant]
diameter_mm = 4.0
length_mm = 3.0
thread = { form = "none" }
[bone]
cortical_thickness_mm = 1.0
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


def made(*arguments, text=CASE, hurdle=""):
    return Mutant(
        seed=0,
        index=0,
        kinds=(),
        files={"case.toml": text},
        arguments=arguments or ("check", "case.toml", "--json"),
        hurdle=hurdle,
    )


@pytest.fixture(scope="module", autouse=True)
def _warm():
    fuzz.warm_up()


@pytest.fixture(scope="module")
def answered():
    one = made()
    run, finding = fuzz.run_mutant(one)
    assert finding.outcome == "answer", finding.detail
    return one, run


def test_every_mutant_ends_in_an_answer_in_order_or_in_one_message():
    records = []
    fuzz.run_campaign(SEED, range(COUNT), quick=True, finished=lambda record, *_: records.append(record))
    again = f"python -m validation.red_team.fuzz --quick --seed {SEED} --only"
    failures = [f"{again} {r.index}: {r.outcome}: {r.detail}" for r in records if not r.passes]
    assert not failures, "\n".join(failures)
    outcomes = Counter(record.outcome for record in records)
    assert sum(outcomes.values()) == COUNT
    assert outcomes["answer"] >= 15
    assert outcomes["exit 2"] >= 200
    assert len({kind for record in records for kind in record.kinds}) > 0.8 * len(KINDS)


def test_a_mutant_is_the_same_whenever_it_is_made():
    assert [mutant(5, index) for index in range(20)] == [mutant(5, index) for index in range(20)]
    assert mutant(5, 1).files != mutant(6, 1).files


def test_the_limits_of_every_section_are_found():
    found = {(limit.section, limit.key, limit.end, limit.value) for limit in limits()}
    assert {
        ("interface", "friction", "upper", 2.0),
        ("implant", "poisson", "upper", 0.495),
        ("bone", "density", "lower", 0.0),
        ("numerics", "harmonics", "lower", 3.0),
    } <= found


def test_a_full_disk_or_a_full_stdout_leaves_nothing():
    for one in (
        made("check", "case.toml", "--json", "--out", "deep/answer", hurdle="disk full"),
        made("check", "case.toml", "--json", hurdle="stdout full"),
    ):
        run, finding = fuzz.run_mutant(one)
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
    monkeypatch.setattr(fuzz, "LONGEST_S", 1 if outcome == "hang" else 60)
    monkeypatch.setattr(fuzz, "MOST_MEMORY_MB", 100)
    _, finding = fuzz.run_mutant(made())
    assert finding.outcome == outcome, finding.detail


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
        _load(error_um=0.0),
        _load(error_um=1e3),
        _load(equilibrium_residual=1e-3),
        _load(band="above 150 µm"),
        _load(share_above={"50": 0.1, "100": 0.2, "150": 0.0}),
        _load(lateral_n=-10.0),
        _load(name="another"),
        _load(peak_at={"depth_mm": 9.0, "radius_mm": 2.0, "angle_deg": 0.0, "all_round": False}),
        lambda data: data.update(insertion_torque_ncm=None),
        lambda data: data.update(title="another"),
        lambda data: data.update(summary=data["summary"].replace("is ", "is 1", 1)),
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
    run, finding = fuzz.run_mutant(one)
    assert finding.outcome == "answer", finding.detail
    for spoil in (
        lambda data: data["directions"][0].update(state="gives way"),
        lambda data: data["directions"][2].update(stiffness=-1.0),
        lambda data: data.update(summary="Free sideways, held in the other four."),
        lambda data: data["stiffness_matrix"][0].__setitem__(4, 0.0),
        lambda data: data["stiffness_matrix"][2].__setitem__(2, -1.0),
    ):
        data = json.loads(run.out)
        spoil(data)
        assert judge(one, replace(run, out=json.dumps(data))).outcome == "wrong answer"


def recorded(index, kinds):
    return fuzz.Record(
        index=index,
        kinds=kinds,
        command="check",
        outcome="answer",
        detail="",
        message="",
        seconds=0.5,
        memory_mb=10.0,
    )


def test_a_log_goes_on_where_it_was_cut(tmp_path):
    path, head = tmp_path / "log.jsonl", {"seed": 1}
    record = recorded(index=3, kinds=("at a limit",))
    fuzz.Log(path, head).add(record)
    with path.open("a", encoding="utf-8") as file:
        file.write('{"index": 4, "kin')
    assert fuzz.Log(path, head).records == {3: record}
    assert fuzz.Log(path, head).records == {3: record}
    assert fuzz.Log(path, {"seed": 2}).records == {}


def test_the_tally_counts_a_mutant_in_each_of_its_kinds():
    base = recorded(index=0, kinds=("at a limit", "physics: friction"))
    worse = replace(base, index=1, kinds=("at a limit",), outcome="hang", seconds=60.0)
    rows = {row["kind"]: row for row in fuzz.tally([base, worse])}
    assert rows["at a limit"]["mutants"] == 2
    assert rows["physics: friction"]["mutants"] == 1
    assert rows["all"]["answer"] == rows["all"]["hang"] == 1
    assert rows["all"]["slowest_s"] == 60.0


def test_an_interrupted_campaign_leaves_no_process_and_no_folder(monkeypatch, tmp_path):
    monkeypatch.setattr(cli, "main", _runs_for_ever)
    monkeypatch.setattr(fuzz.tempfile, "mkdtemp", lambda **_: str(_made(tmp_path / str(time.time()))))

    start, pids = fuzz._start, []

    def started(one):
        child = start(one)
        pids.append(child.pid)
        return child

    def interrupt(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(fuzz, "_start", started)
    monkeypatch.setattr(fuzz.time, "sleep", interrupt)
    with pytest.raises(KeyboardInterrupt):
        fuzz.run_campaign(1, [0, 1], workers=2, quick=True, finished=lambda *_: None)
    assert list(tmp_path.iterdir()) == []
    assert len(pids) == 2
    for pid in pids:
        with pytest.raises(ChildProcessError):
            os.waitpid(pid, os.WNOHANG)


def _made(folder):
    folder.mkdir()
    return folder

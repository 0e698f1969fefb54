"""Cases solved elsewhere, kept and resumed, whatever dies meanwhile."""

import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest
from distributed import LocalCluster

from stillroot import Case, EnvironmentProblem, Store, Where
from stillroot.inputs.vary import changed
from stillroot.studies import running as module
from stillroot.studies.running import TRIES, run

TINY = Case.from_dict(
    {
        "title": "Invented scenario: tiny",
        "implant": {"diameter_mm": 4.0, "length_mm": 4.0, "thread": {"form": "none"}},
        "bone": {"cortical_thickness_mm": 1.0, "law": "linear", "trabecular_modulus_mpa": 300.0},
        "loads": [{"name": "oblique", "axial_n": 20.0, "lateral_n": 5.0}],
        "numerics": {"element_mm": 1.0, "harmonics": 3, "load_steps": 1},
    }
)
CASES = [
    changed(TINY, {"trabecular_factor": factor, "load_factor": load})
    for factor in (0.8, 1.0, 1.3)
    for load in (0.5, 1.0)
]


@pytest.fixture(scope="module")
def expected():
    return run(CASES, Where(workers=1))


def test_processes_give_the_same_digits_as_one(expected):
    told = []
    found = run(CASES, Where(workers=2), progress=lambda done, total, _: told.append((done, total)))
    assert found == expected
    assert told == [(done, len(CASES)) for done in range(len(CASES) + 1)]


def test_a_cluster_gives_the_same_digits(expected):
    with LocalCluster(
        n_workers=2, threads_per_worker=2, dashboard_address=None, protocol="tcp://"
    ) as cluster:
        assert run(CASES, Where(cluster=cluster.scheduler_address)) == expected


def test_a_cluster_that_is_not_there_is_one_message():
    with pytest.raises(EnvironmentProblem, match=r"no dask scheduler answers there .* tcp://127"):
        run(CASES[:1], Where(cluster="nowhere"))


def test_equal_cases_are_solved_once_and_what_is_kept_not_again(tmp_path, expected, monkeypatch):
    store = Store.opened(tmp_path / "deep" / "solved.sqlite")
    twice = [*CASES[:2], CASES[0]]
    solved = []
    monkeypatch.setattr(module, "_solve", partial(_counted, solved, module._solve))
    assert run(twice, Where(workers=1, store=store)) == [*expected[:2], expected[0]]
    assert len(solved) == 2
    assert run(CASES[:3], Where(workers=1, store=store)) == expected[:3]
    assert len(solved) == 3
    renamed = CASES[0].model_copy(update={"title": "Invented scenario: the same by another name"})
    assert run([renamed], Where(workers=1, store=store)) == expected[:1]
    assert len(solved) == 3
    assert store.kept().present == 3


def _counted(solved, solve, case, **how):
    solved.append(case)
    return solve(case, **how)


# --- What dies ----------------------------------------------------------------------------------------


def dies_once(folder: Path, case: Case) -> str:
    """End this process the first time that it reaches the third case, as a lack of memory would."""
    mark = folder / "died"
    if case == CASES[2] and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return case.fingerprint()


def always_dies(case: Case) -> str:
    if case == CASES[2]:
        os.kill(os.getpid(), signal.SIGKILL)
    return case.fingerprint()


def test_a_process_that_dies_costs_its_case_alone_which_is_tried_again(tmp_path):
    found = dict(module.in_processes(partial(dies_once, tmp_path), CASES, 2))
    assert (tmp_path / "died").exists()
    assert found == {place: case.fingerprint() for place, case in enumerate(CASES)}


def test_a_worker_of_a_cluster_that_dies_costs_its_case_alone(tmp_path):
    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, protocol="tcp://", silence_logs=50
    ) as cluster:
        solve = partial(dies_once, tmp_path)
        found = dict(module._on_cluster(solve, CASES, cluster.scheduler_address))
    assert (tmp_path / "died").exists()
    assert found == {place: case.fingerprint() for place, case in enumerate(CASES)}


def test_a_case_that_kills_every_process_is_a_failure_of_its_own():
    found = dict(module.in_processes(always_dies, CASES, 2))
    assert found.pop(2) is None
    assert found == {p: case.fingerprint() for p, case in enumerate(CASES) if p != 2}


def test_what_died_is_told_and_not_kept(tmp_path, monkeypatch):
    store = Store.opened(tmp_path / "solved.sqlite")
    monkeypatch.setattr(module, "_each", lambda *_: (pair for pair in [(0, None)]))
    (outcome,) = run(CASES[:1], Where(store=store))
    assert f"ended {TRIES} times" in outcome.why_not
    assert store.kept().present == 0


STUDY = """
import sys
from pathlib import Path
import test_running as t
from stillroot import Store, Where
from stillroot.studies.running import run
cases = [t.changed(t.TINY, {"trabecular_factor": 1 + 0.01 * i}) for i in range(60)]
store = Store.opened(Path(sys.argv[1]))
if __name__ == "__main__":
    where = Where(workers=int(sys.argv[2]), store=store)
    run(cases, where, progress=lambda *told: print(*told[:2], flush=True))
"""


@pytest.mark.parametrize("workers", [1, 2])
def test_a_killed_study_loses_nothing_that_was_finished(tmp_path, workers):
    script = tmp_path / "study.py"
    script.write_text(STUDY, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path])}
    command = [sys.executable, str(script), str(tmp_path / "solved.sqlite"), str(workers)]
    process = subprocess.Popen(  # noqa: S603 - our own script
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment
    )
    with process:
        done = 0
        while done < 7:
            done = int(process.stdout.readline().split()[0])
        process.kill()
        told = [line.split() for line in process.stdout.read().splitlines()]
    last = max([done, *(int(line[0]) for line in told if len(line) == 2)])
    store = Store.opened(tmp_path / "solved.sqlite")
    assert last <= store.kept().present < 60
    kept = store.kept().present
    again = subprocess.run(  # noqa: S603 - our own script
        command, capture_output=True, text=True, env=environment, check=True
    )
    assert again.stdout.splitlines()[0] == f"{kept} 60", "it goes on from what is kept"
    assert store.kept().present == 60


def test_interrupted_the_processes_end_and_what_is_finished_stays(tmp_path):
    store = Store.opened(tmp_path / "solved.sqlite")

    def interrupt(done, *_):
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(CASES, Where(workers=2, store=store), progress=interrupt)
    assert store.kept().present == 2

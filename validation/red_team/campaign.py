"""Run stillroot on thousands of bad, odd and extreme case files.

Every mutant of a shipped case must end in an answer that is in order, or in one clear message with exit
code 2 or 3, nothing on stdout and nothing left behind; within a minute, and within bounded memory.

    python -m validation.red_team.campaign --seed 1 --count 10000

Each runs in a child of a process that has imported everything. What is finished is kept, so that an
interrupted campaign goes on; `--only INDEX` runs one again, `--shrink` makes it as small as it fails.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import faulthandler
import hashlib
import importlib
import json
import multiprocessing
import os
import pkgutil
import resource
import signal
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded

import stillroot
from stillroot import cli
from stillroot.answers.answer import versions
from stillroot.studies.store import program
from validation.red_team.judge import OUTCOMES, PASSES, Files, Finding, Run, judge
from validation.red_team.strategies import DOCS, KINDS, Mutant, mutants

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

HERE = Path(__file__).parent
KEPT = HERE.parent / ".finished"
LONGEST_S = 60
"""Of processor time: other work on the machine then ends nothing."""
LONGEST_WAIT_S = 600
"""Of any time: for what waits for ever."""
MOST_MEMORY_MB = 2048
"""Over what the parent holds."""
NEAR_LIMIT = 0.9
"""Of that: what comes so near was most likely ended by it, whatever it says of itself."""
FULL_DISK_BYTES = 4096
"""The largest file that a "full" disk takes."""
UNHURRIED = settings(database=None, deadline=None, suppress_health_check=list(HealthCheck))


@dataclass(frozen=True)
class Record:
    """A finished mutant."""

    index: int
    kinds: Sequence[str]
    outcome: str
    detail: str
    seconds: float
    memory_mb: float


# One mutant --------------------------------------------------------------------------------------


def drawn(
    seed: int, index: int, *, quick: bool, first: str = "", look: Callable[[Mutant], object]
) -> None:
    """Draw a mutant and look at it; where looking raises, look at ever smaller ones that raise too.

    hypothesis begins with the simplest of all mutants, which is left out: the second is the one that is
    meant, and what follows are attempts to make it smaller.
    """
    begun = False

    @seeded(f"{seed}/{index}")
    @settings(UNHURRIED, max_examples=2, phases=[Phase.generate, Phase.shrink])
    @given(mutants(quick=quick, first=first))
    def draw(one: Mutant) -> None:
        nonlocal begun
        if begun:
            look(one)
        begun = True

    draw()


def mutant(seed: int, index: int, *, quick: bool = False, first: str = "") -> Mutant:
    """Return a mutant, always the same. `first` names a kind of change that is in it."""
    found: list[Mutant] = []
    drawn(seed, index, quick=quick, first=first, look=found.append)
    return found[-1]


def smallest(seed: int, index: int, *, quick: bool = False) -> Mutant:
    """Return the smallest mutant found that fails as this one does; or itself, where it passes."""
    kept = [mutant(seed, index, quick=quick)]

    def look(one: Mutant) -> None:
        outcome = run_mutant(one)[1].outcome
        if outcome not in PASSES:
            kept.append(one)
            raise AssertionError(outcome)

    with contextlib.suppress(AssertionError):
        drawn(seed, index, quick=quick, look=look)
    return kept[-1]


def run_mutant(one: Mutant) -> tuple[Run, Finding]:
    """Run a mutant to its end in a child, and judge it."""
    with tempfile.TemporaryDirectory(prefix="red-team-", ignore_cleanup_errors=True) as place:
        folder = Path(place)
        inside = folder / "in"
        _write_all(inside, one.files)
        before, baseline_mb = _files(inside), _memory_mb()[1]
        sys.stdout.flush()
        sys.stderr.flush()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of threads in a forked process: the child starts none
            pid = os.fork()
        if pid == 0:
            _child(one, folder)
        try:
            _, status, usage = os.wait4(pid, 0)
        except BaseException:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            raise
        memory_mb = max(usage.ru_maxrss / 1024 - baseline_mb, 0.0)
        run = Run(
            code=os.WEXITSTATUS(status) if os.WIFEXITED(status) else None,
            signal=signal.Signals(os.WTERMSIG(status)).name if os.WIFSIGNALED(status) else "",
            out=_text(folder / "stdout"),
            err=_text(folder / "stderr"),
            before=before,
            after=_files(inside),
            seconds=usage.ru_utime + usage.ru_stime,
            memory_mb=memory_mb,
            over_memory=memory_mb > NEAR_LIMIT * MOST_MEMORY_MB,
        )
    return run, judge(one, run)


def _child(one: Mutant, folder: Path) -> None:
    """Run the command line in this process as a shell would, and end it."""
    code = 70
    try:
        for number in (signal.SIGALRM, signal.SIGXCPU, signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_DFL)
        signal.alarm(LONGEST_WAIT_S)
        resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S + 5))
        # Files in the place of stdout and stderr, for what is written below Python as well.
        full = one.hurdle == "stdout full"
        for descriptor, path in (
            (1, Path("/dev/full") if full else folder / "stdout"),
            (2, folder / "stderr"),
        ):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600), descriptor)
        written = partial(open, mode="w", encoding="utf-8", errors="replace", closefd=False)
        sys.stdout, sys.stderr = written(1), written(2)
        most = int((_memory_mb()[0] + MOST_MEMORY_MB) * 2**20)
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        if one.hurdle == "disk full":
            resource.setrlimit(resource.RLIMIT_FSIZE, (FULL_DISK_BYTES, FULL_DISK_BYTES))
        os.chdir(folder / "in")
        faulthandler.disable()  # a test runner's would write what it knows of this process to the user
        warnings.resetwarnings()  # to those that Python shows to a user
        for category in (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning):
            warnings.simplefilter("ignore", category)
        try:
            cli.main(list(one.arguments))
            code = 0
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:
        code = 71
        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", errors="replace") if path.is_file() else ""


def _files(folder: Path) -> Files:
    """Return the files below a folder with what they hold, and the folders, whose names end in "/"."""
    return {
        path.relative_to(folder).as_posix() + "/" * path.is_dir(): b""
        if path.is_dir()
        else path.read_bytes()
        for path in sorted(folder.rglob("*"))
    }


def _write_all(folder: Path, files: Files) -> None:
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def _memory_mb() -> list[float]:
    """Return the address space and the resident memory of this process."""
    pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[:2]
    return [int(count) * resource.getpagesize() / 2**20 for count in pages]


# A campaign --------------------------------------------------------------------------------------


def warm_up() -> None:
    """Import all that a run may import, so that no child has to."""
    late = (
        "gmsh matplotlib.backends.backend_agg matplotlib.backends.backend_svg matplotlib.figure meshio"
    )
    inside = (module.name for module in pkgutil.walk_packages(stillroot.__path__, "stillroot."))
    for name in (*inside, *late.split(), "rich.table", "rich.status", "scipy.optimize", "skfem"):
        with contextlib.suppress(ImportError, OSError):
            importlib.import_module(name)


def fingerprint() -> str:
    """Return a hash of the program, the shipped cases and these files: what a campaign is true of."""
    digest = hashlib.sha256(program().encode())
    for path in (*sorted((DOCS / "cases").glob("*.toml")), *sorted(HERE.glob("*.[pt][yo]*"))):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def finished(path: Path, head: str) -> dict[int, Record]:
    """Return what a log holds; one of another state of the program is begun anew."""
    lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    if lines[:1] != [head]:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"{head}\n", encoding="utf-8")
        return {}
    records = []
    for line in lines[1:]:
        with contextlib.suppress(json.JSONDecodeError):  # where a run was killed
            records.append(Record(**json.loads(line)))
    return {record.index: record for record in records}


def run_one(index: int, *, seed: int, quick: bool, failures: Path) -> Record:
    """Make a mutant, run it and return what came of it; of a failure, keep the files and the output."""
    one = mutant(seed, index, quick=quick)
    run, finding = run_mutant(one)
    if finding.outcome not in PASSES:
        told = {
            "stdout": run.out,
            "stderr": run.err,
            "finding": f"{finding}\n{one.kinds} {one.arguments}",
        }
        kept = one.files | {f"{name}.txt": text.encode() for name, text in told.items()}
        _write_all(failures / f"{index:05d}", kept)
    seconds, memory_mb = round(run.seconds, 3), round(run.memory_mb, 1)
    return Record(index, list(one.kinds), finding.outcome, finding.detail[:1000], seconds, memory_mb)


def campaign(seed: int, count: int, *, workers: int, quick: bool, kept: Path = KEPT) -> list[Record]:
    """Run mutants, `workers` at a time, but for those that are finished; return the records of all."""
    name = f"red_team-{seed}{'-quick' if quick else ''}"
    head = json.dumps({"seed": seed, "quick": quick, "program": fingerprint()})
    records = finished(kept / f"{name}.jsonl", head)
    left = [index for index in range(count) if index not in records]
    one = partial(run_one, seed=seed, quick=quick, failures=kept / name)
    fork = multiprocessing.get_context("fork")
    with fork.Pool(workers, _end_quietly) as pool, (kept / f"{name}.jsonl").open("a") as log:
        for record in pool.imap_unordered(one, left):
            records[record.index] = record
            print(f"\n{json.dumps(asdict(record))}", file=log, flush=True)
            if record.outcome not in PASSES:
                print(f"{record.index}: {record.outcome}: {record.detail[:300]}", file=sys.stderr)
            if len(records) % 100 == 0:
                print(f"{len(records)} of {count}", file=sys.stderr)
    return [records[index] for index in range(count)]


def _end_quietly() -> None:
    """Let a worker end by the signal of its pool alone, and its child with it."""

    def end(*_: object) -> None:
        signal.alarm(1)  # once more, where a callback of the interpreter swallows the first
        sys.exit(1)

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGALRM, end)


def tally(records: Sequence[Record]) -> list[dict[str, object]]:
    """Return a row for each kind of change and one for all; a mutant counts in each of its kinds."""
    rows = []
    for name in (*KINDS, "all"):
        here = [r for r in records if name == "all" or name in r.kinds]
        counted = Counter(r.outcome for r in here)
        row = {"kind": name, "mutants": len(here)} | {outcome: counted[outcome] for outcome in OUTCOMES}
        slowest, largest = max(r.seconds for r in here), max(r.memory_mb for r in here)
        rows.append(row | {"slowest_s": slowest, "largest_mb": largest})
    return rows


def record_campaign(records: Sequence[Record], about: dict[str, object]) -> None:
    """Write the tally, and what it is true of beside it."""
    slowest, largest = max(records, key=lambda r: r.seconds), max(records, key=lambda r: r.memory_mb)
    about |= {"mutants": len(records), "failures": sum(r.outcome not in PASSES for r in records)}
    about |= {"slowest_s": slowest.seconds, "slowest_index": slowest.index}
    about |= {"largest_mb": largest.memory_mb, "largest_index": largest.index}
    about |= {"limit_s": LONGEST_S, "limit_mb": MOST_MEMORY_MB, **versions()}
    whats = [{"what": key, "value": value} for key, value in about.items()]
    for name, rows in (("tally", tally(records)), ("run", whats)):
        with (HERE / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


def _show(one: Mutant) -> int:
    """Run a mutant and show what came of it; return 1 where it fails."""
    run, finding = run_mutant(one)
    print("\n--- stillroot", *one.arguments, f"({one.hurdle}) {one.kinds}")
    for name, content in one.files.items():
        print(f"--- {name}\n{content[:5000].decode('utf-8', errors='replace')}")
    print(f"--- stdout\n{run.out[:3000]}\n--- stderr\n{run.err[:6000]}")
    print(f"--- exit {run.code} {run.signal}, {run.seconds:.2f} s, {run.memory_mb:.0f} MB: {finding}")
    return int(finding.outcome not in PASSES)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a campaign or one mutant; return 1 where something failed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", type=int, metavar="INDEX", help="run this one, and show it")
    parser.add_argument(
        "--shrink", action="store_true", help="with --only: look for a smaller one that fails"
    )
    parser.add_argument(
        "--quick", action="store_true", help="as the tests draw them: small, and fewer valid"
    )
    parser.add_argument("--kept", type=Path, default=KEPT, help="where finished mutants are stored")
    parser.add_argument("--record", action="store_true", help="write tally.csv and run.csv here")
    given = parser.parse_args(arguments)
    warm_up()
    if given.only is not None:
        return _show((smallest if given.shrink else mutant)(given.seed, given.only, quick=given.quick))
    try:
        records = campaign(
            given.seed, given.count, workers=given.workers, quick=given.quick, kept=given.kept
        )
    except KeyboardInterrupt:
        print("stopped; what is finished is kept, and the same command goes on", file=sys.stderr)
        return 130
    if given.record:
        record_campaign(records, {"seed": given.seed, "quick": given.quick})
    counted = Counter(record.outcome for record in records)
    print(", ".join(f"{counted[outcome]} {outcome}" for outcome in OUTCOMES if counted[outcome]))
    return int(any(record.outcome not in PASSES for record in records))


if __name__ == "__main__":
    sys.exit(main())

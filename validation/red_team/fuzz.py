"""Run stillroot on thousands of bad, odd and extreme case files.

Every mutant of a shipped case must end in an answer that is in order, or in one clear message with exit
code 2 or 3, nothing on stdout and nothing left behind; within a minute, and within bounded memory.

    python -m validation.red_team.fuzz --seed 1 --count 10000

Each runs in a child of this process, forked when all is imported. What is finished is kept, so that an
interrupted campaign goes on; `--only INDEX` runs one again and shows what it came to.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import faulthandler
import hashlib
import importlib
import json
import os
import pkgutil
import resource
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from validation.red_team.judge import OUTCOMES, PASSES, Files, Finding, Run, judge
from validation.red_team.mutations import KINDS, Mutant, mutant

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

import stillroot
from stillroot.answers.answer import versions
from stillroot.studies.store import program

HERE = Path(__file__).parent
TALLY, ABOUT = HERE / "tally.csv", HERE / "run.csv"
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
POLL_S = 0.005


@dataclass(frozen=True, kw_only=True)
class Record:
    """A finished mutant."""

    index: int
    kinds: tuple[str, ...]
    command: str
    outcome: str
    detail: str
    message: str
    seconds: float
    memory_mb: float

    @property
    def passes(self) -> bool:
        """Whether it is as it must be."""
        return self.outcome in PASSES


@dataclass(frozen=True, kw_only=True)
class _Child:
    """A run that is under way."""

    pid: int
    mutant: Mutant
    folder: Path
    before: Files
    baseline_mb: float


def run_mutant(one: Mutant) -> tuple[Run, Finding]:
    """Run one mutant to its end."""
    child = _start(one)
    try:
        _, status, usage = os.wait4(child.pid, 0)
    except BaseException:
        _abandon(child)
        raise
    run = _ended(child, status, usage)
    return run, judge(one, run)


def run_campaign(
    seed: int,
    indices: Sequence[int],
    *,
    workers: int = 1,
    quick: bool = False,
    finished: Callable[[Record, Mutant, Run], None],
) -> None:
    """Run mutants, `workers` at a time, and hand over each as it is finished."""
    waiting = list(reversed(indices))
    running: list[_Child] = []
    try:
        while waiting or running:
            while waiting and len(running) < workers:
                running.append(_start(mutant(seed, waiting.pop(), quick=quick)))
            ended = [(c, s, u) for c in running for pid, s, u in [os.wait4(c.pid, os.WNOHANG)] if pid]
            for child, status, usage in ended:
                running.remove(child)
                run = _ended(child, status, usage)
                finished(_record(child.mutant, run), child.mutant, run)
            if not ended:
                time.sleep(POLL_S)
    finally:
        for child in running:
            _abandon(child)


def _record(one: Mutant, run: Run) -> Record:
    finding = judge(one, run)
    return Record(
        index=one.index,
        kinds=one.kinds,
        command=one.arguments[0],
        outcome=finding.outcome,
        detail=finding.detail[:1000],
        message="" if run.code == 0 else run.err[:1500],
        seconds=round(run.seconds, 3),
        memory_mb=round(run.memory_mb, 1),
    )


# One run -----------------------------------------------------------------------------------------


def warm_up() -> None:
    """Import all that a run may import, so that no child has to."""
    for module in pkgutil.walk_packages(stillroot.__path__, "stillroot."):
        importlib.import_module(module.name)
    for name in (
        *("gmsh", "matplotlib.backends.backend_agg", "matplotlib.backends.backend_svg"),
        *("matplotlib.figure", "meshio", "rich.table", "rich.status", "scipy.optimize", "skfem"),
    ):
        with contextlib.suppress(ImportError, OSError):
            importlib.import_module(name)


def _start(one: Mutant) -> _Child:
    folder = Path(tempfile.mkdtemp(prefix="red-team-"))
    inside = folder / "in"
    for name, content in one.files.items():
        path = inside / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    before = _files(inside)
    sys.stdout.flush()
    sys.stderr.flush()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of threads in a forked process: the child starts none
        pid = os.fork()
    if pid == 0:
        _child(one, folder)
    return _Child(
        pid=pid,
        mutant=one,
        folder=folder,
        before=before,
        baseline_mb=_status_mb("VmRSS"),
    )


def _child(one: Mutant, folder: Path) -> None:
    """Run the command line in this process, and end it."""
    code = 70
    try:
        for number in (signal.SIGALRM, signal.SIGXCPU, signal.SIGINT):
            signal.signal(number, signal.SIG_DFL)
        signal.alarm(LONGEST_WAIT_S)
        resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S + 5))
        _stand_in(folder / "stdout", folder / "stderr", full=one.hurdle == "stdout full")
        most = int((_status_mb("VmSize") + MOST_MEMORY_MB) * 2**20)
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        if one.hurdle == "disk full":
            resource.setrlimit(resource.RLIMIT_FSIZE, (FULL_DISK_BYTES, FULL_DISK_BYTES))
        os.chdir(folder / "in")
        faulthandler.disable()  # a test runner's would write what it knows of this process to the user
        _warn_as_usual()
        code = _run(one.arguments)
    finally:
        os._exit(code)


def _run(arguments: tuple[str, ...]) -> int:
    """Return the exit code of the command line, as the interpreter would."""
    import traceback  # noqa: PLC0415

    from stillroot import cli  # noqa: PLC0415

    try:
        try:
            cli.main(list(arguments))
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:
        traceback.print_exc()
        sys.stderr.flush()
        return 71
    return code


def _stand_in(out: Path, err: Path, *, full: bool) -> None:
    """Put files in the place of stdout and stderr, for what is written below Python as well."""
    for number, path in ((1, "/dev/full" if full else out), (2, err)):
        opened = os.open(path, os.O_WRONLY | os.O_CREAT, 0o600)
        os.dup2(opened, number)
        os.close(opened)
    sys.stdout = open(1, "w", encoding="utf-8", errors="replace", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", encoding="utf-8", errors="replace", closefd=False)  # noqa: SIM115


def _warn_as_usual() -> None:
    """Show the warnings that Python shows to a user."""
    warnings.resetwarnings()
    for category in (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning):
        warnings.simplefilter("ignore", category)


def _ended(child: _Child, status: int, usage: resource.struct_rusage) -> Run:
    code = os.WEXITSTATUS(status) if os.WIFEXITED(status) else None
    name = "" if code is not None else signal.Signals(os.WTERMSIG(status)).name
    memory_mb = max(usage.ru_maxrss / 1024 - child.baseline_mb, 0.0)
    folder = child.folder
    try:
        return Run(
            code=code,
            signal=name,
            out=_text(folder / "stdout"),
            err=_text(folder / "stderr"),
            before=child.before,
            after=_files(folder / "in"),
            seconds=usage.ru_utime + usage.ru_stime,
            memory_mb=memory_mb,
            over_memory=memory_mb > NEAR_LIMIT * MOST_MEMORY_MB,
        )
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _abandon(child: _Child) -> None:
    with contextlib.suppress(ProcessLookupError, ChildProcessError):
        os.kill(child.pid, signal.SIGKILL)
        os.waitpid(child.pid, 0)
    shutil.rmtree(child.folder, ignore_errors=True)


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", errors="replace") if path.is_file() else ""


def _files(folder: Path) -> Files:
    """Return the files below a folder with what they hold, and the folders, whose names end in "/"."""
    return {
        path.relative_to(folder).as_posix() + ("/" if path.is_dir() else ""): (
            b"" if path.is_dir() else path.read_bytes()
        )
        for path in sorted(folder.rglob("*"))
    }


def _status_mb(key: str) -> float:
    """Return what the kernel says of this process's memory, 0 where it says nothing."""
    with contextlib.suppress(OSError), open("/proc/self/status", encoding="ascii") as lines:
        for line in lines:
            if line.startswith(f"{key}:"):
                return int(line.split()[1]) / 1024
    return 0.0


# A campaign --------------------------------------------------------------------------------------


def fingerprint() -> str:
    """Return a hash of the program, the shipped cases and these files: what a campaign is true of."""
    digest = hashlib.sha256(program().encode())
    cases = HERE.parents[1] / "docs" / "cases"
    for path in (*sorted(cases.glob("*.toml")), *sorted(HERE.glob("*.py"))):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


class Log:
    """What is finished, a line each; that of another state of the program is not gone on with."""

    def __init__(self, path: Path, head: dict[str, object]) -> None:
        self.path = path
        self.records = {record.index: record for record in _read_log(path, head)}
        path.parent.mkdir(parents=True, exist_ok=True)
        lines = [json.dumps(head), *(json.dumps(asdict(r)) for r in self.records.values())]
        aside = path.with_suffix(".part")
        aside.write_text("\n".join(lines) + "\n", encoding="utf-8")
        aside.replace(path)

    def add(self, record: Record) -> None:
        """Keep a finished mutant."""
        self.records[record.index] = record
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(record)) + "\n")


def _read_log(path: Path, head: dict[str, object]) -> Iterator[Record]:
    if not path.is_file():
        return
    first, *lines = path.read_text(encoding="utf-8").splitlines() or [""]
    if first != json.dumps(head):
        return
    for line in lines:
        with contextlib.suppress(json.JSONDecodeError):  # the last line of a run that was killed
            values = json.loads(line)
            yield Record(**{**values, "kinds": tuple(values["kinds"])})


def keep_failure(folder: Path, record: Record, one: Mutant, run: Run) -> None:
    """Keep the files of a mutant that failed, and what it printed."""
    place = folder / f"{record.index:05d}"
    files = {
        **one.files,
        "arguments.txt": " ".join(one.arguments).encode(),
        "stdout.txt": run.out.encode(),
        "stderr.txt": run.err.encode(),
        "finding.txt": f"{record.outcome}: {record.detail}\n{record.kinds}\n".encode(),
    }
    for name, content in files.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(content)


def tally(records: Sequence[Record]) -> list[dict[str, object]]:
    """Return a row for each kind of mutation and one for all; a mutant counts in each of its kinds."""
    rows = []
    for name in (*KINDS, "all"):
        here = [r for r in records if name == "all" or name in r.kinds]
        counted = Counter(r.outcome for r in here)
        rows.append(
            {
                "kind": name,
                "mutants": len(here),
                **{outcome: counted[outcome] for outcome in OUTCOMES},
                "slowest_s": max((r.seconds for r in here), default=0.0),
                "largest_mb": max((r.memory_mb for r in here), default=0.0),
            }
        )
    return rows


def write_tally(records: Sequence[Record], seed: int, *, quick: bool) -> None:
    """Write the tally, and what it is true of beside it."""
    rows = tally(records)
    slowest = max(records, key=lambda r: r.seconds)
    largest = max(records, key=lambda r: r.memory_mb)
    about: dict[str, object] = {
        "seed": seed,
        "quick": quick,
        "mutants": len(records),
        "failures": sum(not r.passes for r in records),
        "slowest_s": slowest.seconds,
        "slowest_index": slowest.index,
        "largest_mb": largest.memory_mb,
        "largest_index": largest.index,
        "limit_s": LONGEST_S,
        "limit_mb": MOST_MEMORY_MB,
        **versions(),
    }
    _write_csv(TALLY, rows)
    _write_csv(ABOUT, [{"what": key, "value": value} for key, value in about.items()])


def _write_csv(path: Path, rows: Sequence[dict[str, object]]) -> None:
    aside = path.with_suffix(".part")
    with aside.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    aside.replace(path)


def _campaign(seed: int, count: int, workers: int, *, quick: bool) -> int:
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import Progress  # noqa: PLC0415

    head: dict[str, object] = {"seed": seed, "quick": quick, "program": fingerprint()}
    name = f"red_team-{seed}{'-quick' if quick else ''}"
    log = Log(KEPT / f"{name}.jsonl", head)
    failures = KEPT / name
    left = [index for index in range(count) if index not in log.records]
    console = Console(stderr=True)
    # Without a thread of its own to draw it: this process forks.
    with Progress(console=console, auto_refresh=False, disable=not console.is_terminal) as bar:
        task = bar.add_task("mutants", total=count, completed=count - len(left))

        def finished(record: Record, one: Mutant, run: Run) -> None:
            log.add(record)
            if not record.passes:
                keep_failure(failures, record, one, run)
                console.print(f"{record.index}: {record.outcome}: {record.detail[:200]}", markup=False)
            bar.advance(task)
            bar.refresh()

        try:
            run_campaign(seed, left, workers=workers, quick=quick, finished=finished)
        except KeyboardInterrupt:
            print("stopped; what is finished is kept, and the same command goes on", file=sys.stderr)
            return 130
    records = [log.records[index] for index in range(count)]
    write_tally(records, seed, quick=quick)
    counted = Counter(record.outcome for record in records)
    print(", ".join(f"{counted[outcome]} {outcome}" for outcome in OUTCOMES if counted[outcome]))
    print(f"Written to {TALLY} and {ABOUT}")
    return int(any(not record.passes for record in records))


def _show_one(seed: int, index: int, *, quick: bool) -> int:
    one = mutant(seed, index, quick=quick)
    run, finding = run_mutant(one)
    for name, content in one.files.items():
        print(f"--- {name}")
        print(content[:5000].decode("utf-8", errors="replace"))
    print("--- kinds:", ", ".join(one.kinds))
    print("--- stillroot", *one.arguments, f"({one.hurdle})" if one.hurdle else "")
    print(run.out[:3000])
    print(run.err[:6000])
    print(f"--- exit {run.code} {run.signal}, {run.seconds:.2f} s, {run.memory_mb:.0f} MB")
    print(f"--- {finding.outcome} {finding.detail}")
    return int(not finding.passes)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a campaign or one mutant; return 1 where something failed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", type=int, metavar="INDEX", help="run this one, and show it")
    parser.add_argument(
        "--quick", action="store_true", help="as the tests draw them: small, and fewer valid"
    )
    given = parser.parse_args(arguments)
    warm_up()
    if given.only is not None:
        return _show_one(given.seed, given.only, quick=given.quick)
    return _campaign(given.seed, given.count, given.workers, quick=given.quick)


if __name__ == "__main__":
    sys.exit(main())

"""The processes that solve for the page, each with the stages that it keeps.

Three benches: `first` answers coarsely; `fine` and `coarser` share a refined answer between two cores,
and together they compute what `check` computes. A bench does one job at a time and can be told to drop
it: a signal, where there are any, breaks off the job between two lines of Python; elsewhere it ends at
the next stage. A bench keeps the last seats and what is loaded on them, no more, so its memory is
bounded.
"""

from __future__ import annotations

import os
import signal
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from threadpoolctl import threadpool_limits

from stillroot.answers.answer import Beside, answers_of, check, six_directions_of
from stillroot.answers.chain import Chain
from stillroot.answers.levels import OF_THE_ERROR, Bench, found_but_for_its_error
from stillroot.errors import GivesWay, StillrootError
from stillroot.explore.first import first_answer
from stillroot.explore.told import directions_told, first_told, refined_told
from stillroot.mechanics.accuracy import COARSE, FINE
from stillroot.mechanics.strain import bone_strains

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from ctypes import c_longlong
    from multiprocessing.connection import Connection

    from stillroot.answers.levels import Solved
    from stillroot.inputs.case import Case
    from stillroot.mechanics.motion import Reading
    from stillroot.mechanics.strain import BoneStrain

T = TypeVar("T")
Found = dict[str, "tuple[Reading | GivesWay, ...]"]
"""What is found on each level of the error, for each load."""

CONTINUES = frozenset({"join"})
"""Jobs that go on from what the same process did before."""
MOST_BYTES = 3 * 1024**3
"""Of data of one bench: a usual case takes a tenth."""
DROP_SIGNAL = getattr(signal, "SIGUSR1", None)


@dataclass(frozen=True, kw_only=True)
class Job:
    """What a bench is asked: a kind of work (a method of `Worker`), the case, and what else it takes."""

    number: int
    kind: str
    case: Case
    more: tuple[Any, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What came of a job: its value, or `message`, the one for the user; neither if it was dropped."""

    value: Any = None
    message: str = ""


class Dropped(BaseException):
    """The job is not wanted any more. Not an `Exception`: nothing on the way may take it for one."""


def run_bench(pipe: Connection, dropped: c_longlong) -> None:
    """Do jobs until the other end of the pipe is closed; `dropped` is the last number not wanted."""
    _limit_memory()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which then closes the pipe
    current = 0

    def assert_wanted(_: object = None) -> None:
        if current and current <= dropped.value:
            raise Dropped

    if DROP_SIGNAL is not None:
        signal.signal(DROP_SIGNAL, lambda _number, _frame: assert_wanted())
    worker = Worker(assert_wanted)
    with threadpool_limits(1), suppress(EOFError, OSError):
        while True:
            job: Job = pipe.recv()
            current = job.number
            try:
                assert_wanted()
                reply = _reply(worker, job)
            except Dropped:
                reply = Reply()
            finally:
                current = 0
            pipe.send(reply)


def _reply(worker: Worker, job: Job) -> Reply:
    try:
        return Reply(value=worker.done(job))
    except StillrootError as error:
        message = str(error)
    except MemoryError:
        message = "this case needs more memory than a page may use: a larger element_mm needs less"
    except Exception as error:  # the page shows it as its one message
        if os.environ.get("STILLROOT_DEBUG"):
            raise
        message = f"an internal error ({type(error).__name__}: {error})"
    return Reply(message=message)


def on_both_cores(work: Callable[[int], T], numbers: Iterable[int]) -> list[T]:
    """Return what `map` does. The factorisations let go of the interpreter, so threads gain."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, numbers))


def _limit_memory() -> None:
    """Let a case that is far too large fail by itself, where the system can see to it."""
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return
    with suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_DATA, (MOST_BYTES, MOST_BYTES))


def _close_mesher() -> None:
    """Close the mesher where a job was dropped just as it had been opened."""
    gmsh = sys.modules.get("gmsh")
    if gmsh is not None and gmsh.isInitialized():
        gmsh.finalize()


class Worker:
    """One process's work, a method for each kind of job, and what it keeps from one to the next.

    `first` and `directions` answer a case. Two processes share the refined answer: `fine` in one, in the
    other `coarse` and `others`; `join` makes one answer of them.
    """

    def __init__(self, progress: Callable[[str], None]) -> None:
        self._progress = progress
        # A first answer of one tab has the machine to itself; a refined one has a core for each half.
        self._first_bench, self._bench = Bench(coarse=Chain(each=on_both_cores)), Bench()
        self._fine: Solved | None = None

    def done(self, job: Job) -> Any:
        """Return what a job asks for."""
        _close_mesher()
        if job.kind not in CONTINUES:
            self._fine = None  # frees the old seat before a new one is made
        return getattr(self, job.kind)(job.case, *job.more)

    def first(self, case: Case, place: int) -> dict[str, Any]:
        """Answer one load of a case, by its place, on a coarse mesh."""
        return first_told(case, first_answer(self._first_bench, case, place))

    def directions(self, case: Case) -> dict[str, Any]:
        """Answer a case in its six directions."""
        placed = self._bench.placed(case, FINE)
        return directions_told(six_directions_of(placed, progress=self._progress))

    def interference(self, case: Case) -> float:
        """Return the interference [µm] of a case, which the coarser seats take over."""
        return self._bench.placed(case, FINE).interference_um

    def fine(self, case: Case) -> None:
        """Solve a case on its own mesh, for `join`."""
        self._fine = self._bench.solved(case, FINE, progress=self._progress)

    def coarse(self, case: Case, interference_um: float) -> tuple[Found, tuple[BoneStrain, ...]]:
        """Return what is found on the coarse mesh, and the strains of the bone."""
        with found_but_for_its_error(case):
            solved = self._bench.solved(case, COARSE, interference_um, progress=self._progress)
        strains = bone_strains(solved.placed.seated, solved.states, case.bone.crush_strain)
        return {COARSE: solved.found}, strains

    def others(self, case: Case, interference_um: float) -> Found:
        """Return what is found on the levels of the error besides the coarse mesh."""
        with found_but_for_its_error(case):
            return {
                level: self._bench.solved(case, level, interference_um, progress=self._progress).found
                for level in OF_THE_ERROR
                if level != COARSE
            }

    def join(self, case: Case, found: Found, strains: Sequence[BoneStrain]) -> dict[str, Any]:
        """Return the refined answer of the case that `fine` solved."""
        if self._fine is None:
            msg = "a case is solved before its errors are joined to it"
            raise AssertionError(msg)
        return refined_told(
            case, self._fine, answers_of(self._fine, Beside(found=found, strains=strains))
        )

    def report(self, case: Case) -> str:
        """Return report.html of a case: of what `check --out` writes, the page alone."""
        from stillroot.pictures.figures import pictures  # noqa: PLC0415 - slow to import, seldom used
        from stillroot.studies.explaining import explain  # noqa: PLC0415
        from stillroot.studies.ranges import with_ranges  # noqa: PLC0415
        from stillroot.words.check_document import check_document  # noqa: PLC0415
        from stillroot.writing.html_report import report_html  # noqa: PLC0415
        from stillroot.writing.picture_files import drawn  # noqa: PLC0415

        result = with_ranges(check(case, progress=self._progress), progress=self._progress)
        result = explain(result, progress=self._progress)
        self._progress("drawing")
        return report_html(check_document(result), map(drawn, pictures(result)), "researcher")

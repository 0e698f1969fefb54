"""The processes that solve for the page, each with the stages that it keeps.

Three benches: `first` answers coarsely, and then finds how far bone is strained; `fine` and `coarser`
share the rest of a refined answer between two cores, and together they compute what `check` computes. A
bench does one job at a time and can be told to drop it: a signal, where there are any, breaks off the
job between two lines of Python; elsewhere it ends at the next stage. A bench keeps the last seats and
what is loaded on them, no more, so its memory is bounded.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from stillroot.errors import StillrootError
from stillroot.inputs.case import Case
from stillroot.mechanics.accuracy import COARSE, FINE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from ctypes import c_longlong
    from multiprocessing.connection import Connection

    from stillroot.answers.chain import Placed
    from stillroot.answers.levels import Solved

T = TypeVar("T")

CONTINUES = frozenset({"loads", "readings", "join", "directions"})
"""Jobs that go on from what the same process did before."""
MOST_BYTES = 3 * 1024**3
"""Of data of one bench: a usual case takes a tenth."""
DROP_SIGNAL = getattr(signal, "SIGUSR1", None)


@dataclass(frozen=True, kw_only=True)
class Job:
    """What a bench is asked: a kind of work, the case as dictionaries, and what else it takes."""

    number: int
    kind: str
    case: dict[str, Any]
    more: Any = None


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What came of a job: its value, or `message`, the one for the user; `dropped` has neither."""

    number: int
    value: Any = None
    message: str = ""
    dropped: bool = False


class Dropped(BaseException):
    """The job is not wanted any more. Not an `Exception`: nothing on the way may take it for one."""


def run_bench(pipe: Connection, dropped: c_longlong) -> None:
    """Do jobs until the other end of the pipe is closed; `dropped` is the last number not wanted."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - in the process that solves

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
                reply = Reply(number=job.number, dropped=True)
            finally:
                current = 0
            pipe.send(reply)


def _reply(worker: Worker, job: Job) -> Reply:
    try:
        return Reply(number=job.number, value=worker.done(job))
    except StillrootError as error:
        message = str(error)
    except MemoryError:
        message = "this case needs more memory than a page may use: a larger element_mm needs less"
    except Exception as error:  # the page shows it as its one message
        if os.environ.get("STILLROOT_DEBUG"):
            raise
        message = f"an internal error ({type(error).__name__}: {error})"
    return Reply(number=job.number, message=message)


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
    """One process's work, and what it keeps from one job to the next."""

    def __init__(self, progress: Callable[[str], None]) -> None:
        from stillroot.answers.chain import Chain  # noqa: PLC0415 - in the process that solves
        from stillroot.answers.levels import Bench  # noqa: PLC0415

        self._progress = progress
        # A first answer of one tab has the machine to itself; a refined one has a core for each half.
        self._first_bench, self._bench = Bench(coarse=Chain(each=on_both_cores)), Bench()
        self._placed: Placed | None = None
        self._solved: Solved | None = None
        self._work: dict[str, Callable[[Case, Any], Any]] = {
            "first": self._first,
            "seat": self._seated,
            "loads": self._load,
            "coarser": self._coarser,
            "readings": self._readings,
            "strains": self._bone_strains,
            "join": self._join,
            "directions": self._directions,
            "report": self._report,
        }

    def done(self, job: Job) -> Any:
        """Return what a job asks for."""
        _close_mesher()
        return self._work[job.kind](Case.from_dict(job.case), job.more)

    def _first(self, case: Case, place: int) -> dict[str, Any]:
        from stillroot.explore.first import first_answer  # noqa: PLC0415
        from stillroot.explore.told import first_told  # noqa: PLC0415

        return first_told(case, first_answer(self._first_bench, case, place))

    def _seated(self, case: Case, _: object) -> float:
        """Seat a case; return its interference, which the coarser seats take over."""
        self._placed = self._solved = None
        self._placed = self._bench.placed(case, FINE)
        return self._placed.interference_um

    def _load(self, _: Case, __: object) -> None:
        self._solved = self._bench.solved(_kept(self._placed).case, FINE, progress=self._progress)

    def _coarser(self, case: Case, interference_um: float) -> bytes:
        """Load the coarse seat; return the case and the forces on bone, packed."""
        from stillroot.answers.levels import found_but_for_its_error  # noqa: PLC0415
        from stillroot.mechanics.fields import forces_on_bone  # noqa: PLC0415

        self._solved = None
        with found_but_for_its_error(case):
            self._solved = self._bench.solved(case, COARSE, interference_um, progress=self._progress)
        layer = self._solved.placed.seated.layer
        return pickle.dumps((case, [forces_on_bone(layer, state) for state in self._solved.states]))

    def _readings(self, case: Case, _: object) -> bytes:
        """Load the other coarser seats; return what is read off all of them, packed."""
        from stillroot.answers.levels import OF_THE_ERROR, found_but_for_its_error  # noqa: PLC0415

        coarse = _kept(self._solved)
        found = coarse.placed.interference_um
        readings = {COARSE: coarse.readings}
        with found_but_for_its_error(case):
            for level in (level for level in OF_THE_ERROR if level != COARSE):
                solved = self._bench.solved(case, level, found, progress=self._progress)
                readings[level] = solved.readings
        return pickle.dumps(readings)

    def _bone_strains(self, _: Case, packed: bytes) -> bytes:
        """Find how far bone is strained by the forces that another bench found; return it packed."""
        from stillroot.answers.chain import meshed, solids_of  # noqa: PLC0415
        from stillroot.answers.levels import at_level  # noqa: PLC0415
        from stillroot.mechanics.bodies import take_apart  # noqa: PLC0415
        from stillroot.mechanics.strain import strains_under  # noqa: PLC0415

        case, forces = pickle.loads(packed)  # noqa: S301 - our own bench's
        here = at_level(case, COARSE)
        section = meshed(here)
        self._progress("meshed")
        pair = take_apart(section, keep_gap=case.socket.gap_filled)
        return pickle.dumps(strains_under(solids_of(here), pair, forces, case.bone.crush_strain))

    def _join(self, case: Case, packed: list[bytes]) -> dict[str, Any]:
        from stillroot.answers.answer import answers_of  # noqa: PLC0415
        from stillroot.explore.told import refined_told  # noqa: PLC0415

        fine = _kept(self._solved)
        readings, strains = map(pickle.loads, packed)  # our own benches'
        return refined_told(case, fine, answers_of(fine, readings, strains))

    def _directions(self, _: Case, __: object) -> dict[str, Any]:
        from stillroot.answers.answer import six_directions_of  # noqa: PLC0415
        from stillroot.explore.told import directions_told  # noqa: PLC0415

        return directions_told(six_directions_of(_kept(self._placed), progress=self._progress))

    def _report(self, case: Case, _: object) -> str:
        from stillroot.explore.report_page import report_page  # noqa: PLC0415

        return report_page(case, self._progress)


def _kept(value: T | None) -> T:
    """Return what an earlier job of the same question left."""
    if value is None:
        msg = "a case is seated before it is loaded, and loaded before its errors are read"
        raise AssertionError(msg)
    return value

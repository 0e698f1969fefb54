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
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from stillroot.errors import StillrootError
from stillroot.inputs.case import Case

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from ctypes import c_longlong
    from multiprocessing.connection import Connection

    from stillroot.answers.answer import Loaded, LoadedCoarse
    from stillroot.mechanics.loading import Seated

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
    bench = Bench(assert_wanted)
    with threadpool_limits(1), suppress(EOFError, OSError):
        while True:
            job: Job = pipe.recv()
            current = job.number
            try:
                assert_wanted()
                reply = _reply(bench, job)
            except Dropped:
                reply = Reply(number=job.number, dropped=True)
            finally:
                current = 0
            pipe.send(reply)


def _reply(bench: Bench, job: Job) -> Reply:
    try:
        return Reply(number=job.number, value=bench.done(job))
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


class Bench:
    """One process's work, and what it keeps from one job to the next."""

    def __init__(self, progress: Callable[[str], None]) -> None:
        from stillroot.answers.answer import prepared_groundwork  # noqa: PLC0415 - as the next
        from stillroot.studies.stages import Stages  # noqa: PLC0415 - in the process that solves

        self._progress = progress
        # A first answer of one tab has the machine to itself; a refined one has a core for each half.
        threaded = partial(prepared_groundwork, each=on_both_cores)
        self._first_stages = Stages(threaded, each=on_both_cores)
        self._stages, self._far_stages = Stages(prepared_groundwork), Stages(self._far_ground)
        self._coarse_case: Case | None = None
        self._seat: tuple[Case, Seated, float] | None = None
        self._loaded: Loaded | None = None
        self._coarse: LoadedCoarse | None = None
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

        return first_told(case, first_answer(self._first_stages, case, place))

    def _seated(self, case: Case, _: object) -> float:
        """Seat a case; return its interference, which the coarser seats take over."""
        self._loaded = self._seat = None
        seated, interference_um, _torque = self._stages.seated(case)
        self._seat = case, seated, interference_um
        return interference_um

    def _load(self, _: Case, __: object) -> None:
        from stillroot.answers.answer import load_all  # noqa: PLC0415

        case, seated, _interference = self._kept_seat()
        self._loaded = load_all(case, seated, self._progress)

    def _coarser(self, case: Case, interference_um: float) -> bytes:
        """Load the coarse seat; return the case of it and the forces on bone, packed."""
        from stillroot.answers.answer import load_coarse  # noqa: PLC0415
        from stillroot.mechanics.accuracy import CoarseSeats, coarse_cases  # noqa: PLC0415
        from stillroot.mechanics.fields import forces_on_bone  # noqa: PLC0415

        self._coarse = None
        if case.interface.measured_torque_ncm is not None:
            found = {"interference_um": interference_um, "measured_torque_ncm": None}
            face = case.interface.model_copy(update=found)
            case = case.model_copy(update={"interface": face})

        def seats() -> CoarseSeats:
            coarse_case, far_case = coarse_cases(case)
            self._coarse_case = coarse_case
            coarse = self._stages.seated(coarse_case)[0]
            self._progress("coarser")
            far = None if case.is_whole_block else self._far_stages.seated(far_case)[0]
            self._progress("farther")
            fewer = coarse.with_highest(far_case.numerics.harmonics)
            return CoarseSeats(coarse=coarse, fewer=fewer, far=far)

        self._coarse = load_coarse(case, seats)
        coarse = self._coarse.seats.coarse
        forces = [forces_on_bone(coarse.layer, state) for state in self._coarse.states]
        return pickle.dumps((coarse.site.case, forces))

    def _readings(self, case: Case, _: object) -> bytes:
        """Load the other coarser seats; return what is read off them, packed."""
        from stillroot.answers.answer import read_coarser  # noqa: PLC0415

        if self._coarse is None:
            msg = "the coarser seats are read once the coarse one is loaded"
            raise AssertionError(msg)
        return pickle.dumps(read_coarser(case, self._coarse))

    def _bone_strains(self, _: Case, packed: bytes) -> bytes:
        """Find how far bone is strained by the forces that another bench found; return it packed."""
        from stillroot.mechanics.bodies import take_apart  # noqa: PLC0415
        from stillroot.mechanics.outline import outline_of  # noqa: PLC0415
        from stillroot.mechanics.stored import half_section  # noqa: PLC0415
        from stillroot.mechanics.strain import strains_under  # noqa: PLC0415

        case, forces = pickle.loads(packed)  # noqa: S301 - our own bench's
        section = half_section(outline_of(case), case.numerics.element_mm)
        self._progress("meshed")
        pair = take_apart(section, keep_gap=case.socket.gap_filled)
        return pickle.dumps((case, strains_under(case, pair, forces)))

    def _far_ground(self, far_case: Case) -> Any:
        from stillroot.mechanics.groundwork import with_far_support  # noqa: PLC0415

        coarse_case = self._coarse_case
        if coarse_case is None:
            msg = "the far support is moved from a coarse seat"
            raise AssertionError(msg)
        ground = self._stages.ground(coarse_case)
        return with_far_support(ground, coarse_case, far_case, far_case.numerics.harmonics)

    def _join(self, case: Case, packed: list[bytes]) -> dict[str, Any]:
        from stillroot.answers.answer import LoadedCoarser, answers_of  # noqa: PLC0415
        from stillroot.explore.told import refined_told  # noqa: PLC0415
        from stillroot.mechanics.torque import torque_of  # noqa: PLC0415

        _, seated, interference_um = self._kept_seat()
        loaded = self._loaded
        if loaded is None:
            msg = "loads are joined with their errors once they are solved"
            raise AssertionError(msg)
        readings, (coarse_case, strains) = map(pickle.loads, packed)  # our own benches'
        coarser = LoadedCoarser(case=coarse_case, readings=readings, strains=strains)
        answers = answers_of(case, seated, loaded, coarser)
        return refined_told(case, seated, answers, loaded.readings, torque_of(seated), interference_um)

    def _directions(self, _: Case, __: object) -> dict[str, Any]:
        from stillroot.explore.told import directions_told  # noqa: PLC0415
        from stillroot.mechanics.six_directions import six_directions  # noqa: PLC0415

        _case, seated, _interference = self._kept_seat()
        return directions_told(six_directions(seated, progress=self._progress))

    def _report(self, case: Case, _: object) -> str:
        from stillroot.explore.report_page import report_page  # noqa: PLC0415

        return report_page(case, self._progress)

    def _kept_seat(self) -> tuple[Case, Seated, float]:
        if self._seat is None:
            msg = "a case is seated before it is loaded"
            raise AssertionError(msg)
        return self._seat

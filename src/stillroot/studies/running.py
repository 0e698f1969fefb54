"""Many cases solved: by processes on this machine, or by an existing dask cluster.

Each case is stored as soon as it is finished, and stored cases are not solved again. A process that dies
costs only its case, which is tried again. Every case gives the same digits wherever and in whatever
order it is solved: linear algebra runs in one thread, and no stage depends on what was solved before it.
"""

from __future__ import annotations

import os
import signal
import threading
from concurrent.futures import FIRST_COMPLETED, wait
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cache, partial
from multiprocessing import get_context, parent_process, resource_tracker
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from stillroot.answers.chain import stage_keys
from stillroot.errors import EnvironmentProblem
from stillroot.studies.outcome import for_any_moduli, grown, no_outcome, solved
from stillroot.studies.store import key_of, program

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
    from concurrent.futures import Future

    from stillroot.answers.chain import Chain
    from stillroot.inputs.case import Case
    from stillroot.studies.outcome import Outcome

    Progress = Callable[[int, int, str], None]
    """Called with the number done, the total, and what is being worked on."""

Item = TypeVar("Item")
Result = TypeVar("Result")

TRIES = 3
"""How often a case is started whose process dies."""
MOST_TASKS = 100
"""Cases that one process solves before a fresh one replaces it, so that memory does not creep."""
DIED = (
    f"its process ended {TRIES} times without an answer, perhaps for lack of memory; a larger "
    "element_mm or --workers 1 takes less"
)
CONNECT_S = 20
"""Timeout for the connection to a cluster."""


class Keeps(Protocol):
    """What keeps solved cases under their keys: a `Store`, or another file of them."""

    def found(self, keys: Iterable[str]) -> dict[str, Outcome]:
        """Return the outcomes kept under some keys."""

    def add(self, key: str, title: str, outcome: Outcome) -> None:
        """Keep a solved case at once."""


@dataclass(frozen=True, kw_only=True)
class Where:
    """Where cases are solved and kept.

    `workers`: processes on this machine (default: one per core); with 1 everything runs in this process.
    `cluster`: address of a dask scheduler to use instead. `store`: None keeps nothing.
    """

    workers: int | None = None
    cluster: str | None = None
    store: Keeps | None = None


def run(
    cases: Sequence[Case],
    where: Where,
    *,
    with_error: bool = False,
    until_um: float | None = None,
    what: str = "cases",
    progress: Progress = lambda *_: None,
) -> list[Outcome]:
    """Return the outcome of each case, in their order; equal cases are solved once.

    With `until_um` the loads of each are grown, see `outcome.grown`.

    Raises
    ------
    EnvironmentProblem
        gmsh cannot be loaded and no stored mesh fits a case, or the cluster cannot be reached.
    """
    keys = [key_of(case, with_error=with_error, until_um=until_um) for case in cases]
    by_key = dict(zip(keys, cases, strict=True))
    outcomes = where.store.found(keys) if where.store else {}
    missing = [key for key in by_key if key not in outcomes]
    missing.sort(key=lambda key: stage_keys(by_key[key]))  # neighbours share their stages
    progress(len(outcomes), len(by_key), what)
    solve = partial(_solve, with_error=with_error, until_um=until_um)
    with closing(_each(solve, [by_key[key] for key in missing], where)) as finished:
        for place, outcome in finished:
            key = missing[place]
            outcomes[key] = outcome if outcome is not None else no_outcome(by_key[key], DIED)
            if where.store and outcome is not None:
                where.store.add(key, by_key[key].title, outcome)
            progress(len(outcomes), len(by_key), what)
    return [outcomes[key] for key in keys]


def _each(
    solve: Callable[[Case], Outcome], cases: Sequence[Case], where: Where
) -> Generator[tuple[int, Outcome | None]]:
    """Yield (place, outcome) of each case once it is finished; None where its process died too often."""
    if where.cluster is not None:
        return _on_cluster(solve, cases, where.cluster)
    return in_processes(solve, cases, where.workers or os.cpu_count() or 1)


def in_processes(
    solve: Callable[[Item], Result], items: Sequence[Item], workers: int
) -> Generator[tuple[int, Result | None]]:
    """Yield (place, result) of each item once it is solved; None where its process died `TRIES` times.

    Each runs in one thread, since the workers fill the machine already. With one worker everything runs
    in this process. Closing the generator early ends the processes.
    """
    solve = partial(_in_one_thread, solve)
    if min(workers, len(items)) <= 1:
        yield from ((place, solve(item)) for place, item in enumerate(items))
        return
    from pebble import ProcessExpired, ProcessPool  # noqa: PLC0415 - slow to import

    pool = ProcessPool(
        max_workers=min(workers, len(items)),
        max_tasks=MOST_TASKS,
        context=get_context("spawn"),
        initializer=_end_with_parent,
    )
    try:
        with _interrupts_left_to_this_process():
            waiting: dict[Future[Any], tuple[int, int]] = {
                pool.schedule(solve, args=[item]): (place, 1) for place, item in enumerate(items)
            }
        while waiting:
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                place, tries = waiting.pop(future)
                try:
                    yield place, future.result()
                except ProcessExpired:
                    if tries == TRIES:
                        yield place, None
                    else:
                        again = pool.schedule(solve, args=[items[place]])
                        waiting[again] = place, tries + 1
    finally:
        pool.stop()
        pool.join()


@contextmanager
def _interrupts_left_to_this_process() -> Iterator[None]:
    """Block Ctrl-C in threads started in this context, and so in the processes that these start.

    A terminal sends it to all of them, but only this process should respond.
    """
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    # The tracker unblocks the signal in the thread that starts it, so it is started beforehand.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_with_parent() -> None:
    """End this worker as soon as its parent process is gone, for instance killed."""
    parent = parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _on_cluster(
    solve: Callable[[Case], Outcome], cases: Sequence[Case], address: str
) -> Generator[tuple[int, Outcome | None]]:
    try:
        from distributed import Client, KilledWorker, as_completed  # noqa: PLC0415 - an extra
    except ImportError:
        msg = "--cluster needs dask.distributed: pip install 'stillroot[cluster]'"
        raise EnvironmentProblem(msg) from None
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        msg = (
            f"--cluster {address}: no dask scheduler answers there ({type(error).__name__}); give an "
            "address such as tcp://127.0.0.1:8786"
        )
        raise EnvironmentProblem(msg) from None
    with client:
        there = set(client.run(program).values())
        if there != {program()}:
            found = ", ".join(sorted(map(str, there))) or "nothing"
            msg = (
                f"--cluster {address}: its workers run {found}, not {program()} as here; start workers "
                "that have this version installed"
            )
            raise EnvironmentProblem(msg)
        futures = client.map(partial(_in_one_thread, solve), cases, pure=False, retries=0)
        place_of = {future.key: place for place, future in enumerate(futures)}
        for future in as_completed(futures, loop=client.loop):
            try:
                yield place_of[future.key], future.result()
            except KilledWorker:
                yield place_of[future.key], None


@cache
def _chain() -> tuple[Chain, threading.Lock]:
    """Return the chain of this process, all that a worker keeps from case to case.

    The lock lets one thread at a time use them; workers of a cluster may have several.
    """
    return for_any_moduli(), threading.Lock()


def _solve(case: Case, *, with_error: bool, until_um: float | None = None) -> Outcome:
    """Solve a case, in a worker or in this process."""
    chain, lock = _chain()
    with lock:
        if until_um is not None:
            return grown(chain, case, until_um)
        return solved(chain, case, with_error=with_error)


def _in_one_thread(solve: Callable[[Item], Result], item: Item) -> Result:
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - beside its only use

    with threadpool_limits(1):
        return solve(item)

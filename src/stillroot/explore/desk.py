"""Who solves what next: at most one first and one refined answer at a time, for all tabs together.

A tab has one question at a time: a newer one drops the older, wherever that is. Questions of different
tabs wait for each other in the order in which they came. What is dropped is broken off within a moment;
a bench that does not let go is replaced. Reports are made one at a time, beside the answers, and one
more may wait. Nothing about a case is kept here.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import sys
from contextlib import contextmanager, suppress
from ctypes import c_longlong
from dataclasses import dataclass
from time import perf_counter
from typing import TYPE_CHECKING, Any, TypeVar

from stillroot.errors import StillrootError
from stillroot.explore.workshop import CONTINUES, DROP_SIGNAL, Job, Reply, run_bench

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Coroutine, Iterator
    from multiprocessing.connection import Connection
    from multiprocessing.context import BaseContext
    from multiprocessing.process import BaseProcess

    from stillroot.inputs.case import Case

T = TypeVar("T")

GRACE_S = 1.0
"""How long a bench may take to let go of a job before it is replaced."""
MOST_TABS = 12
"""Questions that may be open at a time: more tabs than a class has are told to wait."""
MOST_REPORTS = 2
"""Reports that may be asked for at a time: one is made, one waits."""
DIED = (
    "the process that solves ended without an answer; the next change starts another. If it goes on, "
    "the case may take more memory than there is"
)


class SolveFailed(StillrootError):  # noqa: N818 - says what happened
    """A solve has no answer; the text says why."""


class TooManyTabs(StillrootError):  # noqa: N818 - says what happened
    """More tabs ask than are served."""


@dataclass(frozen=True, kw_only=True)
class _Running:
    process: BaseProcess
    pipe: Connection

    def reply(self) -> Reply | None:
        """Wait for the reply to a job, one for each; None where the process ends without it."""
        try:
            reply: Reply = self.pipe.recv()
        except (EOFError, OSError):
            return None
        return reply


class BenchHandle:
    """One bench as the server sees it: it does one job at a time, in the order in which they came.

    Its process starts with the first job, and anew when dead; it `stays` for the next job or ends.
    """

    def __init__(self, name: str, context: BaseContext, *, stays: bool = True) -> None:
        self.name = name
        self._context = context
        self._stays = stays
        self._dropped = context.RawValue(c_longlong, 0)
        self._number = 0
        self._running: _Running | None = None
        self._turn = asyncio.Lock()

    @property
    def process_id(self) -> int | None:
        """The process, None where none runs."""
        return None if self._running is None else self._running.process.pid

    @property
    def busy(self) -> bool:
        """Whether a job is being done."""
        return self._turn.locked()

    async def ask(self, kind: str, case: Case, *more: object) -> Any:
        """Return what a bench makes of a job; cancelled, the job is dropped before this returns.

        Raises
        ------
        SolveFailed
            There is no answer; the text is the one message for the user.
        """
        async with self._turn:
            if self._running is not None and not self._running.process.is_alive():
                self.stop()  # it died idle: nobody need be told
            if self._running is None and kind in CONTINUES:
                raise SolveFailed(DIED)
            self._number += 1
            job = Job(number=self._number, kind=kind, case=case, more=more)
            try:
                reply = await self._reply_to(job, self._running or self.start())
            finally:
                if not self._stays:
                    self.stop()
        if reply is None:
            raise SolveFailed(DIED)
        if reply.message:
            raise SolveFailed(reply.message)
        return reply.value

    def start(self) -> _Running:
        """Start the process."""
        ours, theirs = self._context.Pipe()
        process = self._context.Process(  # type: ignore[attr-defined]
            target=run_bench, args=(theirs, self._dropped), name=f"stillroot {self.name}", daemon=True
        )
        process.start()
        theirs.close()
        self._running = _Running(process=process, pipe=ours)
        return self._running

    def stop(self) -> None:
        """End the process, whatever it is doing. The pipe closes when nobody reads it any more."""
        running, self._running = self._running, None
        if running is not None:
            running.process.kill()
            running.process.join(GRACE_S)

    async def _reply_to(self, job: Job, running: _Running) -> Reply | None:
        with suppress(OSError):  # the process has just died: then no reply comes either
            running.pipe.send(job)
        reading = asyncio.ensure_future(asyncio.to_thread(running.reply))
        try:
            reply = await asyncio.shield(reading)
        except asyncio.CancelledError:
            await self._drop(job, running, reading)
            raise
        if reply is None:
            self.stop()
        return reply

    async def _drop(self, job: Job, running: _Running, reading: asyncio.Future[Reply | None]) -> None:
        """Make the bench let go of a job, or replace it."""
        self._dropped.value = job.number
        if DROP_SIGNAL is not None and running.process.pid is not None:
            with suppress(ProcessLookupError):
                os.kill(running.process.pid, DROP_SIGNAL)
        try:
            reply = await asyncio.wait_for(reading, GRACE_S)
        except (TimeoutError, asyncio.CancelledError):
            reply = None
        if reply is None:
            self.stop()


class Questions:
    """The open questions of one kind, one of each tab: a newer one drops the older."""

    def __init__(self, most: int, wait: str) -> None:
        self.open: dict[str, asyncio.Task[Any]] = {}
        self._most, self._wait = most, wait

    @contextmanager
    def asked(self, tab: str, answer: Callable[[], Coroutine[Any, Any, T]]) -> Iterator[asyncio.Task[T]]:
        """Work on the answer to a tab's question, until the block ends.

        Raises
        ------
        TooManyTabs
            Too many are open; the text says what to wait for.
        """
        older = self.open.pop(tab, None)
        if older is not None:
            older.cancel()
        elif len(self.open) >= self._most:
            raise TooManyTabs(self._wait)
        task = self.open[tab] = asyncio.create_task(answer())
        try:
            yield task
        finally:
            if not task.cancelling():  # a second time would break off how a bench lets go of its job
                task.cancel()
            if self.open.get(tab) is task:
                del self.open[tab]

    def drop(self) -> None:
        """Drop all."""
        for task in self.open.values():
            task.cancel()


class Desk:
    """The benches, and whose turn it is."""

    def __init__(self) -> None:
        context = _context()
        self.first = BenchHandle("first", context)
        self.fine = BenchHandle("fine", context)
        self.coarser = BenchHandle("coarser", context)
        # A report is asked for seldom, and its memory is better free.
        self.reporting = BenchHandle("report", context, stays=False)
        self.benches = self.first, self.fine, self.coarser, self.reporting
        self.questions = Questions(
            MOST_TABS,
            f"{MOST_TABS} pages are open already; close one of them, then change something here",
        )
        self.reports = Questions(
            MOST_REPORTS,
            "one report is being written and another waits; ask again when one of them is finished",
        )
        self._refining = asyncio.Lock()

    def start(self) -> None:
        """Start the processes of the answers, so that the first question finds them ready."""
        for bench in (self.first, self.fine, self.coarser):
            bench.start()

    def stop(self) -> None:
        """End all processes."""
        for bench in self.benches:
            bench.stop()

    def end(self) -> None:
        """Drop all questions and end all processes: each open answer then ends by itself, at once."""
        self.questions.drop()
        self.reports.drop()
        self.stop()  # a bench that is gone need not let go of its job

    async def answers(self, tab: str, case: Case, place: int) -> AsyncIterator[dict[str, Any]]:
        """Yield first answer, refined answer and six directions of a tab's case, or one message.

        Ends early where the same tab asks anew. `place` is the load that the first answer is for.

        Raises
        ------
        TooManyTabs
            Too many questions are open.
        """
        told: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        with self.questions.asked(tab, lambda: self._answer(case, place, told)) as task:
            task.add_done_callback(lambda _: told.put_nowait(None))
            while (message := await told.get()) is not None:
                yield message

    async def report(self, tab: str, case: Case) -> str:
        """Return the report of a case as a page; a newer one of the same tab drops the older.

        Raises
        ------
        SolveFailed
            There is no answer to report, or the report was dropped.
        TooManyTabs
            One is being made, and another waits already.
        """
        with self.reports.asked(tab, lambda: self.reporting.ask("report", case)) as task:
            await asyncio.wait({task})
            if task.cancelled():
                msg = "this report was cancelled: a newer one was requested, or the server was stopped"
                raise SolveFailed(msg)
            page: str = task.result()
            return page

    async def _answer(self, case: Case, place: int, told: asyncio.Queue[dict[str, Any] | None]) -> None:
        begun = perf_counter()

        def tell(message: dict[str, Any]) -> None:
            told.put_nowait({**message, "seconds": round(perf_counter() - begun, 3)})

        try:
            tell(await self.first.ask("first", case, place))
        except SolveFailed as error:
            tell({"kind": "no-first", "message": str(error)})
        async with self._refining:
            await self.refine(case, tell)

    async def refine(self, case: Case, tell: Callable[[dict[str, Any]], None]) -> None:
        """Tell the refined answer and the six directions of a case, or one message."""
        try:
            tell(await self._refined(case))
            tell(await self.fine.ask("directions", case))
        except SolveFailed as error:
            tell({"kind": "no-answer", "message": str(error)})

    async def _refined(self, case: Case) -> dict[str, Any]:
        """Return the refined answer: the case on its own mesh and on the coarser ones, side by side."""
        interference_um = case.interface.interference_um
        if case.interface.measured_torque_ncm is not None:  # the coarser seats wait for what it comes to
            interference_um = await self.fine.ask("interference", case)
        _, for_the_error = await _together(
            self.fine.ask("fine", case), self._for_the_error(case, interference_um)
        )
        told: dict[str, Any] = await self.fine.ask("join", case, *for_the_error)
        return told

    async def _for_the_error(self, case: Case, interference_um: float) -> tuple[Any, Any]:
        """Return what is found on each level of the error, and how far bone is strained."""
        coarse, strains = await self.coarser.ask("coarse", case, interference_um)
        others = await self.coarser.ask("others", case, interference_um)
        return {**coarse, **others}, strains


async def _together(*waited: Coroutine[Any, Any, Any]) -> list[Any]:
    """Return what several jobs come to; where one fails the others are dropped, and that is told."""
    try:
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(item) for item in waited]
    except ExceptionGroup as failed:
        raise failed.exceptions[0] from None
    return [task.result() for task in tasks]


def _context() -> BaseContext:
    """Return how processes start: from a server that has the solver loaded, or afresh."""
    if sys.platform == "win32":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["stillroot.explore.workshop"])
    return context

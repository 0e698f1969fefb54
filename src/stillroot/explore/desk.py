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
import threading
from contextlib import asynccontextmanager, suppress
from ctypes import c_longlong
from dataclasses import dataclass
from time import perf_counter
from typing import TYPE_CHECKING, Any

from stillroot.errors import CaseError, StillrootError
from stillroot.explore.workshop import CONTINUES, DROP_SIGNAL, Job, Reply, run_bench

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from multiprocessing.connection import Connection
    from multiprocessing.context import BaseContext
    from multiprocessing.process import BaseProcess

    from stillroot.inputs.case import Case

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
    replies: asyncio.Queue[Reply | None]
    listener: threading.Thread


class BenchHandle:
    """One bench as the server sees it; its process starts with the first job, and anew when dead."""

    def __init__(self, name: str, context: BaseContext) -> None:
        self.name = name
        self._context = context
        self._dropped = context.RawValue(c_longlong, 0)
        self._number = 0
        self._running: _Running | None = None

    @property
    def process_id(self) -> int | None:
        """The process, None where none runs."""
        return None if self._running is None else self._running.process.pid

    async def ask(self, kind: str, case: Case, more: object = None) -> Any:
        """Return what a bench makes of a job; cancelled, the job is dropped before this returns.

        Raises
        ------
        SolveFailed
            There is no answer; the text is the one message for the user.
        """
        if self._running is not None and not self._running.process.is_alive():
            self.stop()  # it died idle: nobody need be told
        if self._running is None and kind in CONTINUES:
            raise SolveFailed(DIED)
        running = self._running or self.start()
        self._number += 1
        job = Job(number=self._number, kind=kind, case=case.to_dict(), more=more)
        try:
            running.pipe.send(job)
            reply = await running.replies.get()
        except asyncio.CancelledError:
            await self._drop(running)
            raise
        except OSError:
            reply = None
        if reply is None:
            self.stop()
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
        replies: asyncio.Queue[Reply | None] = asyncio.Queue()
        loop = asyncio.get_running_loop()

        def listen() -> None:
            reply: Reply | None = None
            while True:
                try:
                    reply = ours.recv()
                except (EOFError, OSError):
                    reply = None
                with suppress(RuntimeError):  # the server has ended meanwhile
                    loop.call_soon_threadsafe(replies.put_nowait, reply)
                if reply is None:
                    return

        listener = threading.Thread(target=listen, name=f"listens to {self.name}", daemon=True)
        listener.start()
        self._running = _Running(process=process, pipe=ours, replies=replies, listener=listener)
        return self._running

    def stop(self) -> None:
        """End the process, whatever it is doing."""
        running, self._running = self._running, None
        if running is not None:
            running.process.kill()
            running.process.join(GRACE_S)
            running.listener.join(GRACE_S)  # a pipe is not to be closed while it is read
            running.pipe.close()

    async def _drop(self, running: _Running) -> None:
        """Make the bench let go of its job, or replace it."""
        self._dropped.value = self._number
        if DROP_SIGNAL is not None and running.process.pid is not None:
            with suppress(ProcessLookupError):
                os.kill(running.process.pid, DROP_SIGNAL)
        try:
            reply = await asyncio.wait_for(running.replies.get(), GRACE_S)
        except (TimeoutError, asyncio.CancelledError):
            reply = None
        if reply is None:
            self.stop()


class Desk:
    """The benches, and whose turn it is."""

    def __init__(self) -> None:
        context = _context()
        self.first = BenchHandle("first", context)
        self.fine = BenchHandle("fine", context)
        self.coarser = BenchHandle("coarser", context)
        self.reporting = BenchHandle("report", context)
        self._turns = {name: asyncio.Lock() for name in ("first", "refined", "report")}
        self._asking: dict[str, asyncio.Task[None]] = {}
        self._reporting: dict[str, asyncio.Task[str]] = {}
        self.refined_running = 0
        self.most_refined_running = 0

    @property
    def benches(self) -> tuple[BenchHandle, ...]:
        """All benches."""
        return self.first, self.fine, self.coarser, self.reporting

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
        for task in (*self._asking.values(), *self._reporting.values()):
            task.cancel()
        self.stop()  # a bench that is gone need not let go of its job

    async def answers(self, tab: str, case: Case, place: int) -> AsyncIterator[dict[str, Any]]:
        """Yield first answer, refined answer and six directions of a tab's case, or one message.

        Ends early where the same tab asks anew. `place` is the load that the first answer is for.

        Raises
        ------
        TooManyTabs
            Too many questions are open.
        """
        older = self._asking.pop(tab, None)
        if older is not None:
            older.cancel()
        elif len(self._asking) >= MOST_TABS:
            msg = f"{MOST_TABS} pages are open already; close one of them, then change something here"
            raise TooManyTabs(msg)
        told: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        task = asyncio.create_task(self._answer(case, place, told))
        self._asking[tab] = task
        task.add_done_callback(lambda _: told.put_nowait(None))
        try:
            while (message := await told.get()) is not None:
                yield message
        finally:
            if not task.cancelling():
                task.cancel()
            if self._asking.get(tab) is task:
                del self._asking[tab]

    async def report(self, tab: str, case: Case) -> str:
        """Return the report of a case as a page; a newer one of the same tab drops the older.

        Raises
        ------
        SolveFailed
            There is no answer to report, or the report was dropped.
        TooManyTabs
            One is being made, and another waits already.
        """
        older = self._reporting.pop(tab, None)
        if older is not None:
            older.cancel()
        elif len(self._reporting) >= MOST_REPORTS:
            msg = "one report is being written and another waits; ask again when one of them is finished"
            raise TooManyTabs(msg)
        task = self._reporting[tab] = asyncio.create_task(self._report(case))
        try:
            await asyncio.wait({task})
            if task.cancelled():
                msg = "this report was cancelled: a newer one was requested, or the server was stopped"
                raise SolveFailed(msg)
            return task.result()
        finally:
            task.cancel()
            if self._reporting.get(tab) is task:
                del self._reporting[tab]

    async def _report(self, case: Case) -> str:
        async with self._turns["report"]:
            try:
                page: str = await self.reporting.ask("report", case)
            finally:
                self.reporting.stop()  # it is asked for seldom, and its memory is better free
            return page

    async def _answer(self, case: Case, place: int, told: asyncio.Queue[dict[str, Any] | None]) -> None:
        begun = perf_counter()

        def tell(message: dict[str, Any]) -> None:
            told.put_nowait({**message, "seconds": round(perf_counter() - begun, 3)})

        async with self._turns["first"]:
            try:
                tell(await self.first.ask("first", case, place))
            except SolveFailed as error:
                tell({"kind": "no-first", "message": str(error)})
        async with self._refining():
            try:
                tell(await self._refined(case))
                tell(await self.fine.ask("directions", case))
            except SolveFailed as error:
                tell({"kind": "no-answer", "message": str(error)})

    async def _refined(self, case: Case) -> dict[str, Any]:
        """Return the refined answer: the case on its own mesh and on the coarser ones, side by side."""
        face = case.interface
        from_torque = face.measured_torque_ncm is not None  # the coarser seats wait for what it comes to
        interference_um = await self.fine.ask("seat", case) if from_torque else face.interference_um

        async def fine() -> None:
            if not from_torque:
                await self.fine.ask("seat", case)
            await self.fine.ask("loads", case)

        coarser, _ = await _together(self._coarser(case, interference_um), fine())
        told: dict[str, Any] = await self.fine.ask("join", case, coarser)
        return told

    async def _coarser(self, case: Case, interference_um: float) -> list[bytes]:
        """Return what is read off the coarser seats and how far bone is strained, both packed."""
        forces = await self.coarser.ask("coarser", case, interference_um)
        if self._turns["first"].locked():  # another tab waits for that bench
            return [
                await self.coarser.ask("readings", case),
                await self.coarser.ask("strains", case, forces),
            ]
        return await _together(self.coarser.ask("readings", case), self._strains(case, forces))

    async def _strains(self, case: Case, forces: bytes) -> bytes:
        async with self._turns["first"]:
            found: bytes = await self.first.ask("strains", case, forces)
            return found

    @asynccontextmanager
    async def _refining(self) -> AsyncIterator[None]:
        async with self._turns["refined"]:
            self.refined_running += 1
            self.most_refined_running = max(self.most_refined_running, self.refined_running)
            try:
                yield
            finally:
                self.refined_running -= 1


async def _together(*waited: Any) -> list[Any]:
    """Return what several jobs come to; where one fails the others are dropped, and that is told."""
    tasks = [asyncio.ensure_future(item) for item in waited]
    try:
        return list(await asyncio.gather(*tasks))
    finally:
        for task in tasks:
            if not task.cancelling():  # a second time would break off how a bench lets go of its job
                task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def case_of(data: object) -> Case:
    """Return the case that a page sent.

    Raises
    ------
    CaseError
        It is none; the text is the one message for the user.
    """
    from stillroot.inputs.case import Case  # noqa: PLC0415 - slow to import

    if not isinstance(data, dict):
        msg = "a state must contain a case: an object with implant, bone and loads"
        raise CaseError(msg)
    return Case.from_dict(data)


def _context() -> BaseContext:
    """Return how processes start: from a server that has the solver loaded, or afresh."""
    if sys.platform == "win32":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["stillroot.explore.ready"])
    return context

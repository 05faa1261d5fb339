"""A few processes for costly requests: a short queue before them, members ahead of visitors.

The server itself only waits, so its event loop stays free whatever is computed. Processes are
spawned, never forked: no connection or lock is carried over. One that outlasts its time, or
whose asker has left, is ended and replaced.
"""

import asyncio
import contextlib
import multiprocessing
import os
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

LONGEST_S = {True: 20.0, False: 10.0}
"""Processor time for one answer, by whether a member asks."""
PATIENCE = 4.0
"""So many times as long may it take by the clock: a busy machine is not the asker's fault."""

MOST_WAITING = {True: 24, False: 6}
MOST_WAITING_S = {True: 60.0, False: 15.0}
"""Estimated seconds of work that may stand in the queue before a request is turned away."""

LONGEST_WAIT_S = 15.0
GRACE_S = 2.0  # about what starting a new process takes: ending one earlier would save nothing
TOO_BIG_KIB = 350 * 1024

_spawn = multiprocessing.get_context("spawn")


class Full(Exception):
    """No room in the queue, or too long in it."""


class TooLong(Exception):
    """The answer was not there in its time."""


class Gone(Exception):
    """The asker left."""


@dataclass(frozen=True)
class Answer:
    """What came back, and how large the process is."""

    value: Any
    kib: int


class Worker:
    """One process, started when it is first needed. Blocking; the pool calls it from threads."""

    def __init__(self, target: Callable[..., None], arguments: tuple[Any, ...]) -> None:
        self._target, self._arguments = target, arguments
        self._process: Any = None
        self._line: Connection[Any, Any] | None = None
        self._starting = threading.Lock()
        self.ready = False

    def start(self) -> None:
        """Comes back when the process can answer."""
        with self._starting:
            if self.ready:
                return
            self._line, far_end = _spawn.Pipe()
            self._process = _spawn.Process(
                target=self._target, args=(far_end, *self._arguments), daemon=True
            )
            self._process.start()
            far_end.close()
            with contextlib.suppress(EOFError, OSError):  # it died; the next call finds out
                self.ready = bool(self._line.recv())

    def call(self, asked: Any) -> Answer:
        """Raises TooLong when the process ended meanwhile, by itself or by the pool."""
        self.start()
        line = self._line
        if line is None:
            raise TooLong
        try:
            line.send(asked)
            value, kib = line.recv()
        except (EOFError, OSError) as ended:
            self.end()
            raise TooLong from ended
        return Answer(value, kib)

    def worked_s(self) -> float:
        """Processor time it has had since its start [s]; the clock where that cannot be told."""
        try:
            told = Path(f"/proc/{self._process.pid}/stat").read_text()
            ticks = told.rpartition(")")[2].split()[11:13]  # proc(5): utime and stime
            return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")
        except (OSError, AttributeError, ValueError, IndexError):
            return time.monotonic()

    def end(self) -> None:
        process, line, self._process, self._line = self._process, self._line, None, None
        self.ready = False
        if process is not None:
            process.kill()
            process.join(timeout=5)
        if line is not None:
            line.close()


@dataclass(eq=False)
class _Place:
    """A place in the queue."""

    turn: "asyncio.Future[Worker]"
    member: bool
    cost_s: float


class Pool:
    """`processes` workers; with two or more, visitors never have the last one."""

    def __init__(self, target: Callable[..., None], *arguments: Any, processes: int) -> None:
        self._idle = [Worker(target, arguments) for _ in range(processes)]
        self._workers = tuple(self._idle)
        self._queue: deque[_Place] = deque()
        self._visitors = 0
        self._visitors_at_most = max(1, processes - 1)
        self._threads = ThreadPoolExecutor(processes + 1, thread_name_prefix="costly")

    def warm(self) -> None:
        """Starts the first process in the background, so that the first asker need not wait."""
        self._begin_again(self._workers[-1])

    def _begin_again(self, worker: Worker) -> None:
        with contextlib.suppress(RuntimeError):  # closed meanwhile
            self._threads.submit(worker.start)

    @property
    def ready(self) -> bool:
        """Whether some process has started already."""
        return any(worker.ready for worker in self._workers)

    def close(self) -> None:
        self._threads.shutdown(wait=False, cancel_futures=True)
        for worker in self._workers:
            worker.end()

    async def run(
        self, asked: Any, *, member: bool, cost_s: float, gone: "asyncio.Task[None]"
    ) -> Any:
        """The worker's answer. Raises Full, TooLong or Gone."""
        worker = await self._turn(member, cost_s, gone)
        try:
            return await self._answered(worker, asked, LONGEST_S[member], gone)
        finally:
            self._visitors -= not member
            self._idle.append(worker)
            self._hand_out()

    async def _turn(self, member: bool, cost_s: float, gone: "asyncio.Task[None]") -> Worker:
        before = [place for place in self._queue if place.member >= member]
        waiting_s = sum(place.cost_s for place in before)
        if before and (
            len(before) >= MOST_WAITING[member] or waiting_s + cost_s > MOST_WAITING_S[member]
        ):
            raise Full
        place = _Place(asyncio.get_running_loop().create_future(), member, cost_s)
        self._queue.append(place)
        self._hand_out()
        both: set[asyncio.Future[Any]] = {place.turn, gone}
        await asyncio.wait(both, timeout=LONGEST_WAIT_S, return_when=asyncio.FIRST_COMPLETED)
        if place.turn.done():
            return place.turn.result()
        self._queue.remove(place)
        raise Gone if gone.done() else Full

    def _hand_out(self) -> None:
        """Gives idle workers to those who wait: members first, each in the order of coming."""
        while self._idle and (place := self._next()) is not None:
            self._queue.remove(place)
            self._visitors += not place.member
            place.turn.set_result(self._idle.pop())

    def _next(self) -> _Place | None:
        members = (place for place in self._queue if place.member)
        visitors = (place for place in self._queue if not place.member)
        room = self._visitors < self._visitors_at_most
        return next(members, next(visitors, None) if room else None)

    async def _answered(
        self, worker: Worker, asked: Any, longest_s: float, gone: "asyncio.Task[None]"
    ) -> Any:
        loop = asyncio.get_running_loop()
        await loop.run_in_executor(self._threads, worker.start)  # not on the asker's time
        work = loop.run_in_executor(self._threads, worker.call, asked)
        await _while_within(longest_s, worker, {work, gone})
        if not work.done() and gone.done():
            await asyncio.wait({work}, timeout=GRACE_S)
        if not work.done():
            await loop.run_in_executor(None, worker.end)
            with contextlib.suppress(TooLong):
                await work
            self._begin_again(worker)
            raise Gone if gone.done() else TooLong
        answer = work.result()
        if answer.kib > TOO_BIG_KIB:  # what it took is given back to the machine
            await loop.run_in_executor(None, worker.end)
        return answer.value


async def _while_within(
    longest_s: float, worker: Worker, either: "set[asyncio.Future[Any]]"
) -> None:
    """Until one of them is done or the worker has had its time."""
    loop = asyncio.get_running_loop()
    began_s, over = worker.worked_s(), loop.time() + PATIENCE * longest_s
    left_s = longest_s
    while left_s > 0 and loop.time() < over:
        wait_s = max(left_s, longest_s / 20)
        if (await asyncio.wait(either, timeout=wait_s, return_when=asyncio.FIRST_COMPLETED))[0]:
            return
        left_s = longest_s - (worker.worked_s() - began_s)

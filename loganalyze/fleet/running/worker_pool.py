"""Worker processes for a fleet, by the executor interface: local, or of a Dask scheduler.

To judge elsewhere, give `run_fleet` an object with the attributes of `Workers`, whose `executor`
returns any `concurrent.futures.Executor`.
"""

from __future__ import annotations

import ctypes
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from importlib import import_module
from multiprocessing.connection import wait as wait_for
from typing import Any, ParamSpec, Protocol, TypeVar

import pyarrow as pa

from loganalyze.problems import Problem

T = TypeVar("T")
R = TypeVar("R")
S = TypeVar("S")
P = ParamSpec("P")
MOST_STARTS = 2
"""Times that workers are started before a run ends because they can't be."""
MOST_DEATHS = 2
"""Workers that a log may end, alone in them, before it is left out."""
KEPT_BYTES = 32 << 20
"""Memory that a worker keeps when it is freed, and below which blocks are taken from it."""
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # as in malloc.h
WATCH_S = 5.0
"""Time [s] without a result after which it is looked whether a worker was lost unnoticed."""


class Workers(Protocol):
    """Where tasks are run: `count` workers; `lost` are the errors that tell of a dead one."""

    count: int
    lost: tuple[type[BaseException], ...]

    def executor(self, count: int) -> Executor:
        """Return a new executor of so many workers."""
        ...

    def close(self, executor: Executor) -> None:
        """End an executor without waiting for what runs in it."""
        ...

    def watch(self, executor: Executor) -> None:
        """Make an executor tell of a lost worker that it hasn't noticed; called now and then."""
        ...


class WatchedPool(ProcessPoolExecutor):
    """A pool of processes that ends when one of them is lost, whatever that one was doing."""

    def end(self) -> None:
        """Shut down without waiting; idle processes are killed."""
        idle = [] if self._pending_work_items else list((self._processes or {}).values())
        self.shutdown(wait=False, cancel_futures=True)
        for process in idle:
            process.kill()

    def end_if_broken(self) -> None:
        """Kill all processes if one is dead, so that what waits for their results fails."""
        processes = list((self._processes or {}).values())
        if any(process.exitcode is not None for process in processes):
            for process in processes:
                process.kill()
            # With the last writer closed, waiting for the rest of a result ends.
            results: Any = self._result_queue
            results._writer.close()


class LocalWorkers:
    """Processes of this machine; they end with the process that started them."""

    lost: tuple[type[BaseException], ...] = (BrokenProcessPool,)

    def __init__(self, count: int) -> None:
        self.count = count

    def executor(self, count: int) -> Executor:
        """Return a new pool of so many processes."""
        return WatchedPool(count, multiprocessing.get_context("spawn"), _begin)

    def close(self, executor: Executor) -> None:
        """End a pool; its processes end at once, or after the batch that they are at.

        Idle ones are killed: one that was killed from outside while it waited for work would leave
        the others waiting for its lock, and the pool for them.
        """
        assert isinstance(executor, WatchedPool)
        executor.end()

    def watch(self, executor: Executor) -> None:
        """End a pool with a dead process, so that its tasks end with an error.

        A pool doesn't notice a process that is killed while it sends a result, of which the rest is
        awaited for ever, nor one that is killed before the pool has begun to watch it.
        """
        assert isinstance(executor, WatchedPool)
        executor.end_if_broken()


class NoWorkers:
    """This process itself: what ends it ends the run."""

    count = 1
    lost: tuple[type[BaseException], ...] = ()

    def executor(self, count: int) -> Executor:
        """Return an executor that runs each task as it is submitted."""
        return _Here()

    def close(self, executor: Executor) -> None:
        """Do nothing: nothing runs."""

    def watch(self, executor: Executor) -> None:
        """Do nothing: nothing is lost unnoticed."""


class _Here(Executor):
    def submit(self, fn: Callable[P, S], /, *args: P.args, **kwargs: P.kwargs) -> Future[S]:
        done: Future[S] = Future()
        try:
            done.set_result(fn(*args, **kwargs))
        except Exception as error:
            done.set_exception(error)
        return done


class DaskWorkers:
    """The workers of a Dask scheduler at an address; needs the extra `cluster`.

    Raises
    ------
    Problem
        Where Dask isn't installed, or nothing answers at the address.
    """

    def __init__(self, address: str) -> None:
        try:
            dask: Any = import_module("distributed")
        except ImportError:
            raise Problem("a scheduler needs Dask, which isn't installed", "--scheduler",
                          "install loganalyze[cluster]") from None
        try:
            self._client: Any = dask.Client(address, timeout="10s")
        except (OSError, ValueError) as error:
            raise Problem(f"no scheduler answers at {address} ({error})", "--scheduler",
                          "check the address") from None
        self.lost: tuple[type[BaseException], ...] = (dask.KilledWorker,)
        self.count = max(1, len(self._client.scheduler_info()["workers"]))

    def executor(self, count: int) -> Executor:
        """Return an executor of the scheduler; how many workers it has is its own affair."""
        made: Executor = self._client.get_executor(retries=0, pure=False)
        return made

    def close(self, executor: Executor) -> None:
        """End an executor; the scheduler and its workers go on."""
        executor.shutdown(wait=False)

    def watch(self, executor: Executor) -> None:
        """Do nothing: the scheduler watches its workers."""


def run(workers: Workers, task: Callable[[Sequence[T]], list[R]], batches: Iterable[Sequence[T]],
        given_up: Callable[[T], R]) -> Iterator[R]:
    """Run a task on batches in worker processes; yield the results as they come.

    Parameters
    ----------
    workers : Workers
        Where to run them.
    task : callable
        What a worker does with a batch; it returns a result for each of its items.
    batches : iterable of sequence
        The items. Only as many batches as the workers need are taken from it in advance.
    given_up : callable
        The result of an item that ended its worker twice, alone in it.

    Yields
    ------
    object
        The results, in any order. Of batches whose worker was lost each item is run again alone.

    Raises
    ------
    Problem
        Where a worker is lost before it was given anything.
    """
    waiting = iter(batches)
    left = True
    while left:
        left = False
        suspects: list[T] = []
        running: dict[Future[list[R]], Sequence[T]] = {}
        executor = _started(workers, workers.count, task)
        try:
            for batch in waiting:
                try:
                    running[executor.submit(task, batch)] = batch
                except workers.lost:
                    suspects.extend(batch)
                if len(running) >= 2 * workers.count:
                    yield from _finished(running, workers, executor, suspects)
                if suspects:
                    left = True
                    break
            while running:
                yield from _finished(running, workers, executor, suspects)
        finally:
            workers.close(executor)
        yield from _one_by_one(workers, task, suspects, given_up)


def _started(workers: Workers, count: int, task: Callable[[Sequence[T]], list[R]]) -> Executor:
    """Return an executor whose workers can work: one has run the task on nothing.

    A worker that is lost before it has begun is replaced, but not for ever.
    """
    for _ in range(MOST_STARTS):
        executor = workers.executor(count)
        try:
            _result(workers, executor, executor.submit(task, []))
        except workers.lost:
            workers.close(executor)
        else:
            return executor
    raise Problem("worker processes can't be started", "loganalyze",
                  'in a script call it below `if __name__ == "__main__":`, or give workers=0')


def _finished(running: dict[Future[list[R]], Sequence[T]], workers: Workers, executor: Executor,
              suspects: list[T]) -> Iterator[R]:
    """Yield the results of what ended; note the items of batches whose worker was lost."""
    while not (ended := wait(running, WATCH_S, FIRST_COMPLETED).done):
        workers.watch(executor)
    for future in ended:
        batch = running.pop(future)
        try:
            found = future.result()
        except workers.lost:
            suspects.extend(batch)
            continue
        yield from found


def _result(workers: Workers, executor: Executor, future: Future[list[R]]) -> list[R]:
    """Return the result of a task, while the workers are watched."""
    while not wait([future], WATCH_S).done:
        workers.watch(executor)
    return future.result()


def _one_by_one(workers: Workers, task: Callable[[Sequence[T]], list[R]], items: Iterable[T],
                given_up: Callable[[T], R]) -> Iterator[R]:
    """Yield the result of each item, run alone; a worker that is lost is replaced."""
    executor: Executor | None = None
    try:
        for item in items:
            deaths, results = 0, [given_up(item)]
            while deaths < MOST_DEATHS:
                executor = executor or _started(workers, 1, task)
                try:
                    results = _result(workers, executor, executor.submit(task, [item]))
                    break
                except workers.lost:
                    deaths += 1
                    workers.close(executor)
                    executor = None
            yield from results
    finally:
        if executor is not None:
            workers.close(executor)


def _begin() -> None:
    """Begin a local worker: it ends when its parent does, and leaves interrupts to it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    pa.set_cpu_count(1)
    _keep_freed_memory()
    parent = multiprocessing.parent_process()
    assert parent is not None
    threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _keep_freed_memory() -> None:
    """Let a worker reuse what it has freed, where the C library is GNU's; else do nothing.

    Each flight needs the same few megabytes again. By default they go back to the system, or not,
    depending on what was freed before, and taking them anew can cost a tenth of a flight's time.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None) if os.name == "posix" else None
    if mallopt is not None:
        mallopt(_TRIM_THRESHOLD, KEPT_BYTES)
        mallopt(_MMAP_THRESHOLD, KEPT_BYTES)


def _end_with(sentinel: int) -> None:
    wait_for([sentinel])
    os.kill(os.getpid(), signal.SIGKILL)

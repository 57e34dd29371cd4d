"""How many threads may share the work on one flight.

Two, where the machine has them. A worker that is one of several, each with flights of its own,
takes one: threads then only contend, and starting them costs more than a short flight takes.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from threading import local
from typing import TypeVar

T = TypeVar("T")

MOST = 2


class _Allowed(local):
    most = MOST


_ALLOWED = _Allowed()


@contextmanager
def one_thread() -> Iterator[None]:
    """Let what is called from here, on this thread, start no others."""
    before, _ALLOWED.most = _ALLOWED.most, 1
    try:
        yield
    finally:
        _ALLOWED.most = before


def threads(tasks: int = MOST) -> int:
    """Return the number of threads for so many tasks, at least 1."""
    most = min(_ALLOWED.most, tasks)
    return max(1, most if most < 2 else min(most, os.cpu_count() or 1))


def side_by_side(tasks: Sequence[Callable[[], T]]) -> list[T]:
    """Run each task on a thread of its own, or all here where there is one; return the results."""
    if threads(len(tasks)) < 2:
        return [task() for task in tasks]
    with ThreadPoolExecutor(len(tasks)) as pool:
        return [future.result() for future in [pool.submit(task) for task in tasks]]


def in_order(tasks: Iterable[Callable[[], T]], ahead: int = MOST) -> Iterator[T]:
    """Run tasks on the threads and yield their results in order, at most so many ahead.

    More of them keep all threads at work behind one long task, and hold more results. On one
    thread each task runs when its result is asked for.
    """
    if _ALLOWED.most < MOST:
        for task in tasks:
            yield task()
        return
    waiting: deque[Future[T]] = deque()
    with ThreadPoolExecutor(MOST) as pool:
        try:
            for task in tasks:
                waiting.append(pool.submit(task))
                if len(waiting) > ahead:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


def one_ahead(items: Iterator[T]) -> Iterator[T]:
    """Yield the items; another thread, where there is one, makes the next one meanwhile."""
    if _ALLOWED.most < MOST:
        yield from items
        return
    with ThreadPoolExecutor(1) as pool:
        coming = pool.submit(next, items, None)
        while (item := coming.result()) is not None:
            coming = pool.submit(next, items, None)
            yield item

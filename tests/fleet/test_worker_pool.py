"""Workers that die: what they were given is judged all the same, and a killer is left out."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import struct
import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import Executor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import Connection

import numpy as np
import pytest

from loganalyze.fleet.running import worker_pool
from tests.fleet.conftest import ROOT, rows, write_log, write_sheet


def squared(items: Sequence[int]) -> list[str]:
    """A task that a negative number kills."""
    for item in items:
        if item < 0:
            os.kill(os.getpid(), signal.SIGKILL)
    return [str(item * item) for item in items]


def given_up(item: int) -> str:
    return f"left out {item}"


def test_every_item_gives_its_result():
    found = worker_pool.run(worker_pool.LocalWorkers(2), squared, [[1, 2], [3], [], [4]], given_up)
    assert sorted(found) == ["1", "16", "4", "9"]


def test_an_item_that_ends_its_worker_twice_is_left_out_and_no_other_is_lost():
    batches = [[k, k + 1] for k in range(0, 12, 2)]
    batches[2] = [4, -5]
    found = list(worker_pool.run(worker_pool.LocalWorkers(2), squared, batches, given_up))
    assert sorted(found) == sorted(
        ["left out -5", *(str(k * k) for k in range(12) if k != 5)])


class Halved:
    """A result of which a worker sends the first half, and is killed."""

    def __reduce__(self):
        def half(connection, data):
            os.write(connection.fileno(), struct.pack("!i", len(data)) + bytes(data)[:10])
            os.kill(os.getpid(), signal.SIGKILL)

        Connection._send_bytes = half
        return str, ()


def halved(items: Sequence[int]) -> list[object]:
    """A task of which 3 is sent by halves only."""
    return [Halved() if item == 3 else str(item) for item in items]


def test_a_worker_that_is_killed_while_it_sends_a_result_does_not_stop_the_run(monkeypatch):
    """Half of a result lies in the pipe, and the lock of those who write to it is held."""
    monkeypatch.setattr(worker_pool, "WATCH_S", 0.5)
    found = worker_pool.run(worker_pool.LocalWorkers(2), halved, [[1], [2, 3], [4]], given_up)
    assert sorted(found) == ["1", "2", "4", "left out 3"]


def test_an_idle_worker_that_is_killed_does_not_keep_the_pool_from_ending():
    """It holds the lock of those who wait for work."""
    workers = worker_pool.LocalWorkers(2)
    pool = workers.executor(2)
    assert [one.result() for one in [pool.submit(squared, [k]) for k in (1, 2)]] == [["1"], ["4"]]
    processes, manager = list(pool._processes.values()), pool._executor_manager_thread
    # Whichever waits holds the lock: one of two does.
    os.kill(processes[0].pid, signal.SIGKILL)
    workers.close(pool)
    manager.join(20)
    assert not manager.is_alive()
    assert not any(process.is_alive() for process in processes)


class DyingAtFirst(worker_pool.NoWorkers):
    """Workers of which the first is lost before it has begun."""

    lost = (BrokenProcessPool,)

    def __init__(self) -> None:
        self.started = 0

    def executor(self, count: int) -> Executor:
        self.started += 1
        made = super().executor(count)
        if self.started == 1:
            made.submit = lambda *_: (_ for _ in ()).throw(BrokenProcessPool("killed"))
        return made


def test_a_worker_that_is_lost_before_it_begins_is_replaced():
    workers = DyingAtFirst()
    assert [*worker_pool.run(workers, squared, [[2, 3]], given_up)] == ["4", "9"]
    assert workers.started == 2


def test_workers_that_cant_start_end_the_run_instead_of_leaving_out_every_log(tmp_path):
    """A script that isn't guarded is run again by each worker, which ends at once."""
    (tmp_path / "script.py").write_text(
        "import loganalyze\nfrom pathlib import Path\n"
        "here = Path(__file__).parent\n"
        "loganalyze.run_fleet([str(here / 'logs')], here / 'store', limits=here / 'twin.toml', "
        "workers=1)\n")
    write_log(tmp_path / "logs" / "a.csv", 230)
    write_sheet(tmp_path / "twin.toml")
    ran = subprocess.run([sys.executable, str(tmp_path / "script.py")], cwd=ROOT, timeout=120,
                         capture_output=True, text=True, check=False,
                         env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert ran.returncode == 1
    assert "worker processes can't be started" in ran.stderr
    assert rows(tmp_path / "store", "problems", "source") == []


def pages_taken(sizes: Sequence[int]) -> list[int]:
    """A task that takes six blocks of memory at a time, and counts the pages the system gave."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for size in sizes:
        list(map(np.ones, [size] * 6))
    return [resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before]


@pytest.mark.skipif(not hasattr(ctypes.CDLL(None), "mallopt"), reason="not GNU's C library")
def test_a_worker_uses_memory_again_that_it_has_freed():
    sizes = [1 << 17] * 50
    (taken,) = worker_pool.run(worker_pool.LocalWorkers(1), pages_taken, [sizes], given_up)
    assert taken < 3 * 6 * 8 * sizes[0] / resource.getpagesize()

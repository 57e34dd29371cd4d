"""A fleet judged by the workers of a real Dask scheduler: the same rows as by this process."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest

import loganalyze
from loganalyze.problems import Problem
from tests.fleet.conftest import ROOT, agree, contents, run


@contextmanager
def scheduler(folder):
    """A scheduler and a worker in processes of their own; gives the scheduler's address."""
    log = (folder / "scheduler.txt").open("w+")
    processes = [subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard",
         "--host", "127.0.0.1"], stdout=log, stderr=log, cwd=ROOT)]
    try:
        address = ""
        deadline = time.monotonic() + 60
        while not address and time.monotonic() < deadline:
            time.sleep(0.2)
            said = (folder / "scheduler.txt").read_text()
            found = re.search(r"Scheduler at:\s+(tcp://\S+)", said)
            address = found[1] if found else ""
        assert address, (folder / "scheduler.txt").read_text()
        processes.append(subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1",
             "--no-dashboard", "--local-directory", str(folder)], stdout=log, stderr=log, cwd=ROOT))
        yield address
    finally:
        for process in processes:
            process.kill()
            process.wait()
        log.close()


@pytest.mark.filterwarnings("default")
def test_a_scheduler_gives_the_same_rows(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "here", sheet)
    with scheduler(tmp_path) as address:
        report = loganalyze.run_fleet(
            [str(fleet)], tmp_path / "there", limits=sheet, scheduler=address)
    assert report.judged == 5
    agree(tmp_path / "there")
    assert contents(tmp_path / "there") == contents(tmp_path / "here")


@pytest.mark.filterwarnings("default")
def test_a_scheduler_that_doesnt_answer_is_named(fleet, sheet, tmp_path):
    with pytest.raises(Problem, match=r"no scheduler answers at tcp://127.0.0.1:1 "):
        loganalyze.run_fleet([str(fleet)], tmp_path / "store", limits=sheet,
                             scheduler="tcp://127.0.0.1:1")

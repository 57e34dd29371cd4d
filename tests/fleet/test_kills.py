"""A run that is killed, at every step of writing and at random: nothing lost, doubled or half."""

from __future__ import annotations

import fcntl
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.fleet.conftest import ROOT, agree, command, contents, run, write_log

KILLED_AT = """
import os, signal
count = 0
def counted(real):
    def call(*given, **named):
        global count
        count += 1
        if count == {step}:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*given, **named)
    return call
if __name__ == '__main__':
    os.fsync, os.replace = counted(os.fsync), counted(os.replace)
"""


@pytest.fixture
def undisturbed(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "whole", sheet)
    return contents(tmp_path / "whole")


def killed(fleet, sheet, store, step: int) -> int:
    """Run the command until it has synced and renamed `step` times; return its exit code."""
    return command("fleet", fleet, "--limits", sheet, "--store", store, "--workers", 0, "-q",
                   code=KILLED_AT.format(step=step)).returncode


def test_a_run_killed_at_any_step_of_writing_is_resumed_whole(fleet, sheet, tmp_path, undisturbed):
    """A sample of the steps; with LOGANALYZE_EVERY_STEP set, each of them."""
    every = bool(os.environ.get("LOGANALYZE_EVERY_STEP"))
    steps = range(1, 200) if every else (1, 4, 20, 27, 34, 41, 48, 55)
    ended = 0
    for step in steps:
        store = tmp_path / f"store{step}"
        code = killed(fleet, sheet, store, step)
        ended += code == -signal.SIGKILL
        if code != -signal.SIGKILL:
            assert code == 5
        run(fleet, store, sheet)
        agree(store)
        assert contents(store) == undisturbed
        if every and code != -signal.SIGKILL:
            break
    assert ended >= len(steps) - 1 if not every else ended > 40


@pytest.mark.parametrize("seed", range(2))
def test_a_run_killed_at_a_random_instant_leaves_no_worker_and_is_resumed(
        fleet, sheet, tmp_path, undisturbed, seed):
    store = tmp_path / "store"
    start = subprocess.Popen(
        [sys.executable, "-m", "loganalyze", "fleet", str(fleet), "--limits", str(sheet),
         "--store", str(store), "--workers", "2", "-q"], cwd=ROOT, start_new_session=True)
    time.sleep(random.Random(seed).uniform(1.0, 4.0))
    start.kill()
    start.wait()
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline and group_of(start.pid):
        time.sleep(0.1)
    assert group_of(start.pid) == []
    run(fleet, store, sheet)
    agree(store)
    assert contents(store) == undisturbed


def group_of(session: int) -> list[int]:
    """Processes of a session that still run."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            state = (process / "stat").read_text().rpartition(")")[2].split()[0]
            if os.getsid(int(process.name)) == session and state != "Z":
                found.append(int(process.name))
        except OSError:
            continue
    return found


def test_two_runs_at_once_exclude_each_other(fleet, sheet, tmp_path):
    (tmp_path / "store").mkdir()
    with (tmp_path / "store" / ".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        second = command("fleet", fleet, "--limits", sheet, "--store", tmp_path / "store")
    assert second.returncode == 2
    assert "another run writes to this store" in second.stderr
    assert "Traceback" not in second.stderr


def test_a_disk_that_is_full_ends_the_run_with_one_sentence(fleet, sheet, tmp_path, undisturbed):
    full = """
import os, errno
real, count = os.fsync, 0
def fsync(number):
    global count
    count += 1
    if count > 30:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "samples")
    return real(number)
if __name__ == '__main__':
    os.fsync = fsync
"""
    store = tmp_path / "store"
    ran = command("fleet", fleet, "--limits", sheet, "--store", store, "--workers", 1, code=full)
    assert ran.returncode == 2
    assert "No space left on device" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert ran.stderr.count("\n") == 1
    run(fleet, store, sheet)
    agree(store)
    assert contents(store) == undisturbed


def test_the_command_prints_its_report_and_the_cautions(fleet, sheet, tmp_path):
    arguments = ("fleet", fleet, "--limits", sheet, "--store", tmp_path / "store", "--workers", 1)
    first = command(*arguments)
    assert first.returncode == 5
    assert first.stdout.startswith("7 logs found: 5 judged now, 0 judged before, 1 with the bytes")
    assert "Not for punitive use." in first.stdout
    second = command(*arguments, "--json")
    assert json.loads(second.stdout)["known"] == 5


@pytest.mark.parametrize(("peak", "more", "code"), [
    (230, (), 0), (255, (), 0), (255, ("--fail-on-exceedance",), 1)])
def test_exit_codes(sheet, tmp_path, peak, more, code):
    log = write_log(tmp_path / "a.csv", peak)
    ran = command("fleet", log, "--limits", sheet, "--store", tmp_path / "store", "--workers", 1,
                  *more)
    assert ran.returncode == code


def test_a_log_without_airspeed_alone_is_wrong_input(sheet, tmp_path):
    (tmp_path / "a.csv").write_text("Time [s],Pressure Altitude [ft]\n0,1\n1,2\n")
    ran = command("fleet", tmp_path / "a.csv", "--limits", sheet, "--store", tmp_path / "store",
                  "--workers", 1)
    assert ran.returncode == 2

"""Runs over a fleet that are killed: nothing is lost, doubled or half-written.

    python -m tests.fleet.kill_study [INSTANTS] [SEED]

Judges a small fleet again and again, and disturbs the run:

- SIGKILL of the run at every step of writing: each sync, each renaming, each removal;
- the same of a deletion by age;
- SIGKILL at so many (200) random instants, of the run alone or of a worker alone; every tenth with
  workers that are started as the command starts them;
- every worker killed as soon as it is seen, for two seconds;
- a file system that is full, and then is given more space (a tmpfs; needs root, else skipped);
- two runs at once.

After each the same run is made once more, undisturbed. Threshold, set beforehand: every time the
store then equals that of an undisturbed run row for row, no flight is there twice, no row without
its flight, no hidden file, and no worker outlives its run by 20 s. Half of all are of a store with
pseudonyms. Exits with 1 where one fails. Runs are forked from a process that has loaded the
program and done nothing else.
"""

from __future__ import annotations

import errno
import multiprocessing
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

import loganalyze
from loganalyze.fleet.running import worker_pool
from loganalyze.problems import Problem
from tests.fleet.conftest import agree, contents, write_log, write_sheet

FORKED = multiprocessing.get_context("fork")
OUTLIVES_S = 20.0
HANGS_S = 120.0


class ForkedWorkers(worker_pool.LocalWorkers):
    """Workers that are forked from the run, which costs no loading."""

    def executor(self, count: int) -> Executor:
        return worker_pool.WatchedPool(count, multiprocessing.get_context("fork"),
                                       worker_pool._begin)


def write_logs(place: Path) -> None:
    """Write eight logs of a month and none, two of the same bytes, one that is none."""
    for number in range(8):
        write_log(place / f"logs/{number}.csv", 232 + 4 * number,
                  day=f"2031-01-{number + 1:02d}" if number % 4 else "")
    (place / "logs/copy.csv").write_bytes((place / "logs/3.csv").read_bytes())
    (place / "logs/letter.csv").write_text("dear,reader\nno,log\n")
    write_sheet(place / "twin.toml")


def run(place: Path, store: Path, protect: bool, workers: Any = 0) -> None:
    """Judge the fleet into a store, in this process."""
    loganalyze.run_fleet([str(place / "logs")], store, limits=place / "twin.toml",
                         workers=workers, protect=place / "secret.key" if protect else None)


def disturbed(place: Path, store: Path, protect: bool, kind: str, step: int) -> None:
    """Be a run that is disturbed from outside, or that ends itself at a step of writing."""
    os.setsid()
    killed_at(step)
    workers = {"here": 0, "forked": ForkedWorkers(2), "started": 2}[kind]
    try:
        run(place, store, protect, workers)
    except Problem as problem:
        sys.stderr.write(f"{problem.sentence}\n")
        os._exit(2)


def retained(store: Path, step: int) -> None:
    """Be a deletion of all that is older than a day, which may end itself at a step."""
    killed_at(step)
    loganalyze.retain(store, keep_flights=timedelta(days=1), today=date(2031, 1, 5))


def killed_at(step: int) -> None:
    """Let this process end itself when it has written so many times; never with 0."""
    done = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            nonlocal done
            done += 1
            if done == step:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*given, **named)
        return call

    if step:
        os.fsync, os.replace, os.unlink = map(counted, (os.fsync, os.replace, os.unlink))


def compared(store: Path, whole: Path) -> None:
    """Be a process that compares a store with an undisturbed one; its exit code tells."""
    try:
        agree(store)
        assert contents(store) == contents(whole)
    except AssertionError:
        os._exit(1)


def in_process(work: Callable[..., None], *given: Any) -> int:
    """Run a function in a process of its own; return its exit code."""
    process = FORKED.Process(target=work, args=given)
    process.start()
    return ended(process)


def started(place: Path, store: Path, protect: bool, kind: str, step: int = 0) -> Any:
    process = FORKED.Process(target=disturbed, args=(place, store, protect, kind, step))
    process.start()
    return process


def ended(process: Any) -> int:
    """Wait for a run; return its exit code. A run that hangs is an error."""
    process.join(HANGS_S)
    if process.is_alive():
        process.kill()
        raise AssertionError("the run hangs")
    return int(process.exitcode)


def of_session(session: int) -> list[int]:
    """Processes of a session that still run."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            state = (entry / "stat").read_text().rpartition(")")[2].split()[0]
            if os.getsid(int(entry.name)) == session and state != "Z":
                found.append(int(entry.name))
        except OSError:
            continue
    return found


def kill(number: int) -> None:
    try:
        os.kill(number, signal.SIGKILL)
    except OSError as error:
        if error.errno != errno.ESRCH:
            raise


def forget_left_out(store: Path) -> None:
    """Let logs that two workers died of be tried again, as a run of another version would."""
    for path in (store / "problems").rglob("*.parquet"):
        with pq.ParquetFile(path) as file:
            table = file.read()
        kinds = table["kind"].to_pylist()
        pq.write_table(table.take([place for place, kind in enumerate(kinds)
                                   if kind != "worker lost"]), path)


class Study:
    """The disturbances of one kind of store, and what failed."""

    def __init__(self, place: Path, protect: bool, seed: int) -> None:
        self.place, self.protect = place, protect
        self.random = random.Random(f"{seed} {protect}")
        self.count: Counter[str] = Counter()
        self.failed: list[str] = []
        self.stores = 0
        self.whole = place / f"whole{protect}"
        assert in_process(run, place, self.whole, protect) == 0
        began = time.monotonic()
        assert ended(started(place, place / f"timed{protect}", protect, "forked")) == 0
        self.takes_s = time.monotonic() - began

    @contextmanager
    def checked(self, what: str, store: Path | None = None) -> Iterator[Path]:
        """Give a new store; after the disturbance resume it, and compare it."""
        self.stores += 1
        store = store or self.place / f"{self.protect}{self.stores}"
        try:
            yield store
            assert ended(started(self.place, store, self.protect, "here")) == 0, "not resumed"
            assert in_process(compared, store, self.whole) == 0, "the store differs"
        except AssertionError as error:
            self.failed.append(f"{what} (pseudonyms {self.protect}): {error}")
        self.count[what] += 1

    def every_step(self, each: int = 1) -> None:
        """Kill a run at each step of writing, or at every so many."""
        step = 1
        while True:
            with self.checked("steps of writing") as store:
                code = ended(started(self.place, store, self.protect, "here", step))
                assert code in (0, -signal.SIGKILL), code
            if code == 0:
                return
            step += each

    def deletion(self) -> None:
        """Kill a deletion at each of its steps, and delete once more."""
        for path in self.whole.rglob("*.parquet"):
            os.utime(path, (2.2e9, 2.2e9))  # of 2039: ages count from the flights' own days
        expected = self.place / f"deleted{self.protect}"
        shutil.copytree(self.whole, expected)
        assert in_process(retained, expected, 0) == 0
        step, code = 1, -signal.SIGKILL
        while code:
            self.stores += 1
            store = self.place / f"{self.protect}{self.stores}"
            shutil.copytree(self.whole, store)
            code = in_process(retained, store, step)
            resumed = in_process(retained, store, 0) or in_process(compared, store, expected)
            if code not in (0, -signal.SIGKILL) or resumed:
                self.failed.append(f"deletion, step {step} (pseudonyms {self.protect}): {code}")
            self.count["steps of deleting"] += 1
            step += 1

    def instants(self, count: int) -> None:
        """Kill the run or one of its workers at random instants."""
        for number in range(count):
            alone = self.random.choice(("run", "worker"))
            with self.checked(f"instants, {alone} alone") as store:
                kind = "started" if number % 10 == 9 else "forked"
                process = started(self.place, store, self.protect, kind)
                longest = self.takes_s * (4 if kind == "started" else 1.1)
                time.sleep(self.random.uniform(0, longest))
                victims = [process.pid] if alone == "run" else [
                    one for one in of_session(process.pid) if one != process.pid]
                if victims:
                    kill(self.random.choice(victims))
                code = ended(process)
                assert code == 0 or (alone == "run" and code == -signal.SIGKILL), code
                deadline = time.monotonic() + OUTLIVES_S
                while (left := of_session(process.pid)) and time.monotonic() < deadline:
                    time.sleep(0.05)
                for one in left:
                    kill(one)
                assert not left, f"{len(left)} workers outlive the run"

    def lost_workers(self) -> None:
        """Kill every worker as soon as it is seen, for two seconds."""
        with self.checked("workers lost") as store:
            process = started(self.place, store, self.protect, "forked")
            until = time.monotonic() + 2.0
            while time.monotonic() < until and process.is_alive():
                for one in of_session(process.pid):
                    if one != process.pid:
                        kill(one)
                time.sleep(0.02)
            # No worker that can begin is an end with a sentence; a log may be left out, too.
            code = ended(process)
            assert code in (0, 2), code
            if code == 0:
                assert in_process(forget_left_out, store) == 0

    def full_disk(self) -> None:
        """Let the file system be full, at several sizes, and then give it space."""
        for size_k in (48, 120, 200):
            disk = self.place / f"disk{self.protect}{size_k}"
            disk.mkdir()
            mounted = subprocess.run(
                ["mount", "-t", "tmpfs", "-o", f"size={size_k}k", "tmpfs", str(disk)],
                capture_output=True, text=True, check=False)
            if mounted.returncode:
                sys.stdout.write(f"full disk skipped: {mounted.stderr.strip()}\n")
                return
            try:
                with self.checked("full disk", disk / "store") as store:
                    code = ended(started(self.place, store, self.protect, "here"))
                    assert code == 2, f"it fitted ({code})"
                    subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
            finally:
                subprocess.run(["umount", str(disk)], check=True)

    def two_at_once(self, times: int = 3) -> None:
        """Begin two runs together: one of them may be refused."""
        for _ in range(times):
            with self.checked("two at once") as store:
                both = [started(self.place, store, self.protect, "here") for _ in range(2)]
                codes = [ended(one) for one in both]
                assert sorted(codes) in ([0, 0], [0, 2]), codes


def main(instants: int = 200, seed: int = 1) -> int:
    # Loaded here, once: `loganalyze` loads what it is asked for.
    assert loganalyze.run_fleet
    failed: list[str] = []
    count: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        write_logs(Path(folder))
        for protect in (False, True):
            study = Study(Path(folder), protect, seed)
            for part in (study.lost_workers, study.full_disk, study.two_at_once,
                         partial(study.instants, instants // 2), study.every_step, study.deletion):
                part()
                sys.stdout.write(f"{dict(study.count)} {study.failed}\n")
                sys.stdout.flush()
            failed += study.failed
            count += study.count
    for what, times in sorted(count.items()):
        sys.stdout.write(f"{what}: {times}\n")
    sys.stdout.write(f"failed: {len(failed)}\n" + "".join(f"  {one}\n" for one in failed))
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

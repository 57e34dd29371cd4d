"""Run the tests that execute what a mutant changes, on a copy of the project.

A process forked from one that has loaded the libraries (and nothing of the project) runs the
tests, the quickest first, up to the first that fails. It has a bound of CPU time: a mutant that
never ends counts as killed.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import Phase, settings

from tests.mutation.mutants import Mutant
from tests.mutation.recording import Record

STARTING_S = 20.0  # of CPU time, allowed beyond three times what the tests took


class Tests:
    """The recorded tests, asked for by the line that a mutant changes."""

    def __init__(self, root: Path, records: Iterable[Record]) -> None:
        self.root = root
        self.seconds: dict[str, float] = {}
        self.by_line: dict[tuple[str, int], set[str]] = {}
        self.breadth: dict[str, int] = {}
        for record in records:
            self.seconds |= record.seconds
            for test, modules in record.lines.items():
                self.breadth[test] = sum(len(lines) for lines in modules.values())
                for module, lines in modules.items():
                    for line in lines:
                        self.by_line.setdefault((module, line), set()).add(test)
        self.by_module: dict[str, set[str]] = {}
        for (module, _), tests in self.by_line.items():
            self.by_module.setdefault(module, set()).update(tests)
        self.sources = {path.relative_to(root).as_posix(): path.read_text().split("\n")
                        for path in sorted((root / "loganalyze").rglob("*.py"))}

    def of(self, mutant: Mutant) -> list[str]:
        """Return the tests that execute a mutant: those that do the least else come first."""
        found = self.execute(mutant) or self.by_module.get(mutant.module, set())
        return sorted(found, key=lambda one: (self.seconds[one] + self.breadth[one] / 1e4, one))

    def quickest(self) -> list[str]:
        """Return the quickest test of each file."""
        first: dict[str, str] = {}
        for test in sorted(self.seconds, key=lambda one: self.seconds[one]):
            if test in self.breadth:
                first.setdefault(test.split("::")[0], test)
        return sorted(first.values())

    def execute(self, mutant: Mutant) -> set[str]:
        """Return the tests that run a mutant's lines, or use what they work out on loading."""
        found: set[str] = set()
        if mutant.constant is not None:
            return self._that_use(mutant)
        for line in range(mutant.lines[0], mutant.lines[1] + 1):
            found |= self.by_line.get((mutant.module, line), set())
        return found

    def _that_use(self, mutant: Mutant) -> set[str]:
        """Return the tests of what is worked out where a module is loaded, by its name."""
        found: set[str] = set()
        word = re.compile(rf"\b{re.escape(mutant.constant or Path(mutant.module).stem)}\b")
        for module, lines in self.sources.items():
            for number, line in enumerate(lines, 1):
                if word.search(line):
                    found |= self.by_line.get((module, number), set())
        return found


@dataclass(frozen=True)
class Outcome:
    """What became of a mutant: killed, survived, or executed by no test."""

    mutant: Mutant
    state: str
    tests: int  # that were chosen
    of: int  # that execute it
    killer: str = ""  # the test that failed, "" where loading failed or time ran out


class Copy:
    """A copy of the project in which one module at a time is changed."""

    def __init__(self, root: Path) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="loganalyze-mutant-"))
        self.clock = time.time() - 1e6
        self.failed = self.folder / "failed"
        for name in ("loganalyze", "tests", "schemas", "sample_logs", "pyproject.toml",
                     "README.md"):
            source = root / name
            if source.is_dir():
                shutil.copytree(source, self.folder / name,
                                ignore=shutil.ignore_patterns("__pycache__"))
            elif source.exists():
                shutil.copy(source, self.folder / name)

    def remove(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    def write(self, module: str, text: str) -> None:
        """Write a module with a time of its own, so that no compiled one passes for it."""
        path = self.folder / module
        path.write_text(text)
        self.clock += 2
        os.utime(path, (self.clock, self.clock))

    def outcome(self, mutant: Mutant, tests: Tests, budget_s: float) -> Outcome:
        """Run a mutant's tests, as many as the budget of CPU seconds has room for."""
        all_tests = tests.of(mutant)
        chosen, total = [], 0.0
        for one in all_tests:
            total += tests.seconds[one]
            if chosen and total > budget_s:
                break
            chosen.append(one)
        source = (self.folder / mutant.module).read_text()
        self.write(mutant.module, mutant.applied(source))
        try:
            code = self._run(chosen, 3 * min(total, 2 * budget_s) + STARTING_S, "-x")
        finally:
            self.write(mutant.module, source)
        if code == 0 or not chosen:
            executed = tests.execute(mutant)
            return Outcome(mutant, "survived" if executed else "not executed",
                           len(chosen), len(all_tests))
        killers = self.failed.read_text().split("\n") if self.failed.exists() else [""]
        return Outcome(mutant, "killed", len(chosen), len(all_tests), killers[0])

    def failing(self, tests: list[str]) -> list[str]:
        """Return the tests that fail although nothing is changed."""
        if tests and self._run(tests, 1e4):
            return self.failed.read_text().split("\n") if self.failed.exists() else tests
        return []

    def _run(self, tests: list[str], cpu_s: float, *options: str) -> int:
        self.failed.unlink(missing_ok=True)
        child = os.fork()
        if child == 0:
            try:
                os._exit(self._tested(tests, cpu_s, options))
            except BaseException:
                os._exit(70)
        deadline = time.monotonic() + 20 * cpu_s
        while True:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            if time.monotonic() > deadline:
                os.killpg(child, signal.SIGKILL)
            time.sleep(0.02)

    def _tested(self, tests: list[str], cpu_s: float, options: tuple[str, ...]) -> int:
        os.setpgrp()
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nothing, stream)
        resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s) + 1))
        root = Path.cwd()
        os.chdir(self.folder)
        os.environ["PYTHONPATH"] = str(self.folder)
        for name in [one for one in sys.modules if one.split(".")[0] in ("tests", "loganalyze")]:
            del sys.modules[name]
        sys.path[:] = [str(self.folder), *(one for one in sys.path if one not in ("", str(root)))]
        # The first example that fails is enough: none is made smaller, none is kept.
        settings.register_profile("mutation", deadline=None, database=None, derandomize=True,
                                  phases=(Phase.explicit, Phase.generate))
        settings.load_profile("mutation")
        return int(pytest.main([*tests, *options, "-q", "-p", "no:cacheprovider",
                                "-p", "no:xdist",
                                "-W", "ignore::pytest.PytestAssertRewriteWarning"],
                               plugins=[_Failures(self.failed)]))


class _Failures:
    """A pytest plugin that writes down which tests failed."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            with self.path.open("a") as file:
                file.write(f"{report.nodeid}\n")

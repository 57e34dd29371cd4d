"""Run the tests that execute what a mutant changes, the quickest first, up to one that fails.

Those of `tests/regression` come before all others: they hold every result to a number, and most
mutants die there.

pytest collects all tests once. For each mutant the process is forked, the changed function takes
the place of the one that is loaded, and the tests run; no file is touched. What is worked out
where a module is loaded, and compiled functions, are changed in the file instead: in a copy of the
project, whose modules a fork loads anew, which takes a second more. CPU time is bounded: a mutant
that never ends counts as killed.
"""

from __future__ import annotations

import ast
import gc
import os
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType

import pytest

from tests.mutation.mutants import Mutant
from tests.mutation.recording import Record

KEPT_RESULTS = "tests/regression/"
STARTING_S = 20.0  # of CPU time, allowed beyond three times what the tests took


class RecordedTests:
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
        self.files = sorted({str(root / test.split("::")[0]) for test in self.breadth})
        self.by_module: dict[str, set[str]] = {}
        for (module, _), tests in self.by_line.items():
            self.by_module.setdefault(module, set()).update(tests)
        self.sources = {path.relative_to(root).as_posix(): path.read_text().split("\n")
                        for path in sorted((root / "loganalyze").rglob("*.py"))}

    def of(self, mutant: Mutant) -> list[str]:
        """Return the tests that execute a mutant: kept results, its own package's, the quickest."""
        found = self.execute(mutant) or self.by_module.get(mutant.module, set())
        if not found:  # compiled functions leave no trace: the lines that call them do
            found = self._that_call(mutant.module)
        beside = f"tests/{mutant.module.split('/')[1]}/"  # tests mirror the package

        def cost(test: str) -> float:
            seconds = self.seconds[test] + self.breadth[test] / 1e4
            return seconds / 5 if test.startswith(beside) else seconds

        return sorted(found, key=lambda one: (not one.startswith(KEPT_RESULTS), cost(one), one))

    def _that_call(self, compiled: str) -> set[str]:
        """Return the tests of the lines in a module's own folder that call its functions.

        Functions elsewhere may have the same names; their many quick tests would use up the time.
        """
        called = re.compile(r"\.(" + "|".join(re.findall(
            r"^def (\w+)", "\n".join(self.sources[compiled]), re.M)) + r")\(")
        return {test for module, lines in self.sources.items()
                if Path(module).parent == Path(compiled).parent
                for number, line in enumerate(lines, 1) if called.search(line)
                for test in self.by_line.get((module, number), ())}

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
        word = re.compile(rf"\b({mutant.constant or Path(mutant.module).stem})\b")
        for module, lines in self.sources.items():
            for number, line in enumerate(lines, 1):
                if word.search(line):
                    found |= self.by_line.get((module, number), set())
        return found


@dataclass(frozen=True)
class Outcome:
    """What a mutant came to: killed, survived, or executed by no test."""

    mutant: Mutant
    state: str
    tests: int  # that were chosen
    of: int  # that execute it
    killer: str = ""  # the test that failed, "" where loading failed or time ran out


class Session:
    """A pytest plugin that runs tests for each mutant in the place of running all once."""

    def __init__(self, root: Path, mutants: list[Mutant], tests: RecordedTests,
                 budget_s: float) -> None:
        self.root, self.mutants, self.tests, self.budget_s = root, mutants, tests, budget_s
        self.items: dict[str, pytest.Item] = {}
        self.functions: dict[tuple[str, str, int], list[FunctionType]] = {}
        self.outcomes: list[Outcome] = []
        self.failed = Path(tempfile.mkdtemp(prefix="loganalyze-mutation-")) / "failed"
        self.copy: Path | None = None
        self.shown: Callable[[Outcome], None] = print

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run the mutants' tests; no test runs in this process itself."""
        self.items = {item.nodeid: item for item in session.items}
        session.config.pluginmanager.register(_Failures(self.failed))
        for one in gc.get_objects():
            if isinstance(one, FunctionType) and one.__code__.co_filename.startswith(
                    str(self.root)):
                code = one.__code__
                self.functions.setdefault(
                    (code.co_filename, code.co_qualname, code.co_firstlineno), []).append(one)
        gc.freeze()  # so that a fork doesn't copy all that it looks through
        self._hold(self.tests.quickest())
        for mutant in self.mutants:
            self.outcomes.append(self._outcome(mutant))
            self.shown(self.outcomes[-1])
        self._hold(sorted({one.killer for one in self.outcomes} - {""}))
        shutil.rmtree(self.failed.parent)
        if self.copy is not None:
            shutil.rmtree(self.copy)
        return True

    def _hold(self, tests: list[str]) -> None:
        """Stop where tests fail although nothing is changed: what they kill doesn't count."""
        if self._forked(None, [one for one in tests if one in self.items], 1e5):
            raise SystemExit("These tests fail although nothing is changed:\n"
                             + (self.failed.read_text() if self.failed.exists() else "all"))

    def _outcome(self, mutant: Mutant) -> Outcome:
        every = [one for one in self.tests.of(mutant) if one in self.items]
        chosen, total = [], 0.0
        kept = sum(self.tests.seconds[one] for one in every if one.startswith(KEPT_RESULTS))
        for one in every:
            total += self.tests.seconds[one]
            if chosen and total > kept + self.budget_s:
                break
            chosen.append(one)
        if not chosen:
            return Outcome(mutant, "not executed", 0, 0)
        cpu_s = 3 * min(total, kept + 2 * self.budget_s) + STARTING_S
        executed = self.tests.execute(mutant)
        inside = None
        if executed:  # else it runs where the module is loaded, if at all
            inside = self._loaded(mutant)
        code = (self._in_a_copy(mutant, chosen, cpu_s) if inside is None
                else self._forked((mutant, inside), chosen, cpu_s))
        if code == 0:
            compiled = mutant.module not in self.tests.by_module
            return Outcome(mutant, "survived" if executed or compiled else "not executed",
                           len(chosen), len(every))
        killer = self.failed.read_text().split("\n")[0] if self.failed.exists() else ""
        return Outcome(mutant, "killed", len(chosen), len(every), killer)

    def _forked(self, change: tuple[Mutant, str] | None, tests: list[str], cpu_s: float) -> int:
        """Run tests in a process forked from this one; 0 where all pass."""
        def run() -> int:
            if change is not None:
                self._replace(*change)
            items = [self.items[one] for one in tests]
            for i, item in enumerate(items):
                after = items[i + 1] if i + 1 < len(items) else None
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
                if change is not None and self.failed.exists():
                    break
            return int(self.failed.exists())

        return self._in_a_fork(run, cpu_s)

    def _in_a_copy(self, mutant: Mutant, tests: list[str], cpu_s: float) -> int:
        """Run tests where a module's file is changed and all are loaded anew; 0 where all pass."""
        if self.copy is None:
            self.copy = _copied(self.root)
        copy, path = self.copy, self.copy / mutant.module
        source = path.read_text()
        path.write_text(mutant.applied(source))

        def run() -> int:
            # No compiled code is kept: one of the same second and size would pass for this.
            sys.dont_write_bytecode = True
            os.environ |= {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1",
                           "NUMBA_CACHE_DIR": str(self.failed.parent)}
            if "numba" in sys.modules:  # which has read the environment when it was loaded
                sys.modules["numba"].config.CACHE_DIR = str(self.failed.parent)
            os.chdir(copy)
            sys.path[:] = [one.replace(str(self.root), str(copy)) for one in sys.path if one]
            for name, module in list(sys.modules.items()):
                if name.split(".")[0] in ("loganalyze", "tests") or str(
                        getattr(module, "__file__", "")).startswith(str(self.root)):
                    del sys.modules[name]
            return int(pytest.main([*tests, "-x", "-p", "no:cacheprovider", "-p", "no:xdist",
                                    "-p", "no:terminal", "-o", "addopts=--import-mode=importlib",
                                    "-W", "ignore::pytest.PytestAssertRewriteWarning"],
                                   plugins=[_Failures(self.failed)]))

        try:
            return self._in_a_fork(run, cpu_s)
        finally:
            path.write_text(source)

    def _in_a_fork(self, run: Callable[[], int], cpu_s: float) -> int:
        self.failed.unlink(missing_ok=True)
        sys.stdout.flush()
        child = os.fork()
        if child == 0:
            code = 70
            try:
                os.setpgrp()
                nothing = os.open(os.devnull, os.O_RDWR)
                for stream in (0, 1, 2):
                    os.dup2(nothing, stream)
                resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s) + 1))
                for item in list(self.items.values())[:1]:
                    item.config.pluginmanager.unregister(name="terminalreporter")
                code = run()
            finally:
                os._exit(code)
        deadline = time.monotonic() + 40 * cpu_s
        while True:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                break
            if time.monotonic() > deadline:
                os.killpg(child, signal.SIGKILL)
            time.sleep(0.005)
        code = os.waitstatus_to_exitcode(status)
        if code == 70:
            raise RuntimeError("no test could be run")
        return code

    def _loaded(self, mutant: Mutant) -> str | None:
        """Return the function that a mutant is in, None where it isn't among the loaded ones.

        A module that only a test's own run imports isn't loaded when the tests are collected.
        """
        name = function_of(mutant, (self.root / mutant.module).read_text())
        if name is None:
            return None
        path, code = changed_code(self.root, mutant, name)
        return name if (path, name, code.co_firstlineno) in self.functions else None

    def _replace(self, mutant: Mutant, name: str) -> None:
        """Let the changed function take the place of the one that is loaded."""
        path, code = changed_code(self.root, mutant, name)
        for one in self.functions[path, name, code.co_firstlineno]:
            one.__code__ = code


class _Failures:
    """A pytest plugin that writes down which tests failed."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Write down a test that failed."""
        if report.failed:
            with self.path.open("a") as file:
                file.write(f"{report.nodeid}\n")


def _copied(root: Path) -> Path:
    folder = Path(tempfile.mkdtemp(prefix="loganalyze-mutant-"))
    for name in ("loganalyze", "tests", "schemas", "sample_logs", "pyproject.toml", "README.md"):
        source = root / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif source.exists():
            shutil.copy(source, folder / name)
    return folder


def changed_code(root: Path, mutant: Mutant, name: str) -> tuple[str, CodeType]:
    """Return the path of a mutant's module, and the code of its changed function."""
    path = str(root / mutant.module)
    changed = compile(mutant.applied(Path(path).read_text()), path, "exec")
    return path, [one for one in _codes(changed) if one.co_qualname == name
                  and one.co_firstlineno <= mutant.start[0]][-1]


def function_of(mutant: Mutant, source: str) -> str | None:
    """Return the outermost function whose body a mutant is in, by its qualified name."""
    if mutant.constant is not None or "njit" in source:
        return None

    def below(node: ast.AST, names: tuple[str, ...]) -> str | None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.ClassDef):
                found = below(child, (*names, child.name))
                if found:
                    return found
            elif isinstance(child, ast.FunctionDef) and (
                    child.body[0].lineno, child.body[0].col_offset) <= mutant.start and (
                    mutant.start[0] <= (child.end_lineno or 0)):
                return ".".join((*names, child.name))
        return None

    return below(ast.parse(source), ())


def _codes(code: CodeType) -> Iterator[CodeType]:
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield one
            yield from _codes(one)

"""Which lines each test executes, and how long it takes; kept in a temporary folder.

One process a test file. What was recorded of a test file holds until that file, or a conftest or
made flights beside it, change. Lines of the package that have moved since are found again by their
text, so a stale record can only make a mutant survive that a test would kill, never the other way
about. How many records are older than the program is printed; `python -m tests.mutation 0 --record`
makes all anew.
"""

from __future__ import annotations

import difflib
import hashlib
import importlib
import json
import os
import pkgutil
import subprocess
import sys
import tempfile
import time
import traceback
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

BROAD = ("class", "module", "package", "session")
RUN_NOT_IMPORTED = ("__main__", ".migrations.env")
"""Ends of the names of modules that are scripts: of Python, and of the database's migrations."""


@dataclass
class Record:
    """What the tests of one file executed: numbers of lines by test and module."""

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[str, list[int]]] = field(default_factory=dict)


def records(root: Path, files: list[Path], without: list[str], anew: bool = False) -> list[Record]:
    """Return a record of each test file, made now where none is kept, or all are made anew."""
    kept = Path(tempfile.gettempdir()) / f"loganalyze-mutation-{_digest(str(root))}"
    kept.mkdir(exist_ok=True)
    stored: list[Path] = []
    missing: list[list[str]] = []
    for file in files:
        beside = sorted([*file.parent.glob("conftest.py"), *file.parent.glob("*_flights.py"),
                         *file.parent.glob("random_*.py")])
        name = file.relative_to(root).as_posix()
        left_out = [one for one in without if one.startswith(name)]
        key = _digest(*(one.read_text() for one in [file, *beside]), *left_out)
        stored.append(kept / f"{name.replace('/', '-')}-{key}.json")
        if anew:
            stored[-1].unlink(missing_ok=True)
        if not stored[-1].exists():
            missing.append([str(file), str(stored[-1]), *left_out])
    if missing:
        code = subprocess.run([sys.executable, "-m", "tests.mutation.recording",
                               json.dumps(missing)],
                              cwd=root, env={**os.environ, "PYTHONPATH": str(root)}).returncode
        if code:
            raise SystemExit("These tests fail before anything is changed.")
    contents = [json.loads(path.read_text()) for path in stored]
    older = sum(_is_older(root, content) for content in contents)
    if older:
        print(f"{older} of {len(contents)} records are older than the program: some tests may be "
              "missed. --record makes them anew.", flush=True)
    return [_moved(root, content) for content in contents]


def _is_older(root: Path, stored: dict[str, Any]) -> bool:
    return any(not (root / module).exists() or (root / module).read_text() != then
               for module, then in stored["sources"].items())


def _digest(*texts: str) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:12]


def _moved(root: Path, stored: dict[str, Any]) -> Record:
    """Return a stored record with its lines where they stand now."""
    record = Record(stored["seconds"], stored["lines"])
    for module, then in stored["sources"].items():
        now = (root / module).read_text() if (root / module).exists() else ""
        if now == then:
            continue
        blocks = difflib.SequenceMatcher(None, then.split("\n"), now.split("\n"),
                                         autojunk=False).get_matching_blocks()
        where = {one.a + i + 1: one.b + i + 1 for one in blocks for i in range(one.size)}
        for of_test in record.lines.values():
            if module in of_test:
                of_test[module] = [where[line] for line in of_test[module] if line in where]
    return record


class _Recorder:
    """A pytest plugin that keeps apart what each test and each shared fixture executes."""

    def __init__(self, measured: Any) -> None:
        self.measured = measured
        self.seconds: dict[str, float] = defaultdict(float)
        self.fixtures: dict[str, list[str]] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.measured.switch_context(item.nodeid)
        self.fixtures[item.nodeid] = list(getattr(item, "fixturenames", ()))
        began = time.process_time()
        result = yield
        self.seconds[item.nodeid] += time.process_time() - began
        self.measured.switch_context("")
        return result

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Iterator[None]:
        if fixturedef.scope not in BROAD:
            return (yield)
        began = time.process_time()
        self.measured.switch_context(f"fixture {fixturedef.argname}")
        result = yield
        self.measured.switch_context(request._pyfuncitem.nodeid)
        took = time.process_time() - began
        self.seconds[f"fixture {fixturedef.argname}"] += took
        self.seconds[request._pyfuncitem.nodeid] -= took
        return result


def _record_all(root: Path, jobs: list[list[str]]) -> int:
    """Record one file of tests after the other, each in a fork that has the program loaded."""
    for module in pkgutil.walk_packages([str(root / "loganalyze")], "loganalyze."):
        if not module.name.endswith(RUN_NOT_IMPORTED):
            importlib.import_module(module.name)
    for name in ("coverage", "pandas"):
        importlib.import_module(name)
    for file, kept, *without in jobs:
        print(f"recording {Path(file).relative_to(root).as_posix()}", flush=True)
        child = os.fork()
        if child == 0:
            code = 70
            try:
                code = _record(root, Path(file), Path(kept), without)
            except BaseException:
                traceback.print_exc()
            finally:
                sys.stdout.flush()
                os._exit(code)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        if code not in (0, 5):
            return code
    return 0


def _record(root: Path, file: Path, kept: Path, without: list[str]) -> int:
    import coverage

    measured = coverage.Coverage(data_file=None, branch=True,
                                 source=[str(root / "loganalyze")], config_file=False)
    recorder = _Recorder(measured)
    measured.start()
    code = pytest.main([str(file), "-q", "-p", "no:cacheprovider", "-p", "no:xdist",
                        "-W", "ignore::pytest.PytestAssertRewriteWarning", "--rootdir", str(root),
                        *(f"--deselect={one}" for one in without)],
                       plugins=[recorder])
    measured.stop()
    if code not in (0, 5):
        return int(code)
    data = measured.get_data()
    by_context: dict[str, dict[str, list[int]]] = defaultdict(dict)
    sources = {}
    arcs = {}
    for path in data.measured_files():
        module = Path(path).relative_to(root).as_posix()
        sources[module] = Path(path).read_text()
        arcs[module] = data.arcs(path)
        lines: dict[str, set[int]] = defaultdict(set)
        for line, contexts in data.contexts_by_lineno(path).items():
            for context in contexts:
                if line > 0:
                    lines[context].add(line)
        for context, those in lines.items():
            by_context[context][module] = sorted(those)
    out: dict[str, dict[str, list[int]]] = {}
    seconds = {}
    for test, fixtures in recorder.fixtures.items():
        seconds[test] = recorder.seconds[test]
        own = {module: set(lines) for module, lines in by_context[test].items()}
        for name in fixtures:
            seconds[test] += recorder.seconds.get(f"fixture {name}", 0.0)
            for module, lines in by_context.get(f"fixture {name}", {}).items():
                own.setdefault(module, set()).update(lines)
        out[test] = {module: sorted(lines) for module, lines in own.items()}
    kept.write_text(json.dumps(
        {"seconds": seconds, "lines": out, "sources": sources, "arcs": arcs}))
    return 0


if __name__ == "__main__":
    raise SystemExit(_record_all(Path.cwd(), json.loads(sys.argv[1])))

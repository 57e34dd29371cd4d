"""Each kind of change is made, in its place, and what can't show is left alone."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from tests.mutation import triage
from tests.mutation.mutants import mutants
from tests.mutation.outcome_table import OutcomeTable
from tests.mutation.recording import Record
from tests.mutation.running import Outcome, RecordedTests

CASES = {
    "y = a + b": ["y = (a - b)"],
    "y = a < b": ["y = (a <= b)", "y = (a >= b)"],
    "y = a and b": ["y = (a or b)"],
    "y = not a": ["y = (a)"],
    "y = 3": ["y = 4", "y = 2"],
    "y = 0.0": ["y = 1.0", "y = (-1.0)"],
    "y = 120.0": ["y = 240.0", "y = 60.0"],
    "y = True": ["y = False"],
    "a.b = c": ["pass"],
    "x += y": ["x -= y", "pass"],
    "'text'": [],
    "x: int = y": [],
    "assert_never(x)": [],
    "if a == b:\n    c()": ["if (a != b):\n    c()", "if a == b:\n    pass"],
    "def f():\n    return g": ["def f():\n    return None"],
    "y = zip(a, b, strict=True)": [],
    "@overload\ndef f(a=1): ...": [],
    "y = (a\n     + b)": ["y = (((a - b)\n))"],
}


@pytest.mark.parametrize("source", CASES)
def test_the_changes_of_a_statement(source):
    assert [one.applied(source) for one in mutants("module.py", source)] == CASES[source]


def test_a_constant_of_the_module_is_known_by_its_name():
    (first, _), (second, _) = (list(mutants("module.py", source))
                               for source in ("LEAST = 2", "def f():\n    y = 2"))
    assert (first.constant, second.constant) == ("LEAST", None)
    both = list(mutants("module.py", "LOWEST, HIGHEST = 1, 2"))
    assert {one.constant for one in both} == {"LOWEST|HIGHEST"}


def test_what_is_explained_stands_in_its_module():
    root = Path(__file__).resolve().parents[2]
    stated = tomllib.loads(Path(__file__).with_name("survivors.toml").read_text())
    for one in stated["survivor"]:
        assert one["line"]
        assert one["why"]
        source = (root / one["module"]).read_text()
        assert one["line"] in [line.strip() for line in source.split("\n")], one["line"]


def test_tests_of_a_compiled_function_are_those_that_call_it_not_a_namesake(tmp_path):
    for name, text in {"engine/kernels.py": "def columns(n):\n    return 2 * n\n",
                       "engine/blocks.py": "def block(compiled):\n    compiled.columns(3)\n",
                       "text/words.py": "def said(table):\n    return table.columns(3)\n"}.items():
        (tmp_path / "loganalyze" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "loganalyze" / name).write_text(text)
    record = Record({"tests/a.py::block": 3.0, "tests/b.py::said": 0.1},
                    {"tests/a.py::block": {"loganalyze/engine/blocks.py": [2]},
                     "tests/b.py::said": {"loganalyze/text/words.py": [2]}})
    module = "loganalyze/engine/kernels.py"
    changed = next(mutants(module, (tmp_path / module).read_text()))
    assert RecordedTests(tmp_path, [record]).of(changed) == ["tests/a.py::block"]


def test_kept_results_come_first_then_the_quickest_of_the_own_package(tmp_path):
    (tmp_path / "loganalyze/air").mkdir(parents=True)
    (tmp_path / "loganalyze/air/a.py").write_text("def f(x):\n    return x + 1\n")
    line = {"loganalyze/air/a.py": [2]}
    seconds = {"tests/read/r.py::quick": 0.1, "tests/air/a.py::own": 0.3,
               "tests/air/a.py::slow": 9.0, "tests/regression/k.py::kept": 2.0}
    record = Record(seconds, dict.fromkeys(seconds, line))
    changed = next(mutants("loganalyze/air/a.py", "def f(x):\n    return x + 1\n"))
    assert RecordedTests(tmp_path, [record]).of(changed) == [
        "tests/regression/k.py::kept", "tests/air/a.py::own", "tests/read/r.py::quick",
        "tests/air/a.py::slow"]


def test_a_table_continues_a_stopped_run(tmp_path):
    first, second = list(mutants("loganalyze/m.py", "y = a < b"))
    table = OutcomeTable(tmp_path / "table.txt", "seed 1")
    table.add("air", Outcome(first, "survived", 2, 3), "only speed")
    table.add("air", Outcome(second, "killed", 1, 3, "tests/a.py::b"), "")
    again = OutcomeTable(tmp_path / "table.txt", "seed 1")
    assert again.holds("air", first)
    assert not again.holds("limits", first)
    assert again.states("air", first) == ["survived", "explained"]
    assert again.states("air", second) == ["killed"]
    with pytest.raises(SystemExit, match="outcomes of other mutants"):
        OutcomeTable(tmp_path / "table.txt", "seed 2")


@pytest.mark.parametrize(("module", "name"), [
    ("loganalyze/events/joining.py", "HELD_INTERVALS * evaluation.log.interval_s"),  # swapped
    ("loganalyze/engine/limit_curves.py", "-1000.0")])  # loaded anew
def test_no_random_flight_tells_what_changes_nothing_and_some_tell_what_does(module, name):
    known = triage.results([3, 22, 23, 24], judged=True)
    loaded = triage.loaded_functions()
    changed = next(one for one in mutants(module, (triage.ROOT / module).read_text())
                   if one.before == name)
    same = replace(changed, after=changed.before)
    assert triage.telling(same, loaded, known, judged=True, enough=4) == []
    assert triage.telling(changed, loaded, known, judged=True, enough=1) != []

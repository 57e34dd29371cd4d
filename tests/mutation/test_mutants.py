"""Each kind of change is made, in its place, and what can't show is left alone."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tests.mutation.mutants import mutants

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
    "if a == b:\n    c()": ["if (a != b):\n    c()", "if a == b:\n    pass"],
    "def f():\n    return g": ["def f():\n    return None"],
    "y = zip(a, b, strict=True)": [],
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

"""The public names: all there, all they take and return among them, and their examples run."""

from __future__ import annotations

import doctest
import inspect
import subprocess
import sys
import typing
from pathlib import Path

import duckdb
import matplotlib.figure
import numpy as np
import pandas as pd
import pytest

import loganalyze

ROOT = Path(__file__).parents[1]
EXPORTED = {name: getattr(loganalyze, name) for name in loganalyze.__all__}
FUNCTIONS = {name: value for name, value in EXPORTED.items() if inspect.isfunction(value)}
NAMES = {"DuckDBPyConnection": duckdb.DuckDBPyConnection, "pd": pd, "np": np,
         "Figure": matplotlib.figure.Figure}


def parts(hint: object) -> set[type]:
    """Return the classes that a type hint is made of."""
    if isinstance(hint, type) and not typing.get_args(hint):
        return {hint}
    return {one for part in typing.get_args(hint) for one in parts(part)}


def taken_and_returned(value: object) -> set[type]:
    made = value if inspect.isfunction(value) else value.__init__
    hints = typing.get_type_hints(made, localns=NAMES)
    return {one for name, hint in hints.items() if not name.startswith("_") for one in parts(hint)}


def test_the_lists_of_names_agree():
    assert sorted(loganalyze.__all__) == sorted(loganalyze._HOMES)
    assert set(loganalyze.__all__) <= set(dir(loganalyze))


@pytest.mark.parametrize("name", EXPORTED)
def test_what_a_public_function_takes_and_returns_is_public(name):
    value = EXPORTED[name]
    if not (inspect.isfunction(value) or inspect.isclass(value)):
        return
    inner = {one.__name__ for one in taken_and_returned(value)
             if one.__module__.startswith("loganalyze")}
    assert inner <= set(loganalyze.__all__)


def test_no_name_is_loaded_before_it_is_used():
    code = ("import sys, loganalyze; "
            "print([m for m in sys.modules if m.split('.')[0] in ('numpy', 'pyarrow', 'pandas')])")
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True,
                         check=True)
    assert ran.stdout.strip() == "[]"


@pytest.mark.parametrize("name", EXPORTED)
def test_a_public_name_says_what_it_is(name):
    value = EXPORTED[name]
    if inspect.isfunction(value) or inspect.isclass(value):
        assert len((value.__doc__ or "").strip()) > 15


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_example_of_a_public_function_runs(name, monkeypatch, tmp_path):
    (tmp_path / "sample_logs").symlink_to(ROOT / "sample_logs")
    monkeypatch.chdir(tmp_path)
    value = EXPORTED[name]
    test = doctest.DocTestParser().get_doctest(inspect.getdoc(value), {}, name, None, 0)
    assert test.examples
    said: list[str] = []
    failed = doctest.DocTestRunner(
        optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS).run(test, out=said.append)
    assert not failed.failed, "".join(said)

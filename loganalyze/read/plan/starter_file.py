"""A columns file to start from: the recognised columns, with placeholders for missing ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loganalyze.problems import Problem
from loganalyze.read.clocks.timestamps import DAY_FIRST, MONTH_FIRST
from loganalyze.read.columns.recognition import LogColumn, likely_columns
from loganalyze.read.columns.required_channels import (
    ALTITUDES,
    CLOCKS,
    OPEN,
    SPEEDS,
    UNITLESS,
    OpenChannelProblem,
    listed,
)
from loganalyze.read.files.multi_file import Log
from loganalyze.record.channels import kind as channel_kind
from loganalyze.sheets.columns_file import ColumnsFile
from loganalyze.sheets.toml_models import written

HEADING = "a columns file to start from:"
_NO_UNIT = ("discrete", "1", "Mach")
"""Units that nobody needs to state."""


def column_entry(column: LogColumn) -> dict[str, Any]:
    """Return a column's entry for a columns file."""
    factor = column.unit.factor if column.unit else 1.0
    entry: dict[str, Any] = {"column": column.name}
    if column.unit is not None and column.unit.name not in _NO_UNIT:
        entry["unit"] = column.unit.name
    for key, value in (("lag_s", column.lag_s), ("skew_s", column.skew_s),
                       ("fine_span", column.fine_span / factor),
                       ("wraps_at", column.wraps_at / factor),
                       ("values", dict(column.values)), ("missing", column.missing)):
        if value:
            entry[key] = value
    return entry


def file_table(log: Log) -> dict[str, Any]:
    """Return how a text export is written; UTF-8 is the default."""
    found = log.described()
    return {key: found[key] for key in ("delimiter", "decimal", "thousands", "encoding")
            if key in found and found[key] != "utf-8"}


def clock_table(order: str) -> dict[str, Any]:
    """Return the order of the dates where the log's first lines or its whole show it."""
    return {"form": order} if order in (DAY_FIRST, MONTH_FIRST) else {}


def with_starter(problem: Problem, log: Log, sheet: ColumnsFile | None,
                 recognised: Mapping[str, LogColumn] | None = None, order: str = "") -> Problem:
    """Return the problem with the columns found and a columns file to start from.

    `recognised` : the columns where they are all known; else those that their names alone tell.
    A problem that no columns file mends, or that has a starter, stays as it is.
    """
    if problem.starter or not (isinstance(problem, OpenChannelProblem)
                               or "columns file" in problem.hint):
        return problem
    found: Mapping[str, LogColumn | None] = (
        likely_columns(log.headers, sheet) if recognised is None else recognised)
    missing = problem.channel if isinstance(problem, OpenChannelProblem) else ""
    problem.starter = starter_text(log, sheet, found, missing, order)
    problem.details = "\n".join([listed(log.headers), HEADING, problem.starter])
    return problem


def starter_text(log: Log, sheet: ColumnsFile | None, found: Mapping[str, LogColumn | None],
                 missing: str, order: str = "") -> str:
    """Return a columns file with all channels `found`, and `missing` with its column left open.

    A channel that is None is open too. What isn't sure has the comment "check".
    """
    stated = sheet.model_dump(exclude_defaults=True) if sheet else {}
    tables = {key: value for key, value in (
        ("signature", stated.get("signature")),
        ("file", file_table(log) | stated.get("file", {})),
        ("clock", clock_table(order) | stated.get("clock", {})),
        ("long", stated.get("long"))) if value}
    lines = []
    for name, table in tables.items():
        lines += [f"[{name}]", *(f"{key} = {written(value)}" for key, value in table.items()), ""]
    lines.append("[columns]")
    for channel in _channels(found, missing):
        column = None if channel == missing else found.get(channel)
        kind = channel_kind(channel)
        entry = {"column": OPEN} if column is None else column_entry(column)
        if isinstance(fine := found.get(f"{channel}.fine"), LogColumn):
            entry["fine"] = fine.name
        usual = kind.unit.name if kind and kind.unit.name not in _NO_UNIT else ""
        sure = column is not None and (column.unit is not None or not usual)
        if "unit" not in entry and usual and channel not in UNITLESS:
            entry["unit"] = usual
        lines.append(f"{channel} = {written(_quoted(entry))}" + ("" if sure else "   # check"))
    return "\n".join(lines)


def _channels(found: Mapping[str, LogColumn | None], missing: str) -> list[str]:
    """Return the channels of a starter: those that a verdict rests on first."""
    there = set(found) | {missing}
    wanted: list[str] = []
    for sets in (CLOCKS, ALTITUDES, SPEEDS):
        sufficient = next((names for names in sets if names <= there), sets[0])
        wanted += [name for name in (*found, missing)
                   if name in sufficient and name not in wanted] or sorted(sufficient)
    wanted += [name for name in (*found, missing) if name and not name.endswith(".fine")]
    return list(dict.fromkeys(wanted))


def _quoted(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return an entry with the words of its states quoted: they may hold anything."""
    return {key: {written(word): code for word, code in value.items()}
            if key == "values" and isinstance(value, dict) else value
            for key, value in entry.items()}

"""Tables in sheets: rows of two numbers, and thresholds by name."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, Strict, WithJsonSchema

from loganalyze.record.units import FOOT
from loganalyze.sheets.evaluation_settings import DEFAULTS, DESCRIPTIONS, OPTIONS
from loganalyze.sheets.toml_models import nearest, refuse, written

ALTITUDES_FT = (-5000.0 / FOOT, 32000.0 / FOOT)
"""Pressure altitudes [ft] between which the standard atmosphere is defined here."""

LEAST_RISE = 1e-6
"""Least increase from row to row [the table's unit]: a smaller one could be lost in SI."""


def _row(value: Any) -> Any:
    if not isinstance(value, list | tuple) or len(value) != 2:
        refuse(f"{written(value)} isn't a row of two numbers", "write each row as [first, second]")
    return value


Row = Annotated[tuple[float, float], Strict(False), BeforeValidator(_row)]
Rows = tuple[tuple[float, float], ...]
Table = Annotated[tuple[Row, ...], Strict(False), Field(json_schema_extra={"minItems": 2})]
"""Rows of two numbers: where, and how much."""


def check_rising(table: Rows, what: str, unit: str, lowest: float, highest: float,
                 *key: str | int) -> None:
    """Refuse fewer than two rows, and a first column that isn't increasing and within its range."""
    if len(table) < 2:
        refuse("a table needs at least two rows",
               "write another row, or a constant in the table's place", *key)
    for row, (first, _) in enumerate(table):
        if not lowest <= first <= highest:
            refuse(f"{written(first)} {unit} is outside {lowest:.0f} to {highest:.0f} {unit}",
                   f"write the row's {what} in {unit}", *key, row)
        if row and first - table[row - 1][0] < LEAST_RISE:
            refuse(f"{what} {written(first)} {unit} doesn't rise above the row before it",
                   f"write the rows in order of {what}, each {what} once", *key, row)


def _thresholds(given: Any) -> Any:
    """Refuse a `[screening]` table with other keys or values than thresholds have."""
    if not isinstance(given, dict):
        return given
    allowed = [name for name in DEFAULTS if name not in OPTIONS]
    for name, value in given.items():
        if name in OPTIONS:
            refuse(f"{name} is an option of the command line",
                   f"give --{name.replace('_', '-')} instead", name)
        if name not in allowed:
            close = nearest(str(name), allowed)
            refuse(f'"{name}" is not a threshold of the evaluation',
                   f"did you mean {close}?" if close else "leave it out", name)
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not 0 <= value < math.inf:
            refuse(f"{name} = {written(value)} is not a number from 0 up", "write it as 12 or 0.5",
                   name)
    return {name: float(value) for name, value in given.items()}


ScreeningTable = Annotated[
    dict[str, float],
    BeforeValidator(_thresholds),
    WithJsonSchema({
        "type": "object", "additionalProperties": False,
        "properties": {name: {"type": "number", "minimum": 0, "default": default,
                              "description": DESCRIPTIONS[name], "examples": [default]}
                       for name, default in DEFAULTS.items() if name not in OPTIONS}}),
]
"""`[screening]` of a limits sheet: thresholds by name, only those that differ from the default."""

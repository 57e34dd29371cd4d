"""The columns file: which column of a log is which channel, and in which unit."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, field_validator, model_validator

from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import UNITS, Unit, find_unit
from loganalyze.sheets.conditions import NAME, check_spelling
from loganalyze.sheets.toml import Sheet, choice, nearest, read_toml, refuse, written

TIME, DATE = "time", "date"
"""The keys of the columns that hold the time, and the day; everything else is a channel."""


def _table(value: Any) -> Any:
    if isinstance(value, str):
        refuse(f"{written(value)} stands where a table of keys should",
               f"write {{ column = {written(value)} }}")
    return value


class Column(Sheet):
    """A column of the log, and the unit of its numbers."""

    column: str = Field(description="The column's name in the log, exactly as it stands there.",
                        min_length=1, examples=["HP"])
    unit: str | None = Field(
        None, description="The unit of its numbers; absent: as the log or its heading states.",
        examples=["ft"])

    @field_validator("unit")
    @classmethod
    def _known(cls, unit: str | None) -> str | None:
        if unit is not None and find_unit(unit) is None:
            near = nearest(unit, UNITS)
            refuse(f"the unit {written(unit)} isn't known",
                   f"write {written(near)} if that is meant" if near
                   else f"write one of {', '.join(UNITS)}")
        return unit

    @property
    def known_unit(self) -> Unit | None:
        """The unit, or None where the file doesn't state it."""
        return None if self.unit is None else find_unit(self.unit)


class ColumnsFile(Sheet):
    """Which column of a log is which channel."""

    columns: dict[str, Annotated[Column, BeforeValidator(_table)]] = Field(
        description="For each channel, its column and unit. `time` is the time, and `date` "
        "the day where it has its own column; any other lower_snake_case name that isn't a known "
        "channel may be used in a limit's conditions.",
        examples=[{"pressure_altitude": {"column": "HP", "unit": "ft"}}],
        json_schema_extra={"minProperties": 1, "propertyNames": {"pattern": f"^{NAME}$"}})

    @model_validator(mode="after")
    def _consistent(self) -> ColumnsFile:
        if not self.columns:
            refuse("no column is named",
                   'write such as pressure_altitude = { column = "HP", unit = "ft" }', "columns")
        owners: dict[str, str] = {}
        for channel, column in self.columns.items():
            _check_channel(channel, column)
            first = owners.setdefault(column.column, channel)
            if first != channel:
                refuse(f"the column {written(column.column)} is {first} already",
                       "give each channel its own column", "columns", channel, "column")
        return self


def _check_channel(channel: str, column: Column) -> None:
    if not re.fullmatch(NAME, channel):
        refuse(f'"{channel}" is no name of a channel', "write lower-case letters, digits and "
               "single underscores, such as pressure_altitude", "columns", channel)
    unit = column.known_unit
    if channel == TIME:
        if unit is not None and unit.dimension != "time":
            refuse(f"time can't be measured in {unit.name}", "write one of "
                   f"{_units_of('time')}, or no unit for clock times", "columns", channel, "unit")
        return
    if channel == DATE and unit is not None:
        refuse("a date has no unit", "take it out", "columns", channel, "unit")
    check_spelling(channel, "columns", channel)
    if unit is not None and channel in CHANNELS:
        dimension = CHANNELS[channel].dimension
        if unit.dimension != dimension:
            refuse(f"{channel} can't be measured in {unit.name}",
                   f"write {_units_of(dimension)}", "columns", channel, "unit")


def _units_of(dimension: str) -> str:
    return choice(name for name, unit in UNITS.items() if unit.dimension == dimension)


def read_columns(path: str | Path) -> ColumnsFile:
    """Read a columns file.

    Parameters
    ----------
    path : path-like
        The TOML file.

    Returns
    -------
    ColumnsFile
        The validated file.

    Raises
    ------
    Problem
        For a file that can't be read or doesn't hold a columns file; it names the key and the
        mend.
    """
    return read_toml(path, ColumnsFile)

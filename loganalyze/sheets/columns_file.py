"""The columns file: which column of a log is which channel, in which unit, and how it counts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field, Strict, field_validator, model_validator

from loganalyze.record.channels import kind as kind_of_channel
from loganalyze.record.units import UNITS, Unit, find_unit
from loganalyze.sheets.export_options import ClockHabits, FileHabits, LongTable, Signature
from loganalyze.sheets.limit_conditions import NAME, check_spelling
from loganalyze.sheets.toml_models import Sheet, choice, nearest, read_toml, refuse, written

TIME, DATE = "time", "date"
"""The keys of the columns that hold the time, and the day."""
CLOCK_PARTS = (TIME, DATE, "utc_offset", "hour", "minute", "second", "day", "month", "year",
               "day_of_year", "week", "frame", "subframe")
"""The keys of the columns that make the clock; everything else is a channel."""


def _table(value: Any) -> Any:
    if isinstance(value, str):
        refuse(f"{written(value)} stands where a table of keys should",
               f"write {{ column = {written(value)} }}")
    return value


def _codes(value: Any) -> Any:
    if not isinstance(value, dict):
        refuse(f"{written(value)} isn't a table of states", "write such as { up = 0, down = 1 }")
    for word, code in value.items():
        if isinstance(code, bool):
            value = {**value, word: float(code)}
        elif not isinstance(code, int | float):
            refuse(f"{written(code)} is no number", f"write such as {{ {word} = 1 }}", word)
    folded = [word.strip().casefold() for word in value]
    twice = next((word for word in folded if folded.count(word) > 1), None)
    if twice is not None:
        refuse(f'"{twice}" is written twice but for case and blanks', "keep one of them")
    return value


def _cells(value: Any) -> Any:
    if not isinstance(value, list | tuple):
        refuse(f"{written(value)} isn't a list", 'write a list such as ["---", "-9999"]')
    for row, cell in enumerate(value):
        if isinstance(cell, bool) or not isinstance(cell, str | int | float):
            refuse(f"{written(cell)} is no cell of a log", "write text or a number", row)
    return tuple(value)


class Column(Sheet):
    """A column of the log, and what its cells mean."""

    column: str = Field(description="The column's name in the log, exactly as it stands there; "
                        "in a long table the parameter's.", min_length=1, examples=["HP"])
    unit: str | None = Field(
        None, description="The unit of its numbers; absent: as the log or its heading states.",
        examples=["ft"])
    lag_s: float = Field(
        0.0, description="How long the recorded value lags behind the truth [s]; taken off its "
        "time.", examples=[0.5], json_schema_extra={"minimum": 0, "maximum": 60})
    skew_s: float = Field(
        0.0, description="How long after its row's time stamp the value was sampled [s]; added "
        "to its time.", examples=[0.25], json_schema_extra={"minimum": -60, "maximum": 60})
    fine: str | None = Field(
        None, description="The column of the fine word, where this one is the coarse word of the "
        "same value, in the same unit.", min_length=1, examples=["HP FINE"])
    fine_span: float | None = Field(
        None, description="The span after which the fine word starts again, in the unit.",
        examples=[5000], json_schema_extra={"exclusiveMinimum": 0})
    wraps_at: float | None = Field(
        None, description="The span after which the value itself starts again, in the unit.",
        examples=[65536], json_schema_extra={"exclusiveMinimum": 0})
    values: Annotated[dict[str, float], BeforeValidator(_codes), Field(
        json_schema_extra={"additionalProperties": {"type": ["number", "boolean"]}})] = Field(
        {}, description="What each word or code of the column means, as a number in the unit; "
        "words are matched without case.", examples=[{"up": 0, "down": 1}])
    missing: Annotated[tuple[str | float, ...], Strict(False), BeforeValidator(_cells)] = Field(
        (), description="Cells of this column that stand for no value.",
        examples=[["---", -9999]])

    @field_validator("unit")
    @classmethod
    def _known(cls, unit: str | None) -> str | None:
        if unit is not None and find_unit(unit) is None:
            near = nearest(unit, UNITS)
            refuse(f"the unit {written(unit)} isn't known",
                   f"write {written(near)} if that is meant" if near
                   else f"write one of {', '.join(UNITS)}")
        return unit

    @model_validator(mode="after")
    def _consistent(self) -> Column:
        for name, low, high in (("lag_s", 0, 60), ("skew_s", -60, 60)):
            if not low <= getattr(self, name) <= high:
                refuse(f"{name} = {written(getattr(self, name))} is outside {low} to {high}",
                       "write it in seconds", name)
        for name in ("fine_span", "wraps_at"):
            value = getattr(self, name)
            if value is not None and value <= 0:
                refuse(f"{name} = {written(value)} is no span", "write a number above 0", name)
        if (self.fine is None) != (self.fine_span is None):
            refuse("fine and fine_span belong together",
                   'write both, such as fine = "HP FINE", fine_span = 5000')
        if self.fine is not None and self.wraps_at is not None:
            refuse("a value with a fine word doesn't wrap", "take wraps_at out", "wraps_at")
        if self.fine is not None and self.values:
            refuse("a value with a fine word has no states", "take values out", "values")
        return self

    @property
    def known_unit(self) -> Unit | None:
        """The unit, or None where the file doesn't state it."""
        return None if self.unit is None else find_unit(self.unit)


class ColumnsFile(Sheet):
    """Channel of each column of a log, and properties that its first lines don't show."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1})

    signature: Signature | None = Field(
        None, description="Which exports this file is for, where a folder holds several.",
        examples=[{"header": ["UTC", "HP", "VC"]}])
    file: FileHabits = Field(
        FileHabits(), description="How a text export is written.",
        examples=[{"delimiter": "semicolon", "decimal": "comma"}])
    clock: ClockHabits = Field(
        ClockHabits(), description="How the recorder's clock counts.",
        examples=[{"form": "day first"}])
    long: LongTable | None = Field(
        None, description="The columns of a long table.",
        examples=[{"time": "Time", "parameter": "Parameter", "value": "Value"}])
    columns: dict[str, Annotated[Column, BeforeValidator(_table)]] = Field(
        {}, description="For each channel, its column and unit. `time` is the time, `date` the "
        "day where it has its own column, and " + choice(CLOCK_PARTS[2:]).replace('"', "`")
        + " are other parts of the clock; the second source of a channel has _2 at its end; any "
        "other lower_snake_case name that isn't a known channel may be used in a limit's "
        "conditions.",
        examples=[{"pressure_altitude": {"column": "HP", "unit": "ft"}}],
        json_schema_extra={"minProperties": 1, "propertyNames": {"pattern": f"^{NAME}$"}})

    @model_validator(mode="before")
    @classmethod
    def _not_empty(cls, data: Any) -> Any:
        if isinstance(data, dict) and not data:
            refuse("the file is empty", 'write [columns] and below it such as '
                   'pressure_altitude = { column = "HP", unit = "ft" }')
        if isinstance(data, dict) and data.get("columns") == {}:
            refuse("no column is named",
                   'write such as pressure_altitude = { column = "HP", unit = "ft" }', "columns")
        return data

    @model_validator(mode="after")
    def _consistent(self) -> ColumnsFile:
        owners: dict[str, str] = {}
        for channel, column in self.columns.items():
            _check_channel(channel, column)
            named = {"column": column.column, "fine": column.fine}
            for key, name in named.items():
                first = owners.setdefault(name, channel) if name is not None else channel
                if first != channel:
                    refuse(f"the column {written(name)} is {first} already",
                           "give each channel its own column", "columns", channel, key)
            if column.column == column.fine:
                refuse("the fine word's column is the coarse word's", "name the column of the "
                       "fine word", "columns", channel, "fine")
        if self.long is not None and TIME in self.columns and (
                self.columns[TIME].column != self.long.time):
            refuse(f"the time is the column {written(self.long.time)} in [long]",
                   "name the same column, or leave it out here", "columns", TIME, "column")
        return self


def _check_channel(channel: str, column: Column) -> None:
    if not re.fullmatch(NAME, channel):
        refuse(f'"{channel}" is no name of a channel', "write lower-case letters, digits and "
               "single underscores, such as pressure_altitude", "columns", channel)
    unit = column.known_unit
    if channel in CLOCK_PARTS:
        _check_clock_part(channel, column, unit)
        return
    kind = kind_of_channel(channel)
    if kind is None:
        check_spelling(channel, "columns", channel)
    if unit is not None and kind is not None and unit.dimension != kind.dimension:
        refuse(f"{channel} can't be measured in {unit.name}",
               f"write {_units_of(kind.dimension)}", "columns", channel, "unit")


def _check_clock_part(channel: str, column: Column, unit: Unit | None) -> None:
    if channel == TIME and unit is not None and unit.dimension != "time":
        refuse(f"time can't be measured in {unit.name}", "write one of "
               f"{_units_of('time')}, or no unit for clock times", "columns", channel, "unit")
    if channel != TIME and unit is not None:
        words = "a date has" if channel == DATE else f"{channel} has"
        refuse(f"{words} no unit", "take it out", "columns", channel, "unit")
    stated: Mapping[str, Any] = column.model_dump(exclude_defaults=True)
    for key in stated.keys() - {"column", "unit", "missing"}:
        refuse(f"{key} is for a channel, and {channel} is a part of the clock", "take it out",
               "columns", channel, key)


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
        hint.

    Examples
    --------
    >>> from pathlib import Path
    >>> import loganalyze as la
    >>> text = 'columns.calibrated_airspeed = { column = "Speed" }'
    >>> _ = Path("columns.toml").write_text(text, encoding="utf-8")
    >>> la.read_columns("columns.toml").columns["calibrated_airspeed"].column
    'Speed'
    """
    return read_toml(path, ColumnsFile)

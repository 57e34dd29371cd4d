"""Options of a columns file for the export as a whole: its text format and its clock."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, Strict, model_validator

from loganalyze.sheets.toml_models import Sheet, refuse, written

ClockForm = Literal[
    "elapsed", "epoch", "time of day", "iso", "day first", "month first", "day of year",
    "hhmmss", "spreadsheet serial", "spreadsheet serial 1904", "satellite week", "frame counter",
]
Delimiter = Literal["comma", "semicolon", "tab", "pipe", "blank"]
Decimal = Literal["point", "comma"]
Thousands = Literal["comma", "point", "blank", "apostrophe"]
Encoding = Literal["utf-8", "utf-16", "latin-1"]


def _names(value: Any) -> Any:
    if not isinstance(value, list | tuple):
        refuse(f"{written(value)} isn't a list", 'write a list such as ["UTC", "HP", "VC"]')
    for row, name in enumerate(value):
        if not isinstance(name, str) or not name.strip():
            refuse(f"{written(name)} is no name of a column", "write the name as text", row)
    return tuple(value)


Names = Annotated[tuple[str, ...], Strict(False), BeforeValidator(_names),
                  Field(json_schema_extra={"items": {"type": "string", "pattern": r"\S"}})]


class FileHabits(Sheet):
    """How a text export is written, where its first lines don't show it, or show it wrongly."""

    delimiter: Delimiter | None = Field(
        None, description="What stands between the cells; blank: white space, or the places of a "
        "fixed width.", examples=["semicolon"])
    decimal: Decimal | None = Field(
        None, description="The decimal mark of the numbers.", examples=["comma"])
    thousands: Thousands | None = Field(
        None, description="The mark that groups digits by three; absent: none.",
        examples=["point"])
    encoding: Encoding | None = Field(
        None, description="How the text is encoded.", examples=["latin-1"])
    header_line: int | None = Field(
        None, description="The line that names the columns, counted from 1.", examples=[5],
        json_schema_extra={"minimum": 1, "maximum": 400})

    @model_validator(mode="after")
    def _consistent(self) -> FileHabits:
        if self.header_line is not None and not 1 <= self.header_line <= 400:
            refuse(f"header_line = {self.header_line} is outside 1 to 400",
                   "count the file's lines from 1", "header_line")
        if self.thousands is not None and self.thousands == (self.decimal or "point"):
            refuse(f"{written(self.thousands)} can't be both the decimal mark and the thousands "
                   "separator", 'write such as decimal = "comma", thousands = "point"',
                   "thousands")
        return self


class ClockHabits(Sheet):
    """How the recorder's clock counts, where its numbers alone leave a doubt."""

    form: ClockForm | None = Field(
        None, description="What the time's numbers or stamps mean.", examples=["day first"])
    year: int | None = Field(
        None, description="The year of the first sample, where the log doesn't hold it.",
        examples=[2026], json_schema_extra={"minimum": 1970, "maximum": 2099})
    utc_offset_s: float | None = Field(
        None, description="What the clock shows less UTC [s]: 3600 for a clock an hour ahead.",
        examples=[3600], json_schema_extra={"minimum": -54000, "maximum": 54000})
    leap_seconds: int | None = Field(
        None, description="Satellite time less UTC [s] at the time of the flight.",
        examples=[18], json_schema_extra={"minimum": 0, "maximum": 40})
    frame_s: float | None = Field(
        None, description="The time that one frame takes [s].", examples=[4],
        json_schema_extra={"exclusiveMinimum": 0, "maximum": 3600})
    frames: int | None = Field(
        None, description="How many frames are counted before the counter starts again.",
        examples=[4096], json_schema_extra={"minimum": 2})
    subframes: int | None = Field(
        None, description="How many subframes make a frame.", examples=[4],
        json_schema_extra={"minimum": 1, "maximum": 64})

    @model_validator(mode="after")
    def _in_range(self) -> ClockHabits:
        for name, low, high in (("year", 1970, 2099), ("utc_offset_s", -54000, 54000),
                                ("leap_seconds", 0, 40), ("subframes", 1, 64)):
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                refuse(f"{name} = {written(value)} is outside {low} to {high}",
                       "write a value in that range", name)
        if self.frame_s is not None and not 0 < self.frame_s <= 3600:
            refuse(f"frame_s = {written(self.frame_s)} is outside 0 to 3600",
                   "write the frame's time in seconds", "frame_s")
        if self.form == "frame counter" and self.frame_s is None:
            refuse('the key "frame_s" is missing', "write it such as frame_s = 4")
        if self.frames is not None and self.frames < 2:
            refuse(f"frames = {self.frames} is less than 2",
                   "write after how many frames the counter starts again", "frames")
        return self


class LongTable(Sheet):
    """A long table: a line for each time and parameter, instead of a column a parameter."""

    time: str = Field(description="The column that holds the time.", min_length=1,
                      examples=["Time"])
    parameter: str = Field(description="The column that names the parameter.", min_length=1,
                           examples=["Parameter"])
    value: str = Field(description="The column that holds the value.", min_length=1,
                       examples=["Value"])
    unit: str | None = Field(None, description="The column that holds the value's unit, if there "
                             "is one.", min_length=1, examples=["Unit"])

    @model_validator(mode="after")
    def _distinct(self) -> LongTable:
        owners: dict[str, str] = {}
        for key in ("time", "parameter", "value", "unit"):
            name = getattr(self, key)
            if name is not None and owners.setdefault(name, key) != key:
                refuse(f"the column {written(name)} is the {owners[name]} already",
                       "give each its own column", key)
        return self


class Signature(Sheet):
    """Columns that identify a family of exports, because each of its files has them."""

    header: Names = Field(
        description="Columns that the header of every export of the family holds.",
        examples=[["UTC", "HP", "VC"]], json_schema_extra={"minItems": 1})

    @model_validator(mode="after")
    def _filled(self) -> Signature:
        if not self.header:
            refuse("the header names no column", 'write a list such as ["UTC", "HP", "VC"]',
                   "header")
        return self

    def matches(self, names: Sequence[str]) -> bool:
        """Whether a log whose columns are called `names` is one of the family."""
        return {name.strip() for name in self.header} <= {name.strip() for name in names}

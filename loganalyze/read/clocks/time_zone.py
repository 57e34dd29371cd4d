"""The time zone that the names of a clock's columns state, where its cells don't."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.columns.recognition import Column

_ZONE = re.compile(r"(?:UTC|GMT)\s*([+-])\s*(\d{1,2})(?::?(\d\d))?(?!\d)", re.IGNORECASE)
_LOCAL = re.compile(r"(?<![a-z])(local|lt|lmt)(?![a-z])", re.IGNORECASE)


def as_named(form: Form, parts: Mapping[str, Column]) -> tuple[Form, list[str]]:
    """Return a dated form with the zone that its columns' names state, and what was done.

    `parts` : the clock's columns, by `sheets.columns.CLOCK_PARTS`. Local times without an offset
    are given no UTC.
    """
    for part in ("time", "hour", "date"):
        name = parts[part].name if part in parts else ""
        offset = _ZONE.search(name)
        if offset:
            hours = int(offset[2]) + int(offset[3] or 0) / 60
            sign, way = (-1, "behind") if offset[1] == "-" else (1, "ahead of")
            return replace(form, epoch_s=form.epoch_s - 3600 * sign * hours, inferred=""), [
                f'The times of "{name}" were taken as {hours:g} h {way} UTC, as its name says.']
        if _LOCAL.search(name):
            return replace(form, dated=False, inferred=f'The times of "{name}" are local, and '
                           "nothing states their offset from UTC: no UTC is given. State "
                           "utc_offset_s under [clock] in a columns file."), []
    return form, []


def no_zone(*columns: Column) -> str:
    """Return the sentence of times without a zone, or nothing where a column's name has one."""
    if any(word in column.name.casefold() for column in columns
           for word in ("utc", "gmt", "zulu")):
        return ""
    names = " and ".join(f'"{column.name}"' for column in columns)
    return f"The times of {names} state no zone: they were taken as UTC."

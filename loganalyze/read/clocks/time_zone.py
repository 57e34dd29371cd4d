"""The time zone that the names of a clock's columns state, where its cells don't."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding

_ZONE = re.compile(r"(?:UTC|GMT)\s*([+-])\s*(\d{1,2})(?::?(\d\d))?(?!\d)", re.IGNORECASE)
_LOCAL = re.compile(r"(?<![a-z])(local|lt|lmt)(?![a-z])", re.IGNORECASE)


def as_named(form: Form, parts: Mapping[str, LogColumn]) -> tuple[Form, list[Finding]]:
    """Return a dated form with the zone that its columns' names state, and what was done.

    `parts` : the clock's columns, by `sheets.columns.CLOCK_PARTS`. Local times without an offset
    are given no UTC.
    """
    for part in ("time", "hour", "date"):
        name = parts[part].name if part in parts else ""
        offset = _ZONE.search(name)
        if offset:
            hours = int(offset[2]) + int(offset[3] or 0) / 60
            ahead = -hours if offset[1] == "-" else hours
            return replace(form, epoch_s=form.epoch_s - 3600 * ahead, inferred=None), [
                Finding("zone_in_name", {"column": name, "ahead_h": ahead})]
        if _LOCAL.search(name):
            return replace(form, dated=False,
                           inferred=Finding("local_times", {"column": name})), []
    return form, []


def no_zone(*columns: LogColumn) -> Finding | None:
    """Return the finding of times without a zone, or None where a column's name has one."""
    if any(word in column.name.casefold() for column in columns
           for word in ("utc", "gmt", "zulu")):
        return None
    return Finding("zone_not_stated", {"columns": [column.name for column in columns]})

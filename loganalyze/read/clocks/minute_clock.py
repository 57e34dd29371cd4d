"""Times of two numbers such as 10:04: hours and minutes, or minutes and seconds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clocks.rollover import RolloverCounter
from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.clocks.time_columns import MASS, Arrays, Part
from loganalyze.read.clocks.timestamps import BadStampError
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding

Floats = NDArray[np.float64]

LEAST_IN_A_MINUTE = 30
"""Rows that share a stamp such as 10:04, from which on it can only be hours and minutes: as
minutes and seconds they would be sampled at 30 Hz or more."""
MOST_ALONE = 1.5
"""Rows that share a stamp, up to which it can only be minutes and seconds: as hours and minutes
they would be sampled once a minute or less (common practice, no source)."""
HOUR = 3600.0

_TWO = re.compile(r"(\d{1,4}):([0-5]\d)([.,]\d+)?")
_CELL = r"^\s*(?P<minutes>\d{1,4}):(?P<seconds>[0-5]\d(?:[.,]\d{1,9})?)\s*$"


def minutes_and_seconds(cells: Sequence[str], column: LogColumn, stated: str | None,
                        where: str) -> tuple[Form, Finding | None] | None:
    """Return the clock of minutes and seconds that `cells` of two numbers are, and how it is known.

    None where they are something else, or hours and minutes. `stated` is the form that the
    columns file states. Raises Problem where they may be either.
    """
    cells = [cell.strip() for cell in cells if cell.strip()]
    found = [match for cell in cells if (match := _TWO.fullmatch(cell))]
    if not found or len(found) < MASS * len(cells) or stated == "time of day":
        return None
    named = re.sub(r"[^a-z]", "", f"{column.name} {column.recorded_unit}".casefold())
    if "hhmm" in named:
        return None
    fractions = sum(match[3] is not None for match in found) >= MASS * len(found)
    # Two cells, so that a damaged one shows nothing.
    beyond = sum(int(match[1]) > 24 for match in found) > max(1, 0.02 * len(found))
    distinct = len({match[0] for match in found})
    name = column.name
    found_by: Finding | None = None
    values = {"column": name, "cell": found[-1][0]}
    if stated == "elapsed" or "mmss" in named:
        pass
    elif fractions or beyond:
        found_by = Finding("only_minutes_and_seconds", values)
    elif len(found) >= LEAST_IN_A_MINUTE * distinct:
        return None
    elif distinct > 1 and len(found) <= MOST_ALONE * distinct:
        found_by = Finding("minutes_and_seconds", values)
    else:
        raise Problem(f'nothing tells whether "{found[0][0]}" in the time column "{name}" '
                      "is hours and minutes, or minutes and seconds", where,
                      'export HH:MM:SS or elapsed seconds, or say under [clock] in a columns file '
                      'form = "time of day" if it is hours and minutes, form = "elapsed" if it is '
                      "minutes and seconds")
    part = _part("time")
    return Form(1.0, "minutes and seconds", parts=(column,), counter_clock=HourClock,
                join=lambda arrays: part(arrays)[:, None]), found_by


@dataclass
class HourClock:
    """Minutes and seconds, of the hour or elapsed: they may start again at an hour's end."""

    base_s: float = field(default=0.0, init=False)
    _rollover: RolloverCounter = field(default_factory=lambda: RolloverCounter(HOUR), init=False)

    def run(self, counters: Floats) -> Floats:
        """Return seconds from the start of the first hour."""
        return self._rollover.join(counters[:, 0])


def _part(channel: str) -> Part:
    """Make seconds of a column of minutes and seconds; raises BadStampError for other text."""
    def part(arrays: Arrays) -> Floats:
        array = arrays[channel]
        cells = array if pa.types.is_string(array.type) else array.cast(pa.string())
        found = pc.extract_regex(cells, _CELL)
        # By bytes, since a damaged cell may be no valid UTF-8.
        blank = np.asarray(pc.fill_null(pc.equal(pc.ascii_trim_whitespace(cells), ""), True))
        bad = np.flatnonzero(np.asarray(pc.is_null(found)) & ~blank)
        if len(bad):
            cell = cells.slice(int(bad[0]), 1).cast(pa.binary())[0].as_py()
            raise BadStampError(int(bad[0]), cell.decode("latin-1"), channel)
        minutes, seconds = (pc.struct_field(found, name) for name in ("minutes", "seconds"))
        points = pc.replace_substring(seconds, ",", ".")
        return np.asarray(60 * _numbers(minutes) + _numbers(points))
    return part


def _numbers(array: pa.Array) -> Floats:
    values: Floats = array.cast(pa.float64()).to_numpy(zero_copy_only=False)
    return values

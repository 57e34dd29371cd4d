"""What the numbers of a time of day mean: seconds, HHMMSS, or a spreadsheet's part of a day."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clocks import calendar_dates
from loganalyze.read.clocks.time_columns import MASS
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding

Floats = NDArray[np.float64]

SERIAL_FROM, SERIAL_TO = 32874.0, 58441.0
"""Serial dates of 1990 to 2059 in the 1900 system."""
LONGEST_STEP_DAYS = 0.0101
"""No clock of elapsed seconds ticks faster than a hundredth, so a smaller step is one of days."""

_DIGITS_WORD = re.compile(r"hh:?mm:?ss(\.?s*)?", re.IGNORECASE)
_WALL = re.compile(r"utc|gmt|zulu|time of day|tod\b|sod\b", re.IGNORECASE)


@dataclass(frozen=True)
class Decoding:
    """What makes seconds of the day of a column's numbers, in words, and what was inferred."""

    seconds: Callable[[Floats], Floats]
    words: str
    found: Finding | None = None


def looks_serial(values: Floats, column: LogColumn, whole: bool = False) -> bool:
    """Whether numbers can only be a spreadsheet's serial dates; `whole` for dates without times."""
    if column.unit is not None or column.recorded_unit:
        return False
    inside = ((values >= SERIAL_FROM) & (values < SERIAL_TO)).mean() >= MASS
    return bool(inside) and (whole or _step(values) < LONGEST_STEP_DAYS)


def decoding(values: Floats, column: LogColumn, stated: str | None, dated: bool,
             where: str) -> Decoding | None:
    """Tell whether the first `values` of a time column are times of day, and how written.

    Returns None where they aren't. `stated` is the form that the columns file states, `dated`
    whether the day stands in another column. Raises Problem where they may be HHMMSS as well as
    seconds.
    """
    unit = column.unit
    if stated == "hhmmss" or _DIGITS_WORD.fullmatch(column.recorded_unit):
        return Decoding(calendar_dates.seconds_of_digits, "time of day as HHMMSS")
    wanted = stated in ("time of day", "day of year", "day first", "month first")
    if unit is not None:
        factor = unit.factor
        named = bool(_WALL.search(column.name)) and dated
        if wanted or named:
            return Decoding(lambda given: given * factor, f"{unit.name} of the day")
        return None
    if column.recorded_unit or stated in ("elapsed", "epoch", "iso"):
        return None
    parts = ((values >= 0) & (values < 1)).mean() >= MASS
    walled = wanted or bool(_WALL.search(column.name))
    if parts and 0 < _step(values) < LONGEST_STEP_DAYS and (dated or walled):
        return Decoding(
            lambda given: given * calendar_dates.DAY,
            "time of day as a part of the day",
            Finding("part_of_day", {"column": column.name}),
        )
    digits = _digits(values)
    if digits == "sure":
        return Decoding(calendar_dates.seconds_of_digits, "time of day as HHMMSS",
                        Finding("hhmmss_passes_minute", {"column": column.name}))
    if not walled:
        return None
    within = ((values >= 0) & (values <= calendar_dates.DAY)).mean() >= MASS
    if digits == "perhaps" and within and np.median(values) >= 100:
        raise Problem(f'the numbers of the time column "{column.name}" (such as '
                      f"{values[0]:.12g}) may be HHMMSS or seconds of the day", where,
                      'say form = "hhmmss" under [clock] in a columns file, or state its unit, '
                      f'such as time = {{ column = "{column.name}", unit = "s" }}')
    if digits == "perhaps":
        return Decoding(calendar_dates.seconds_of_digits, "time of day as HHMMSS",
                        None if within else
                        Finding("hhmmss_beyond_day", {"column": column.name}))
    if within:
        return Decoding(lambda given: given, "s of the day",
                        Finding("seconds_of_day", {"column": column.name}))
    return None


def _step(values: Floats) -> float:
    steps = np.diff(values)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 0.0


def _digits(values: Floats) -> str:
    """Tell whether numbers are HHMMSS: "sure" where one passes a minute, "perhaps", or ""."""
    seconds = calendar_dates.seconds_of_digits(values)
    good = seconds <= calendar_dates.DAY
    if good.mean() < MASS:
        return ""
    values, seconds = values[good], seconds[good]
    plain, timed = np.diff(values), np.diff(seconds)
    apart = plain - timed  # 40 a minute, 4000 an hour; else nothing but the last digits' noise.
    even, passing = timed[(np.abs(apart) < 1) & (timed > 0)], timed[apart > 1]
    # Over a minute's end the digits jump by 40 more than the time does, which runs evenly on.
    if len(even) and len(passing) and (
            np.abs(passing - np.median(even)) <= 0.5 * np.median(even)).mean() >= MASS:
        return "sure"
    return "perhaps"

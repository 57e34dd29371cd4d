"""Days, years and leap seconds of date columns and satellite weeks."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

DAY = 86400.0
WEEK = 7 * DAY
SERIAL_1900 = -25569
"""Day 0 of a spreadsheet's serial dates, in days since 1970: 1899-12-30, which holds from
1900-03-01 on (ECMA-376, part 1, 18.17.4.1)."""
SERIAL_1904 = -24107
"""The same in the 1904 system: 1904-01-01."""
SATELLITE_EPOCH = 3657
"""1980-01-06, where satellite time's week 0 began, in days since 1970 (IS-GPS-200, 3.3.4)."""
WEEKS_IN_TURN = 1024
"""Weeks after which a ten-bit week number returns to 0 (IS-GPS-200, 20.3.3.3.1.1)."""

_LEAPS = tuple(np.datetime64(day, "D").astype(np.int64) for day in (
    "1981-07-01", "1982-07-01", "1983-07-01", "1985-07-01", "1988-01-01", "1990-01-01",
    "1991-01-01", "1992-07-01", "1993-07-01", "1994-07-01", "1996-01-01", "1997-07-01",
    "1999-01-01", "2006-01-01", "2009-01-01", "2012-07-01", "2015-07-01", "2017-01-01",
))
"""Days from whose start UTC is one second further behind satellite time (IERS Bulletins C;
the last of them, no. 52 of July 2016; none was announced since)."""
LEAPS_TO = "2017-01-01"
"""The last of the leap seconds in the table."""


def leap_seconds(day: float) -> int:
    """Return satellite time less UTC [s] on `day`, in days since 1970."""
    return int(np.searchsorted(_LEAPS, day, side="right"))


def full_year(year: ArrayLike) -> Floats:
    """Return years with their century: 0 to 69 are of 2000, 70 to 99 of 1900."""
    years = np.asarray(year, dtype=np.float64)
    short = (years >= 0) & (years < 100)
    return np.where(short, years + np.where(years < 70, 2000, 1900), years)


def days_of(year: ArrayLike, month: ArrayLike, day: ArrayLike) -> Floats:
    """Return days since 1970 of civil dates; NaN where one isn't on the calendar."""
    years, months, days = np.broadcast_arrays(
        *(np.asarray(part, dtype=np.float64) for part in (year, month, day)))
    with np.errstate(invalid="ignore"):
        good = ((years >= 1) & (years < 9999) & (months >= 1) & (months <= 12)
                & (days >= 1) & (days <= 31))
        good &= (years % 1 == 0) & (months % 1 == 0) & (days % 1 == 0)
    result = np.full(good.shape, np.nan)
    count = ((years[good] - 1970) * 12 + months[good] - 1).astype(np.int64)
    first = count.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    after = (count + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    found = first + days[good] - 1
    result[good] = np.where(found < after, found, np.nan)
    return result


def days_of_ordinal(year: ArrayLike, day_of_year: ArrayLike) -> Floats:
    """Return days since 1970 of the days of years, counted from 1; NaN where there is none."""
    ordinal = np.asarray(day_of_year, dtype=np.float64)
    first = days_of(year, 1, 1)
    length = days_of(np.asarray(year, dtype=np.float64) + 1, 1, 1) - first
    with np.errstate(invalid="ignore"):
        good = (ordinal >= 1) & (ordinal <= length) & (ordinal % 1 == 0)
    return np.where(good, first + ordinal - 1, np.nan)


def day_of_digits(value: ArrayLike) -> Floats:
    """Return days since 1970 of numbers written YYYYMMDD, from 1900 on; NaN for any other."""
    number = np.asarray(value, dtype=np.float64)
    number = np.where(number >= 19000101, number, np.nan)
    return days_of(number // 10000, number // 100 % 100, number % 100)


def seconds_of_digits(value: ArrayLike) -> Floats:
    """Return seconds of the day of numbers written HHMMSS.ss; NaN where one is no time."""
    number = np.asarray(value, dtype=np.float64)
    hours, minutes, seconds = number // 10000, number // 100 % 100, number % 100
    with np.errstate(invalid="ignore"):
        good = (hours >= 0) & (hours <= 24) & (minutes < 60) & (seconds < 61)
    return np.where(good, hours * 3600 + minutes * 60 + seconds, np.nan)


def spelled(days: float) -> str:
    """Return a day since 1970 as YYYY-MM-DD."""
    return str(np.datetime64(int(days), "D"))


def full_week(week: float, year: int | None) -> float:
    """Return a ten-bit week with its turns in a year, NaN where none is stated or none fits."""
    for turns in range(4) if year is not None else ():
        full = week + turns * WEEKS_IN_TURN
        start = np.datetime64(int(SATELLITE_EPOCH + full * 7), "D")
        if year in {int(str(day)[:4]) for day in (start, start + 6)}:
            return full
    return float("nan")

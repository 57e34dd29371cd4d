"""The parts of a clock that several columns make: a column's cells to numbers, seconds or days."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.cells.arrow_arrays import words
from loganalyze.read.cells.cell_text import shapes
from loganalyze.read.clocks import calendar_dates
from loganalyze.read.clocks.time_codes import MISSING, ticks_of
from loganalyze.read.clocks.timestamps import YEAR_FIRST, BadStampError, parse_stamps

Floats = NDArray[np.float64]
Arrays = Mapping[str, pa.Array]
Part = Callable[[Arrays], Floats]
"""Makes float64[n] of the arrays of a clock's columns, by channel; NaN where blank."""

_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([+-])(\d{1,2}):?(\d\d)?(?::?(\d\d))?")
NS = 1e-9
_DAY_NS = 86400 * 10**9


def numbers_of(array: pa.Array, channel: str = "") -> Floats:
    """Return an array's numbers, NaN where there is none; raises BadStampError for other text."""
    if pa.types.is_string(array.type):
        try:
            array = array.cast(pa.float64())
        except pa.ArrowInvalid:
            # Blank, padded or worse: cell by cell.
            return np.array([_cell(row, cell, channel)
                             for row, cell in enumerate(words(array))], dtype=np.float64)
    ticks = ticks_of(array)
    if ticks.dtype == np.float64:
        return ticks.astype(np.float64, copy=False)
    values = ticks.astype(np.float64)
    values[ticks == MISSING] = np.nan
    return values


def _cell(row: int, cell: str | None, channel: str) -> float:
    if cell is None or not cell.strip():
        return np.nan
    value = as_number(cell)
    if value is None:
        raise BadStampError(row, cell, channel)
    return value


def as_number(cell: str) -> float | None:
    """Return the number that a cell holds, with a decimal point or comma, or None."""
    try:
        value = float(cell.strip().replace(",", "."))
    except ValueError:
        return None
    return value if np.isfinite(value) else None


@lru_cache(maxsize=1024)
def _may_be_number(shape_of_cell: str) -> bool:
    """Whether a cell of this shape may be a number: if not, none of it is, whatever its digits."""
    try:
        float(shape_of_cell.strip().replace(",", "."))
    except ValueError:
        return False
    return True


MASS = 0.67
"""Share of cells of one form from which a column has that form, despite damaged cells."""


def as_numbers(cells: Sequence[str]) -> Floats | None:
    """Return the numbers among sampled cells; None where too few of those not blank hold one."""
    values = [as_number(cell) if _may_be_number(alike) else None
              for cell, alike in zip(cells, shapes(tuple(cells)), strict=True) if alike]
    known = [value for value in values if value is not None]
    return np.array(known) if known and len(known) >= MASS * len(values) else None


def typical(cells: Sequence[str]) -> str:
    """Return the first cell that is written as most of them are; nothing where all are blank."""
    written = shapes(tuple(cells))
    count = Counter(alike for alike in written if alike)
    return cells[written.index(count.most_common(1)[0][0])] if count else ""


def checked(decoded: Floats, given: Floats, channel: str) -> Floats:
    """Return `decoded`; raises BadStampError where a number that was there gave nothing."""
    lost = np.flatnonzero(np.isnan(decoded) & ~np.isnan(given))
    if len(lost):
        raise BadStampError(int(lost[0]), f"{given[lost[0]]:.12g}", channel)
    return decoded


def number(channel: str) -> Part:
    """Make a part of a column's numbers as they stand."""
    return lambda arrays: numbers_of(arrays[channel], channel)


def decoded(channel: str, decode: Callable[[Floats], Floats]) -> Part:
    """Make a part of a column's numbers, each written so that `decode` tells what it means."""
    def part(arrays: Arrays) -> Floats:
        given = numbers_of(arrays[channel], channel)
        return checked(decode(given), given, channel)
    return part


def stamped(channel: str, order: str = YEAR_FIRST) -> Callable[[pa.Array], NDArray[np.int64]]:
    """Return what makes int64[n] nanoseconds of a column of stamps, text or timestamps."""
    def stamps(array: pa.Array) -> NDArray[np.int64]:
        if not pa.types.is_string(array.type):
            return ticks_of(array).astype(np.int64, copy=False)
        try:
            return parse_stamps(array, order)
        except BadStampError as bad:
            raise BadStampError(bad.row, bad.cell, channel) from None
    return stamps


def seconds_written(channel: str, order: str = YEAR_FIRST) -> Part:
    """Make seconds of the day of a column of times of day, or of stamps."""
    parse = stamped(channel, order)

    def part(arrays: Arrays) -> Floats:
        stamps = parse(arrays[channel])
        return _known((stamps % _DAY_NS).astype(np.float64) * NS, stamps)
    return part


def days_written(channel: str, order: str) -> Part:
    """Make days since 1970 of a column of dates, or of stamps."""
    parse = stamped(channel, order)

    def part(arrays: Arrays) -> Floats:
        stamps = parse(arrays[channel])
        return _known((stamps // _DAY_NS).astype(np.float64), stamps)
    return part


def _known(values: Floats, stamps: NDArray[np.int64]) -> Floats:
    return np.where(stamps == MISSING, np.nan, values)


def date_of_parts(year: str, month: str, day: str) -> Part:
    """Make days since 1970 of columns of years, months and days."""
    def part(arrays: Arrays) -> Floats:
        years, months, days = (numbers_of(arrays[name], name) for name in (year, month, day))
        blank = np.isnan(years) | np.isnan(months) | np.isnan(days)
        found = calendar_dates.days_of(calendar_dates.full_year(years), months, days)
        return checked(found, np.where(blank, np.nan, days), day)
    return part


def ordinal_of_parts(year: str, day_of_year: str) -> Part:
    """Make days since 1970 of columns of years and days of the year."""
    def part(arrays: Arrays) -> Floats:
        years, days = numbers_of(arrays[year], year), numbers_of(arrays[day_of_year], day_of_year)
        found = calendar_dates.days_of_ordinal(calendar_dates.full_year(years), days)
        return checked(found, np.where(np.isnan(years), np.nan, days), day_of_year)
    return part


def month_and_day(month: str, day: str) -> Part:
    """Make one number, 100 months and days, of columns of months and days."""
    def part(arrays: Arrays) -> Floats:
        return 100 * numbers_of(arrays[month], month) + numbers_of(arrays[day], day)
    return part


def offset_of(cell: str) -> float | None:
    """Return what a clock shows less UTC [s], of text such as +01:30, -0500 or Z; else None."""
    if cell.strip().upper() in ("Z", "UTC", "GMT"):
        return 0.0
    match = _OFFSET.fullmatch(cell.strip())
    if match is None:
        return None
    sign, hours, minutes, seconds = match.groups()
    size = int(hours) * 3600 + int(minutes or 0) * 60 + int(seconds or 0)
    return float(-size if sign == "-" else size)


def offset_written(channel: str) -> Part:
    """Make offsets from UTC [s] of a column of text."""
    def part(arrays: Arrays) -> Floats:
        array = arrays[channel]
        if not pa.types.is_string(array.type):  # -0530, read as a number
            given = numbers_of(array, channel)
            size = np.abs(given)
            return np.asarray(np.sign(given) * (size // 100 * 3600 + size % 100 * 60))
        coded = array.dictionary_encode()
        table = []
        for word in words(coded.dictionary):
            value = offset_of(word) if word and word.strip() else np.nan
            if value is None:
                raise BadStampError(0, word or "", channel)
            table.append(value)
        codes = coded.indices.fill_null(len(table)).to_numpy(zero_copy_only=False)
        return np.asarray(np.array([*table, np.nan])[codes])
    return part


def stacked(parts: Sequence[Part]) -> Callable[[Arrays], Floats]:
    """Return what makes float64[n, k] of the parts, the counters of a counter clock."""
    return lambda arrays: np.column_stack([part(arrays) for part in parts])


def seconds_of_hands(hands: list[Part]) -> Part:
    """Return seconds of the day of separate hands, good enough to see midnight by."""
    scales = (1.0, 60.0, 3600.0) if len(hands) == 3 else (1.0, 3600.0)
    return lambda arrays: np.asarray(sum(
        scale * hand(arrays) for scale, hand in zip(scales, hands, strict=True)))

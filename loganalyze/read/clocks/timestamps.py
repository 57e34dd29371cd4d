"""Text stamps (dates and times of day) to nanoseconds, a whole column at a time."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import shape
from loganalyze.read.clocks.calendar_dates import days_of, days_of_ordinal, full_year
from loganalyze.read.clocks.time_codes import MISSING, Form
from loganalyze.record.findings import Finding

_TIME = (r"(?P<H>\d{1,2}):(?P<M>\d\d)(:(?P<S>\d\d)([.,](?P<f>\d{1,9}))?)?"
         r"(\s*(?P<half>[AaPp])\.?[Mm]\.?)?")
_BASIC = r"(?P<H>\d\d)(?P<M>\d\d)(?P<S>\d\d)([.,](?P<f>\d{1,9}))?"
_ZONE = r"(\s*(?P<zone>Z|UTC|GMT|(?P<sign>[+-])(?P<zh>\d\d)(:?(?P<zm>\d\d))?))?"
_AFTER = rf"(([T ]|,\s?)\s*{_TIME}{_ZONE})?"
_YEAR, _TWO, _WORD = r"(?P<Y>\d{4})", r"(?P<Y>\d{4}|\d\d)", r"(?P<b>[A-Za-z]{3,9})\.?"

YEAR_FIRST, DAY_FIRST, MONTH_FIRST = "year first", "day first", "month first"
_ANY_ORDER = (
    rf"{_YEAR}[-/.](?P<m>\d\d?)[-/.](?P<d>\d\d?){_AFTER}",
    rf"{_YEAR}(?P<m>\d\d)(?P<d>\d\d)(T{_BASIC}{_ZONE})?",
    rf"{_YEAR}(?P<m>\d\d)(?P<d>\d\d)[T ]{_TIME}{_ZONE}",
    rf"{_YEAR}-(?P<j>\d{{3}}){_AFTER}",
    rf"{_YEAR}(?P<j>\d{{3}})(T{_BASIC}{_ZONE})?",
    rf"{_YEAR}[:/](?P<j>\d{{3}})[:T/ ]{_TIME}{_ZONE}",
    rf"(?P<d>\d\d?)[-/ .]?{_WORD}[-/ .,]*{_TWO}{_AFTER}",
    rf"{_WORD}\s+(?P<d>\d\d?),?\s+{_YEAR}{_AFTER}",
    rf"{_TIME}{_ZONE}",
    rf"(?P<j>\d{{3}})[:T/ ]{_TIME}{_ZONE}",
)
MOST_HOURS = 99
"""Elapsed time may run on beyond 24 hours; no flight takes a hundred."""
_BY_ORDER = {
    YEAR_FIRST: (),
    DAY_FIRST: (rf"(?P<d>\d\d?)[-/.](?P<m>\d\d?)[-/.]{_TWO}{_AFTER}",),
    MONTH_FIRST: (rf"(?P<m>\d\d?)[-/.](?P<d>\d\d?)[-/.]{_TWO}{_AFTER}",),
}
_MONTHS = {name: i for i, name in enumerate(
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"], 1)}
_WHOLE = ("january", "february", "march", "april", "may", "june", "july", "august", "september",
          "october", "november", "december")
_MOST_LAYOUTS = 48
"""A column written in more ways than this isn't a clock."""
_DIGITS = bytes.maketrans(b"123456789", b"000000000")


@cache
def _layouts(order: str) -> tuple[re.Pattern[str], ...]:
    return tuple(re.compile(text) for text in (*_ANY_ORDER, *_BY_ORDER[order]))


class BadStampError(Exception):
    """A cell that is no stamp; ``row`` counts from the array's start.

    ``channel`` : the part of the clock that it belongs to, where several columns make it.
    """

    def __init__(self, row: int, cell: str, channel: str = "") -> None:
        self.row = row
        self.cell = cell
        self.channel = channel
        super().__init__(cell)


def form_of_cells(cells: Sequence[str], name: str, where: str) -> Form:
    """Tell how a column of text stamps counts, from its first cells.

    Raises Problem for text that is no stamp.
    """
    for cell in cells:
        found = written(cell)
        if found is None:
            raise Problem(f'"{cell}" in the time column "{name}" isn\'t a time that is known',
                          where,
                          "export ISO 8601 stamps, times of day as HH:MM:SS, or elapsed seconds")
        if not found.time:
            break
        if not found.date:
            return Form(1e9, "time of day", daily=True, textual=True)
        stated = found.zone or re.search("utc|gmt|zulu", name, re.IGNORECASE)
        return Form(1e9, "ISO stamps", dated=True, textual=True, inferred=None if stated else
                    Finding("zone_not_stated", {"columns": [name]}))
    raise Problem(f'the time column "{name}" holds no time of day', where,
                  "name the column that holds it as time in a columns file")


@dataclass(frozen=True)
class Written:
    """What a stamp states: a ``date``, a ``day_of_year`` without a year, a ``time``, a ``zone``.

    ``order`` : in which orders of day, month and year it can be read (all three where it
    doesn't matter).
    """

    date: bool
    day_of_year: bool
    time: bool
    zone: bool
    order: frozenset[str]


def written(cell: str) -> Written | None:
    """Return what a stamp states, or None for text that is no stamp."""
    return _written(shape(cell.strip()))


@lru_cache(maxsize=1024)
def _written(cell: str) -> Written | None:
    """Return the same of a stamp's shape: the layouts ask for no digit's value."""
    layouts = {order: layout for order in _BY_ORDER if (layout := _layout(cell, order))}
    if not layouts:
        return None
    layout = next(iter(layouts.values()))
    fields = layout.groupdict()
    return Written(fields.get("Y") is not None, fields.get("Y") is None and "j" in fields,
                   fields["H"] is not None, fields["zone"] is not None, frozenset(layouts))


def parse_stamps(array: pa.Array, order: str = YEAR_FIRST) -> NDArray[np.int64]:
    """Return int64[n] nanoseconds of a string array: since 1970, or of the day without a date.

    A day of the year without the year counts from the year's start. `order` tells how dates of
    digits alone are written, other than year first. Cells that are null or blank give MISSING.
    Raises BadStampError for text that is no stamp, or no date in that order, and where stamps
    with a date stand beside some without: for the rarer kind.
    """
    validity, ends, data = array.buffers()
    count, first = len(array), array.offset
    stamps = np.full(count, MISSING, dtype=np.int64)
    if not count or data is None:
        return stamps
    edges = np.frombuffer(ends, np.int32, count + 1, first * 4).astype(np.int64)
    text = np.frombuffer(data, np.uint8)
    lengths = np.diff(edges)
    if array.null_count:
        bits = np.unpackbits(np.frombuffer(validity, np.uint8), count=first + count,
                             bitorder="little")[first:]
        lengths[bits == 0] = 0
    dated: dict[bool, list[tuple[int, int, str]]] = {True: [], False: []}
    one_width = lengths[0] > 0 and bool((lengths == lengths[0]).all())
    for length in lengths[:1] if one_width else np.unique(lengths[lengths > 0]):
        rows = np.arange(count) if one_width else np.flatnonzero(lengths == length)
        if one_width and edges[-1] - edges[0] == count * length:
            matrix = text[edges[0] : edges[-1]].reshape(count, length)
        else:
            matrix = text[edges[rows][:, None] + np.arange(length)]
        # A row a place in the cell: each is looked at alone, and lies in one piece.
        for layout, alike, cell in _parse_width(np.ascontiguousarray(matrix.T), rows, stamps,
                                                order):
            dated[layout.groupdict().get("Y") is not None].append(
                (int(alike[0]), len(alike), cell))
    if dated[True] and dated[False]:
        rarer = min(dated.values(), key=lambda kind: sum(count for _, count, _ in kind))
        raise BadStampError(min(rarer)[0], min(rarer)[2])
    return stamps


def _parse_width(places: NDArray[np.uint8], rows: NDArray[np.intp],
                 stamps: NDArray[np.int64], order: str
                 ) -> Iterator[tuple[re.Match[str], NDArray[np.intp], str]]:
    """Parse cells of one width: all those written as the first one, then what is left.

    `places` : uint8[width, n], the cells' characters. Yields each layout, its rows, and the first
    of its cells.
    """
    for _ in range(_MOST_LAYOUTS):
        cell = places[:, 0].tobytes()
        layout = _layout(cell.decode("latin-1").strip(), order)
        lead = len(cell) - len(cell.lstrip())
        if layout is None:
            raise BadStampError(int(rows[0]), cell.decode("latin-1"))
        alike = np.ones(len(rows), dtype=bool)
        for codes, code in zip(places, cell.translate(_DIGITS), strict=True):
            alike &= (codes - 48 < 10) if code == 48 else (codes == code)
        whole = bool(alike.all())
        chosen = places if whole else places[:, alike]
        these = rows if whole else rows[alike]
        stamps[these] = _nanoseconds(chosen, layout, lead, these)
        yield layout, these, cell.decode("latin-1")
        if whole:
            return
        places, rows = places[:, ~alike], rows[~alike]
    raise BadStampError(int(rows[0]), places[:, 0].tobytes().decode("latin-1"))


def _nanoseconds(places: NDArray[np.uint8], layout: re.Match[str], lead: int,
                 rows: NDArray[np.intp]) -> NDArray[np.int64]:
    """Return int64[n] nanoseconds of cells of one layout, or int64[1] where all are the same."""
    fields = layout.groupdict()

    def number(name: str, least: int, most: int) -> NDArray[np.int64]:
        value = np.zeros(1, dtype=np.int64)
        if fields.get(name) is None:
            return value
        start, stop = layout.span(name)
        digits = places[lead + start : lead + stop]
        if (digits == digits[:, :1]).all():  # Dates and hours hardly change: one cell says all.
            digits = digits[:, :1]
        for codes in digits:
            value = value * 10 + (codes - np.uint8(48))
        wrong = (value < least) | (value > most)
        if wrong.any():
            raise _bad_stamp(wrong, places, rows)
        return value

    hours = number("H", 0, 24 if {"Y", "j"} & fields.keys() or fields["zone"] else MOST_HOURS)
    if fields.get("half"):
        hours = number("H", 1, 12) % 12 + (12 if fields["half"] in "Pp" else 0)
    seconds = (hours * 60 + number("M", 0, 59)) * 60 + number("S", 0, 60)
    if fields.get("sign"):
        offset = (number("zh", 0, 14) * 60 + number("zm", 0, 59)) * 60
        seconds = seconds - offset if fields["sign"] == "+" else seconds + offset
    if fields.get("Y") or fields.get("j"):
        seconds = seconds + _day(fields, number, places, rows) * 86400
    stamps = seconds * 1_000_000_000
    if fields.get("f"):
        stamps = stamps + number("f", 0, 10**9) * 10 ** (9 - len(fields["f"]))
    return stamps


def _bad_stamp(wrong: NDArray[np.bool_], places: NDArray[np.uint8],
               rows: NDArray[np.intp]) -> BadStampError:
    """Return the error of the first cell that is `wrong`: bool[n], or [1] for all alike."""
    bad = int(wrong.argmax())
    return BadStampError(int(rows[bad]), places[:, bad].tobytes().decode("latin-1"))


def _day(fields: dict[str, str | None], number: Callable[[str, int, int], NDArray[np.int64]],
         places: NDArray[np.uint8], rows: NDArray[np.intp]) -> NDArray[np.int64]:
    """Return days since 1970, or since the year's start where no year is stated."""
    if not fields.get("Y"):
        return number("j", 1, 366) - 1
    year = full_year(number("Y", 0, 2250))
    if fields.get("j"):
        days = days_of_ordinal(year, number("j", 1, 366))
    else:
        month = fields.get("b")
        days = days_of(year, _MONTHS[month[:3].casefold()] if month else number("m", 1, 12),
                       number("d", 1, 31))
    if np.isnan(days).any():
        raise _bad_stamp(np.isnan(days), places, rows)
    return days.astype(np.int64)


def _layout(cell: str, order: str = YEAR_FIRST) -> re.Match[str] | None:
    match = next((match for layout in _layouts(order) if (match := layout.fullmatch(cell))), None)
    if match is not None:
        month = match.groupdict().get("b")
        if month and not any(month.casefold() in (name, whole) or (
                len(month) > 3 and whole.startswith(month.casefold()))
                for name, whole in zip(_MONTHS, _WHOLE, strict=True)):
            return None
    return match

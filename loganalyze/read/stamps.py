"""Text stamps (dates and times of day) to nanoseconds, a whole column at a time."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clock import MISSING, Form

_TIME = r"(?P<H>\d{1,2}):(?P<M>\d\d)(:(?P<S>\d\d)([.,](?P<f>\d{1,9}))?)?"
_BASIC = r"(?P<H>\d\d)(?P<M>\d\d)(?P<S>\d\d)([.,](?P<f>\d{1,9}))?"
_ZONE = r"(\s*(Z|UTC|GMT|(?P<sign>[+-])(?P<zh>\d\d)(:?(?P<zm>\d\d))?))?"
_LAYOUTS = tuple(re.compile(text) for text in (
    rf"(?P<Y>\d{{4}})[-/.](?P<m>\d\d?)[-/.](?P<d>\d\d?)([T ]\s*{_TIME}{_ZONE})?",
    rf"(?P<Y>\d{{4}})(?P<m>\d\d)(?P<d>\d\d)T{_BASIC}{_ZONE}",
    rf"(?P<Y>\d{{4}})(?P<m>\d\d)(?P<d>\d\d)[T ]{_TIME}{_ZONE}",
    rf"{_TIME}{_ZONE}",
))
_MOST_LAYOUTS = 24
"""A column written in more ways than this isn't a clock."""
_DIGITS = bytes.maketrans(b"123456789", b"000000000")


class BadStampError(Exception):
    """A cell that is no stamp; ``row`` counts from the array's start."""

    def __init__(self, row: int, cell: str) -> None:
        self.row = row
        self.cell = cell
        super().__init__(cell)


def form_of_cells(cells: Sequence[str], name: str, where: str) -> Form:
    """Tell how a column of text stamps counts, from its first cells.

    Raises Problem for text that is no stamp.
    """
    for cell in cells:
        layout = _layout(cell)
        if layout is None:
            raise Problem(f'"{cell}" in the time column "{name}" isn\'t a time that is known',
                          where,
                          "export ISO 8601 stamps, times of day as HH:MM:SS, or elapsed seconds")
        if "Y" not in layout.groupdict() or layout["Y"] is None:
            return Form(1e9, "time of day", daily=True, textual=True)
        if layout["H"] is None:
            break
        zoned = layout.end("f") if layout["f"] else layout.end("S") if layout["S"] else 0
        stated = len(cell) > zoned > 0 or re.search("utc|gmt|zulu", name, re.IGNORECASE)
        return Form(1e9, "ISO stamps", dated=True, textual=True, inferred="" if stated else
                    f'The stamps of "{name}" state no zone: they were taken as UTC.')
    raise Problem(f'the time column "{name}" holds no time of day', where,
                  "name the column that holds the time in a columns file")


def parse_stamps(array: pa.Array) -> NDArray[np.int64]:
    """Return int64[n] nanoseconds of a string array: since 1970, or of the day without a date.

    Cells that are null or blank give MISSING. Raises BadStampError for text that is no stamp.
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
    for length in np.unique(lengths[lengths > 0]):
        rows = np.flatnonzero(lengths == length)
        if len(rows) == count and edges[-1] - edges[0] == count * length:
            matrix = text[edges[0] : edges[-1]].reshape(count, length)
        else:
            matrix = text[edges[rows][:, None] + np.arange(length)]
        _parse_width(matrix, rows, stamps)
    return stamps


def _parse_width(matrix: NDArray[np.uint8], rows: NDArray[np.intp],
                 stamps: NDArray[np.int64]) -> None:
    """Parse cells of one width: all those written as the first one, then what is left."""
    for _ in range(_MOST_LAYOUTS):
        cell = matrix[0].tobytes()
        layout = _layout(cell.decode("latin-1").strip())
        lead = len(cell) - len(cell.lstrip())
        if layout is None:
            raise BadStampError(int(rows[0]), cell.decode("latin-1"))
        alike = np.ones(len(matrix), dtype=bool)
        for place, code in enumerate(cell.translate(_DIGITS)):
            column = matrix[:, place]
            alike &= (column - 48 < 10) if code == 48 else (column == code)
        whole = bool(alike.all())
        chosen = matrix if whole else matrix[alike]
        these = rows if whole else rows[alike]
        stamps[these] = _nanoseconds(chosen, layout, lead, these)
        if whole:
            return
        matrix, rows = matrix[~alike], rows[~alike]
    raise BadStampError(int(rows[0]), matrix[0].tobytes().decode("latin-1"))


def _nanoseconds(matrix: NDArray[np.uint8], layout: re.Match[str], lead: int,
                 rows: NDArray[np.intp]) -> NDArray[np.int64]:
    fields = layout.groupdict()

    def number(name: str, least: int, most: int) -> NDArray[np.int64]:
        value = np.zeros(len(matrix), dtype=np.int64)
        if fields.get(name) is None:
            return value
        for place in range(*layout.span(name)):
            value = value * 10 + (matrix[:, lead + place] - np.uint8(48))
        wrong = (value < least) | (value > most)
        if wrong.any():
            bad = int(np.flatnonzero(wrong)[0])
            raise BadStampError(int(rows[bad]), matrix[bad].tobytes().decode("latin-1"))
        return value

    seconds = (number("H", 0, 24) * 60 + number("M", 0, 59)) * 60 + number("S", 0, 60)
    if fields.get("sign"):
        offset = (number("zh", 0, 14) * 60 + number("zm", 0, 59)) * 60
        seconds -= offset if fields["sign"] == "+" else -offset
    if fields.get("Y"):
        seconds += _days(number("Y", 1700, 2250), number("m", 1, 12), number("d", 1, 31)) * 86400
    stamps = seconds * 1_000_000_000
    if fields.get("f"):
        stamps += number("f", 0, 10**9) * 10 ** (9 - len(fields["f"]))
    return stamps


def _days(year: NDArray[np.int64], month: NDArray[np.int64],
          day: NDArray[np.int64]) -> NDArray[np.int64]:
    months = (year - 1970) * 12 + month - 1
    start = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return start + day - 1


def _layout(cell: str) -> re.Match[str] | None:
    return next((match for layout in _LAYOUTS if (match := layout.fullmatch(cell))), None)

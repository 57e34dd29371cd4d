"""Dialects that were found, kept for the next file whose first lines can only be of the same one.

Finding a dialect takes as long as parsing half a flight, and a fleet's exports all begin alike. One
is taken over only where `find_dialect` would give the same, by what it asks of the lines:

- The lines up to the first row are the same bytes, read in the same encoding with the same keys of
  the columns file.
- More lines are looked at below than there are above, and every one of them is a row of plain
  cells (`_rows_like`): as many as there are names, at one delimiter; the first a stamp with its
  digits in the same places, or a number; the others numbers with a decimal point, or blank, but
  not the last. None holds a quote, a letter, another delimiter or a comma within a cell.

Such lines are rows, values throughout and of one width, whatever their digits. They outvote the
lines above, so that delimiter, header and the rows' beginning follow from these; they name nothing,
begin no comment and hold no unit. What digits do decide, whether points group thousands, is asked
of them (`refuse_points`). Where anything of this fails, the dialect is looked for.
"""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass, replace
from threading import Lock

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import Numerals, is_value
from loganalyze.read.csv.csv_dialect import Dialect, find_dialect, first_lines, line_text
from loganalyze.read.csv.number_style import refuse_points
from loganalyze.read.csv.text_grid import Grid
from loganalyze.sheets.export_options import FileHabits

MOST = 16
"""Dialects kept."""
_NUMBER = rb"-?+[0-9]++(?:\.[0-9]++)?+"
_STAMP = re.compile(r"[0-9]+[-/:][0-9:/. TZ+-]*[0-9Z]")
"""A stamp of digits, as far as its characters go. What follows its first digits is no unit."""
_DIGIT = re.compile("[0-9]")


@dataclass(frozen=True)
class _Known:
    """A dialect, and what the first lines of another file of it must be.

    ``above`` : the bytes before the first row; ``rows`` : what the lines below match together.
    """

    encoding: str
    mark: int
    said: FileHabits
    above: bytes
    rows: re.Pattern[bytes]
    dialect: Dialect

    def dialect_of(self, lines: list[bytes]) -> Dialect | None:
        """Return the dialect of a text with these first lines, None where it may be another."""
        first = self.above.count(b"\n")
        block = b"".join(lines[first:])
        if len(lines) <= 2 * first or not self.rows.fullmatch(block):
            return None
        delimiter = self.dialect.delimiter
        sample = tuple(tuple(row.split(delimiter)) for row in block.decode().splitlines())
        if not self.said.decimal:
            try:
                refuse_points(list(zip(*sample, strict=True)), delimiter, "")
            except Problem:
                return None
        return replace(self.dialect, sample=sample, row_bytes=len(block) / len(sample))


_LOCK = Lock()
_KNOWN: deque[_Known] = deque(maxlen=MOST)


def dialect_of(head: bytes, encoding: str, mark: int, where: str, said: FileHabits) -> Dialect:
    """Return what `find_dialect` does of a file's first bytes, quicker where it is a known one."""
    with _LOCK:
        alike = [known for known in _KNOWN if head.startswith(known.above, mark)
                 and (known.encoding, known.mark, known.said) == (encoding, mark, said)]
    lines = first_lines(head[mark:]) if alike else []
    for known in alike:
        dialect = known.dialect_of(lines)
        if dialect is not None:
            return dialect
    dialect = find_dialect(head, encoding, mark, where, said)
    known_now = _known(dialect, head, encoding, mark, said)
    if known_now is not None:
        with _LOCK:
            _KNOWN.append(known_now)
    return dialect


def _known(dialect: Dialect, head: bytes, encoding: str, mark: int,
           said: FileHabits) -> _Known | None:
    """Return what makes a dialect known again, None for one that other lines may share."""
    above = head[mark : dialect.start]
    lines = first_lines(head[mark:])
    first = above.count(b"\n")
    if (dialect.newline != "\n" or dialect.layout is not None or dialect.ragged
            or dialect.numerals != Numerals() or any(dialect.cell_units)
            or b"".join(lines[:first]) != above or len(lines) <= 2 * first
            or any(line.count(b'"') % 2 for line in lines[:first])):
        return None
    rows = _rows_like(lines[first], dialect)
    if rows is None or not rows.fullmatch(b"".join(lines[first:])):
        return None
    # No line above the rows is taken for one of them.
    grid = Grid([line_text(line, encoding) for line in lines], dialect.delimiter, dialect.comment,
                said.header_line)
    if grid.row_lines != list(range(first, len(lines))):
        return None
    return _Known(encoding, mark, said, above, rows, dialect)


def _rows_like(row: bytes, dialect: Dialect) -> re.Pattern[bytes] | None:
    """Return what plain rows match that begin and end as `row` does; None where it isn't plain."""
    width, delimiter = len(dialect.names), re.escape(dialect.delimiter.encode())  # two at least
    start = row.split(dialect.delimiter.encode())[0].decode("ascii", "replace")
    end = rb"\r\n" if row.endswith(b"\r\n") else rb"\n"
    begin = _NUMBER
    if not re.fullmatch(_NUMBER, start.encode()):
        if not _STAMP.fullmatch(start) or not is_value(start):
            return None
        begin = _DIGIT.sub("0", re.escape(start)).replace("0", "[0-9]").encode()
    return re.compile(rb"(?:%b(?:%b(?:%b)?+){%d}+%b%b%b)++" % (
        begin, delimiter, _NUMBER, width - 2, delimiter, _NUMBER, end))

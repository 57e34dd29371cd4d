"""Batches of a CSV export that can't be parsed as they are, repaired step by step."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from loganalyze.read.cells.cell_text import has_digit, is_value, number_and_unit
from loganalyze.read.csv.csv_dialect import DELIMITERS, MOST_BROKEN, Dialect
from loganalyze.read.csv.header_rows import is_types, is_units, recognised, strip_brackets
from loganalyze.read.csv.text_grid import is_rule, split_line, sums_up
from loganalyze.record.units import find_unit

STARTS = frozenset(bytes([code]) for code in b"0123456789+-.") | {b""}
"""Beginnings of lines that need no further check, for speed."""
LOOK_AHEAD = 5
"""Lines below a header within which its first row lies."""
MINUS = "\u2212".encode()
"""The minus sign of typography, which no parser of numbers knows."""


class LaterHeaderError(Exception):
    """A line of a batch heads another table than the first header does.

    ``index`` : the line's place in the batch; ``above`` : the header that stands above it, where
    it is a line of units alone, else empty.
    """

    def __init__(self, index: int, above: bytes = b"") -> None:
        self.index, self.above = index, above
        self.lines: list[bytes] = []
        super().__init__(index)


@dataclass(frozen=True)
class RowRepair:
    """Leaves out lines that hold no sample, and straightens ragged ones.

    A line that heads another table is never left out: LaterHeaderError says where it is.
    """

    dialect: Dialect
    encoding: str

    def attempts(self, text: bytes) -> Iterator[tuple[bytes, int]]:
        """Yield the batch as it is, then repaired more and more, with the lines left out."""
        mark = self.dialect.comment.encode()
        commented = bool(mark) and (text.startswith(mark) or b"\n" + mark in text)
        if not commented:
            yield text, 0
        if MINUS in text and self.encoding == "utf-8":
            text = text.replace(MINUS, b"-")
        delimiter = self.dialect.delimiter.encode()
        lines, places = self._joined(text.split(b"\n"))
        left = [i for i, line in enumerate(lines)
                if line[:1] not in STARTS and self.no_sample(line)]
        self._refuse_headers(lines, left, places)
        kept = _without(lines, left)
        left_out = len(left)
        if kept and kept[-1] and kept[-1].count(delimiter) < len(self.dialect.names) - 1:
            kept[-1] = b""  # A last line without its end was cut off while it was written.
            left_out += 1
        repaired = b"\n".join(kept)
        if left_out or commented:
            yield repaired, left_out
        self._refuse_headers(lines, [i for i, line in enumerate(lines)
                                     if line[:1] in STARTS and self.no_sample(line)], places)
        straight = [self._straight(line) for line in kept if not self.no_sample(line)]
        left_out += len(kept) - len(straight)
        repaired = b"\n".join(straight)
        yield repaired, left_out
        blank = b" " if delimiter == b"\t" else b"[ \t]"
        if re.search(blank, repaired):
            mark = re.escape(delimiter)
            yield re.sub(blank + b"+(?=" + mark + rb"|\r?\n|$)|(?:(?<=" + mark + rb")|(?<=\n)|^)"
                         + blank + b"+", b"", repaired), left_out

    def no_sample(self, line: bytes) -> bool:
        """Whether a line is blank, a comment, a name or a sentence, or the header come again."""
        dialect = self.dialect
        text = line.decode(self.encoding, "replace").rstrip("\r\x1a")
        if not text.strip(" \t\x0c\x00" + dialect.delimiter):
            return bool(line)
        if dialect.comment and text.lstrip().startswith(dialect.comment):
            return True
        cells = tuple(cell.strip() for cell in split_line(text, dialect.delimiter))
        if cells in dialect.heading:
            return True
        filled = [cell for cell in cells if cell]
        if not filled or is_rule(text) or (sums_up(filled[0]) and self._begin_with_values):
            return True
        values = sum(map(_is_value, filled))
        if len(cells) == len(dialect.names):
            return not values
        if len(cells) > 2 and is_value(cells[0]) and has_digit(cells[0]):
            return False
        if len(cells) == 1 and any(_are_values(split_line(text, mark)) for mark in DELIMITERS):
            return False
        if dialect.layout is not None and _are_values(text.split()):
            return False  # A row that doesn't fit the columns.
        return 2 * values <= len(filled)

    @cached_property
    def _begin_with_values(self) -> bool:
        """Whether no row begins with a word, so that one that sums up a column is none."""
        return all(is_value(row[0]) for row in self.dialect.sample)

    def _refuse_headers(self, lines: Sequence[bytes], left_out: Sequence[int],
                        places: Sequence[int]) -> None:
        """Raise LaterHeaderError for the first of some lines that heads another table.

        `places` : where the lines stand in the batch.
        """
        for i in left_out:
            cells = self._heading_cells(lines[i])
            if self._cut_short(lines[i]):
                raise LaterHeaderError(places[i])
            if len(cells) < 2 or self._known(cells, lines[i]) or any(
                    is_value(cell) and has_digit(cell) for cell in cells):
                continue
            if is_units(cells) and len(cells) == len(self.dialect.names):
                raise LaterHeaderError(places[i], self.dialect.header)
            if self._heads_rows(cells, lines[i + 1 : i + 1 + LOOK_AHEAD], self._remarks(lines[i])):
                raise LaterHeaderError(places[i])

    def _heading_cells(self, line: bytes) -> tuple[str, ...]:
        """Return the cells of a line, without a comment's mark before them and blanks behind."""
        dialect = self.dialect
        text = line.decode(self.encoding, "replace").strip("\r\x1a ")
        if dialect.comment and text.startswith(dialect.comment):
            text = text.removeprefix(dialect.comment)
        marks = sorted(DELIMITERS, key=lambda mark: mark != dialect.delimiter)
        cells = next((cells for mark in marks if len(cells := split_line(text, mark)) > 1), [])
        cells = [cell.strip() for cell in cells]
        while cells and not cells[-1] and len(cells) > len(dialect.names):
            cells.pop()
        return tuple(cells)

    def _known(self, cells: tuple[str, ...], line: bytes) -> bool:
        """Whether a line is the header itself, its units or its types."""
        units = self.dialect.units
        if len(self._split(line)) < 2:
            return False  # Its cells are those of another delimiter.
        if units is not None and is_units(cells) and len(cells) == len(units):
            return all(_same_unit(cell, other) for cell, other in zip(cells, units, strict=True))
        return cells in self.dialect.heading or is_types(cells)

    def _remarks(self, line: bytes) -> bool:
        """Whether a line is a comment where the header is none."""
        mark = self.dialect.comment.encode()
        return bool(mark) and line.lstrip().startswith(mark) and not (
            self.dialect.header.lstrip().startswith(mark))

    def _cut_short(self, line: bytes) -> bool:
        """Whether a line breaks off within names that the header holds: it may have been another.

        Of a name that is broken, three letters at least are left.
        """
        cells = [cell.strip() for cell in self._split(line)]
        names = [name for name in self.dialect.names if name]
        return (bool(cells) and len(cells) < len(self.dialect.names)
                and all(cell in names for cell in cells[:-1])
                and (cells[-1] in names or not cells[-1] or any(
                    name.startswith(cells[-1]) for name in names))
                and (len(cells) > 1 or len(cells[0]) > 2))

    def _heads_rows(self, cells: Sequence[str], below: Sequence[bytes], remark: bool) -> bool:
        """Whether a line of words heads the lines below it.

        One whose words are all unknown does where it has one for each cell of the rows: rather
        a remark too many is refused than a row read by the wrong header.
        """
        row = next((self._cells_of_any(line) for line in below if line.strip()
                    and not self._heads(line)), 0)
        names = {name.casefold() for name in self.dialect.names if name}
        named = max(recognised(cells), sum(cell.casefold() in names for cell in cells))
        if named > 1 and not remark:
            return True  # However many cells it has: one of its delimiters may be lost.
        if not row:  # Nothing below it in this batch: what follows will tell.
            return not any(line.strip() for line in below) and (
                named > 1 or len(cells) == len(self.dialect.names))
        if len(cells) != row and not (self.dialect.ragged and row <= len(cells)):
            return False
        return named > 1 or (len(cells) > 2 and all(cells) and not remark
                             and self.dialect.layout is None)

    def _heads(self, line: bytes) -> bool:
        """Whether a line below a header is one of those that head rows, too."""
        cells = [cell for cell in self._heading_cells(line) if cell]
        return is_units(cells) or is_types(cells)

    def _cells_of_any(self, line: bytes) -> int:
        """Return how many cells a row has, cut at the delimiter that gives the most; else 0."""
        text = line.decode(self.encoding, "replace").rstrip("\r")
        rows = [split_line(text, mark) for mark in DELIMITERS]
        own = split_line(text, self.dialect.delimiter)
        best = own if _are_values(own) else max(rows, key=len)
        while len(best) > len(self.dialect.names) and not best[-1].strip():
            best.pop()
        return len(best) if _are_values(best) else 0

    def _joined(self, lines: list[bytes]) -> tuple[list[bytes], Sequence[int]]:
        """Join the lines of a row in which a quoted cell holds line ends.

        Returns the lines and the place of each one's first among those given.
        """
        if not any(line.count(b'"') % 2 for line in lines):
            return lines, range(len(lines))
        joined, places, i = list[bytes](), list[int](), 0
        while i < len(lines):
            stop = self._end_of_row(lines, i) if lines[i].count(b'"') % 2 else i + 1
            joined.append(b" ".join(line.removesuffix(b"\r") for line in lines[i:stop]))
            places.append(i)
            i = stop
        return joined, places

    def _end_of_row(self, lines: Sequence[bytes], first: int) -> int:
        """Return the line after a row that begins with `first`, in which a quotation is open."""
        for stop in range(first + 2, min(first + MOST_BROKEN, len(lines)) + 1):
            if _are_values(self._split(lines[stop - 1])):
                break  # A row of its own: the quotation mark above is astray.
            if lines[stop - 1].count(b'"') % 2:
                whole = self._split(b" ".join(lines[first:stop]))
                return stop if len(whole) == len(self.dialect.names) else first + 1
        return first + 1

    def _split(self, line: bytes) -> list[str]:
        return split_line(line.decode(self.encoding, "replace"), self.dialect.delimiter)

    def _straight(self, line: bytes) -> bytes:
        """Return a line with blank cells beyond the last column taken off.

        Where the export leaves out blank cells at the end of its lines, they are added.
        """
        delimiter = self.dialect.delimiter
        end = b"\r" if line.endswith(b"\r") else b""
        text = line.removesuffix(b"\r").decode(self.encoding, "surrogateescape")
        cells = len(split_line(text, delimiter))
        width = len(self.dialect.names)
        while cells > width and text.rstrip(" ").endswith(delimiter):
            text = text.rstrip(" ").removesuffix(delimiter)
            cells -= 1
        blank = text.rstrip(" ").endswith(delimiter)
        if cells < width and self.dialect.ragged and line.strip() and not blank:
            text += delimiter * (width - cells)
        return text.encode(self.encoding, "surrogateescape") + end


def _without(lines: Sequence[bytes], places: Sequence[int]) -> list[bytes]:
    gone = set(places)
    return [line for i, line in enumerate(lines) if i not in gone] if gone else list(lines)


def _is_value(cell: str) -> bool:
    return is_value(cell) or number_and_unit(cell) is not None


def _are_values(cells: Sequence[str]) -> bool:
    """Whether cells are those of a row: it begins with a value, and most are values."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return (len(filled) > 1 and any(map(has_digit, filled))
            and 2 * sum(map(_is_value, filled)) > len(filled))


def _same_unit(unit: str, other: str) -> bool:
    unit, other = strip_brackets(unit), strip_brackets(other)
    return unit == other or (find_unit(unit) is not None and find_unit(unit) == find_unit(other))

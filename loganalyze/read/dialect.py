"""The dialect of a CSV export, found in its first few hundred lines."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

from loganalyze.problems import Problem
from loganalyze.read.cells import (
    MARKS,
    Numerals,
    has_comma,
    has_point,
    is_grouped,
    is_grouped_by_points,
    is_mixed,
    is_value,
)
from loganalyze.read.files import HEAD
from loganalyze.read.states import WORDS
from loganalyze.record.units import find_unit
from loganalyze.sheets.exports import FileHabits

LINES = 400
"""Lines looked at."""
LEAST_RAGGED = 2
"""So many short rows among the first lines, and ..."""
RAGGED_SHARE = 0.1
"""... such a share of them, make it a habit of leaving out blank cells, and not damage: a line that
lost a cell anywhere else would be read with its values in the wrong columns."""
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
NONE_SAID = FileHabits()
_DIGITS = frozenset("0123456789")
MOST_BROKEN = 20
"""Lines that one header may take, where names are broken within their quotes."""
COMMENTS = ("#", "//", "%", "*", "!")
@dataclass(frozen=True)
class Dialect:
    """How a CSV export is written.

    ``names`` and ``units`` : the header's cells and those of a units row (None where there
    is none); ``start`` : the byte of the first row; ``first_line`` : its line, from 1;
    ``sample`` : the cells of the first rows, to tell kinds of column apart; ``row_bytes`` : their
    mean length; ``ragged`` : whether blank cells at the ends of lines are left out; ``newline`` :
    what ends a line.
    """

    encoding: str
    delimiter: str
    numerals: Numerals
    comment: str
    names: tuple[str, ...]
    units: tuple[str, ...] | None
    start: int
    first_line: int
    header_line: int
    sample: tuple[tuple[str, ...], ...]
    row_bytes: float
    ragged: bool = False
    newline: str = "\n"

    def described(self) -> dict[str, str | int]:
        """Return the facts worth printing."""
        names = {mark: name for name, mark in MARKS.items()}
        grouped = {"thousands": names[self.numerals.thousands]} if self.numerals.thousands else {}
        ended = {"line_end": "carriage return"} if self.newline == "\r" else {}
        return {
            "encoding": self.encoding,
            "delimiter": DELIMITERS[self.delimiter],
            "decimal": names[self.numerals.decimal],
            **grouped,
            **ended,
            "header_line": self.header_line,
            "first_line": self.first_line,
            "units_row": self.units is not None,
        }

    def cells(self, column: int) -> list[str]:
        """Return the sampled cells of a column."""
        return [row[column] for row in self.sample if column < len(row)]


def find_encoding(head: bytes, where: str, said: str | None = None) -> tuple[str, int]:
    """Return the encoding of a text that begins with `head` and the length of its mark.

    `said` : what the columns file says it is, where the text has no mark.
    """
    for mark, name in ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"),
                       (codecs.BOM_UTF16_BE, "utf-16-be")):
        if head.startswith(mark):
            return name, len(mark)
    even, odd = head[0:4096:2].count(0), head[1:4096:2].count(0)
    half = len(head[:4096]) // 2
    if said is not None and said != "utf-16":
        return said, 0
    if half and odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le", 0
    if half and even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be", 0
    if said == "utf-16":
        return "utf-16-le", 0
    control = sum(head[:4096].count(code) for code in range(32) if code not in b"\t\n\r\f\x1a")
    if control > 0.01 * len(head[:4096]):
        raise Problem("this isn't a log but binary data", where,
                      "give the recorder's export as CSV or Parquet, not its raw memory")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "latin-1", 0
    return "utf-8", 0


def find_dialect(head: bytes, encoding: str, mark: int, where: str,
                 said: FileHabits = NONE_SAID) -> Dialect:
    """Understand the export whose text (UTF-8 or Latin-1 bytes after `mark`) begins with `head`.

    What is `said` of it in a columns file isn't questioned. Raises Problem where there is no
    header, no row, or no table at all.
    """
    text = head[mark:]
    newline = "\r" if b"\r" in text and b"\n" not in text else "\n"
    lines = _lines(text.replace(b"\r", b"\n") if newline == "\r" else text)
    texts = [_text(line, encoding) for line in lines]
    lines, texts = _mended(lines, texts, [mark for mark, name in DELIMITERS.items()
                                          if said.delimiter in (None, name)])
    if not any(text.strip() for text in texts):
        raise Problem("the file holds nothing but blank lines", where, "export the log again")
    comment = _comment(texts)
    delimiters = [mark for mark, name in DELIMITERS.items() if said.delimiter in (None, name)]
    best = max((_Table(texts, delimiter, comment, said.header_line) for delimiter in delimiters),
               key=lambda table: table.score)
    if best.first_row is None:
        raise _no_rows(best, where)
    header, units = _header(best, where, said.header_line)
    numerals = _numerals(best, where, said)
    # Whatever stands below the header is a row, so that a broken first one isn't passed over.
    first = (header if units is None else units) + 1
    names = _names(best, header, comment, where)
    rows = [i for i in range(first, len(texts)) if best.looks_like_row(i)]
    return Dialect(
        "utf-16" if encoding.startswith("utf-16") else encoding, best.delimiter, numerals, comment,
        names,
        None if units is None else tuple((best.rows[units] + [""] * len(names))[: len(names)]),
        mark + sum(len(line) for line in lines[:first]), _line_number(lines, first),
        _line_number(lines, header),
        tuple(tuple(cell.strip() for cell in best.rows[i]) for i in rows),
        sum(len(lines[i]) for i in rows) / len(rows),
        best.leaves_out_blanks(first), newline,
    )


class _Table:
    """The lines cut at one delimiter, and where the rows begin."""

    def __init__(self, texts: list[str], delimiter: str, comment: str,
                 header_line: int | None) -> None:
        self.delimiter = delimiter
        self.rows = [split_line(text, delimiter) for text in texts]
        self.comments = [bool(comment) and text.lstrip().startswith(comment) for text in texts]
        self.score = 0.0
        self.first_row: int | None = None
        self.width = 0
        valued = [i for i in range(header_line or 0, len(texts)) if self._reads_as_row(i)]
        self.valued = frozenset(valued)
        if not valued:
            return
        widths = Counter(len(self.rows[i]) for i in valued)
        self.width = max(widths, key=lambda width: (widths[width], width))
        named = max((len(self.rows[i]) for i in range(valued[0])), default=0)
        if named > self.width and widths[named] >= LEAST_RAGGED:
            self.width = named  # Most rows end early; those that don't are as wide as the header.
        good = [i for i in valued if len(self.rows[i]) == self.width]
        # Two valued rows in sequence begin the table; a lone one may be part of a preamble.
        runs = [a for a, b in pairwise(good) if b == a + 1 or all(
            self.comments[i] or not any(self.rows[i]) or i in self.valued
            for i in range(a + 1, b))]
        self.first_row = runs[0] if runs else good[0]
        self.score = len(good) + self.width / 1000

    def looks_like_row(self, i: int) -> bool:
        return i in self.valued and len(self.rows[i]) == self.width

    def leaves_out_blanks(self, first: int) -> bool:
        """Whether rows from line `first` on lack their blank last cells (the last line may)."""
        rows = [self.rows[i] for i in range(first, len(self.rows) - 1) if i in self.valued]
        short = sum(len(row) < self.width for row in rows)
        # Whoever leaves blank cells out at the end leaves none there.
        return (short >= max(LEAST_RAGGED, RAGGED_SHARE * len(rows))
                and all(row[-1].strip() for row in rows))

    def _reads_as_row(self, i: int) -> bool:
        cells = [cell.strip() for cell in self.rows[i]]
        if len(cells) < 2 or self.comments[i]:
            return False
        filled = [cell for cell in cells if cell]
        values = sum(map(is_value, filled))
        begins = is_value(cells[0]) and _has_digit(cells[0])
        if begins:  # Only behind a number or a stamp: AIR and GROUND head columns, too.
            values += sum(cell.casefold() in WORDS and not is_value(cell) for cell in filled)
        # A line of a long table (time, parameter, value, unit) is words by half.
        enough = 2 * values > len(filled) or (2 * values == len(filled) >= 4 and begins)
        return bool(filled) and enough and any(map(_has_digit, filled))


def _has_digit(cell: str) -> bool:
    return not _DIGITS.isdisjoint(cell)


def _lines(head: bytes) -> list[bytes]:
    lines = head.split(b"\n", LINES)[:LINES]
    whole = [line + b"\n" for line in lines[:-1]]
    # The last line may be cut off by the end of the head; without others it is all there is.
    return [*whole, lines[-1]] if lines[-1] and len(head) < HEAD else whole or lines


def _text(line: bytes, encoding: str) -> str:
    return line.decode("latin-1" if encoding == "latin-1" else "utf-8", "replace").rstrip("\r\n")


def _mended(lines: list[bytes], texts: list[str],
            delimiters: list[str]) -> tuple[list[bytes], list[str]]:
    """Join lines that a name broken within its quotes makes of a header; rows stay as they are."""
    if not any(text.count('"') % 2 for text in texts):
        return lines, texts
    joined, named, i = list[bytes](), list[str](), 0
    while i < len(lines):
        stop = i + 1
        if texts[i].count('"') % 2 and not any(
                is_value(texts[i].split(mark)[0]) for mark in delimiters):
            ends = range(i + 2, min(i + MOST_BROKEN, len(lines)) + 1)
            stop = next((end for end in ends
                         if sum(text.count('"') for text in texts[i:end]) % 2 == 0), stop)
        joined.append(b"".join(lines[i:stop]))
        named.append(" ".join(texts[i:stop]))
        i = stop
    return joined, named


def _line_number(lines: list[bytes], place: int) -> int:
    """Return the line of the file, from 1, at which the joined line `place` begins."""
    return 1 + sum(line.count(b"\n") for line in lines[:place])


def split_line(text: str, delimiter: str) -> list[str]:
    """Return the cells of a line, quotes taken away."""
    if '"' not in text:
        return text.split(delimiter)
    return next(csv.reader([text.replace("\r", " ")], delimiter=delimiter), [])


def _comment(texts: list[str]) -> str:
    starts = [text.lstrip() for text in texts if text.strip()]
    for mark in COMMENTS:
        marked = [text for text in starts if text.startswith(mark)]
        if marked and not all(text.startswith("*" * 3 + ",") for text in marked):
            return mark
    return ""


def _no_rows(table: _Table, where: str) -> Problem:
    filled = [row for row in table.rows if any(cell.strip() for cell in row)]
    widest = max((len(split_line(",".join(row), d)) for row in filled[-2:] for d in DELIMITERS),
                 default=1)
    if len(filled) <= 2 and widest > 1:
        return Problem("the file holds a header but no rows", where, "export the log again")
    return Problem("this isn't a log: no rows of numbers under a header in its first lines",
                   where, "give a CSV or Parquet export with a named column a channel")


def _header(table: _Table, where: str, said: int | None) -> tuple[int, int | None]:
    """Return the line of the header and that of a units row below it, from 0."""
    assert table.first_row is not None
    if said is not None:
        below = said < table.first_row and _is_units(table.rows[said])
        return said - 1, said if below else None
    candidates = [
        i for i in range(table.first_row - 1, -1, -1)
        if table.width - 1 <= len(table.rows[i]) <= table.width + 1 and not table.comments[i]
        and any(cell.strip() for cell in table.rows[i])
    ]
    if not candidates:
        candidates = [i for i in range(table.first_row - 1, -1, -1)
                      if table.comments[i] and len(table.rows[i]) == table.width]
        candidates = candidates[:1]
    if not candidates:
        raise Problem("no header names the columns", f"{where}, line {table.first_row + 1}",
                      "add a line of column names above the first row")
    nearest = candidates[0]
    if len(candidates) > 1 and candidates[1] == nearest - 1 and _is_units(table.rows[nearest]):
        return candidates[1], nearest
    return nearest, None


def _names(table: _Table, header: int, comment: str, where: str) -> tuple[str, ...]:
    """Return a name a cell of the rows; a delimiter at the line's end makes a blank one."""
    names = [cell.strip() for cell in table.rows[header]]
    if comment and names[0].startswith(comment):
        names[0] = names[0][len(comment):].strip()
    while len(names) > table.width and not names[-1]:
        names.pop()
    last = {row[-1].strip() for i, row in enumerate(table.rows) if table.looks_like_row(i)}
    if len(names) == table.width - 1 and last == {""}:
        names.append("")
    if len(names) != table.width:
        raise Problem(f"the header names {len(names)} columns, but the rows have {table.width} "
                      "cells", f"{where}, line {header + 1}", "mend the header line")
    return tuple(names)


def _is_units(row: list[str]) -> bool:
    filled = [strip_brackets(cell) for cell in row if cell.strip()]
    known = sum(find_unit(cell) is not None for cell in filled)
    return bool(filled) and 2 * known >= len(filled)


def strip_brackets(cell: str) -> str:
    """Return `cell` without the blanks and brackets around it."""
    return cell.strip().strip("[](){}<>").strip()


def _numerals(table: _Table, where: str, said: FileHabits) -> Numerals:
    """Tell how numbers are written; raises Problem where they can be read in two ways."""
    decimal = MARKS[said.decimal] if said.decimal else ""
    if said.thousands:
        return Numerals(decimal or ".", MARKS[said.thousands])
    rows = [i for i in range(len(table.rows)) if table.looks_like_row(i)]
    for i in rows:
        for cell in table.rows[i]:
            if is_mixed(cell.strip()):
                raise Problem(f'"{cell.strip()}" holds a thousands separator'
                              + (" beside a decimal mark" if {".", ","} & set(cell) else ""),
                              f"{where}, line {i + 1}",
                              "export the log without thousands separators, or state them under "
                              "[file] in a columns file")
    if decimal:
        return Numerals(decimal)
    cells = [cell.strip() for i in rows for cell in table.rows[i]]
    commas = [cell for cell in cells if has_comma(cell)]
    if not commas:
        _refuse_points(table, rows, where)
        return Numerals(".")
    grouped = [cell for cell in commas if is_grouped(cell)]
    if len(grouped) == len(commas) or any(map(has_point, cells)):
        raise Problem(f'"{commas[0]}" may hold a thousands separator or a decimal comma', where,
                      "export the log without thousands separators, or state decimal and "
                      "thousands under [file] in a columns file")
    return Numerals(",")


def _refuse_points(table: _Table, rows: list[int], where: str) -> None:
    """Refuse points that may group thousands: 982 and then 1.004 in one column.

    Such a column holds whole numbers below a thousand, and none above it but with a point and
    three digits behind it. Where commas don't part the cells, points may be thousands as well
    if no cell of the table has them for anything else.
    """
    columns = [[cell.strip() for cell in column]
               for column in zip(*(table.rows[i] for i in rows), strict=True)]
    found = ""
    for cells in columns:
        grouped = [cell for cell in cells if is_grouped_by_points(cell)]
        if not grouped or any(has_point(cell) and not is_grouped_by_points(cell)
                              for cell in cells):
            continue
        whole = [cell.lstrip("+-") for cell in cells if cell.lstrip("+-").isdigit()]
        below = whole and max(map(len, whole)) == 3 and all(cell[0] != "0" for cell in whole)
        if below or any(cell.count(".") > 1 for cell in grouped):
            found = grouped[0]
    if not found and table.delimiter != ",":
        points = [cell for cells in columns for cell in cells if has_point(cell)]
        if points and all(map(is_grouped_by_points, points)):
            found = points[0]
    if found:
        raise Problem(f'"{found}" may hold a thousands separator or a decimal point', where,
                      "export the log without thousands separators, or state decimal and "
                      "thousands under [file] in a columns file")

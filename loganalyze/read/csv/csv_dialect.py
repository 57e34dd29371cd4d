"""The dialect of a CSV export, found in its first few hundred lines."""

from __future__ import annotations

import codecs
from collections.abc import Sequence
from dataclasses import dataclass, replace

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import MARKS, Numerals, is_value
from loganalyze.read.csv.header_rows import Heading, find_heading, is_units, recognised
from loganalyze.read.csv.number_style import find_numerals
from loganalyze.read.csv.text_grid import Grid, split_line
from loganalyze.read.csv.text_layouts import Layout, layouts
from loganalyze.read.files.file_types import HEAD
from loganalyze.sheets.export_options import FileHabits

LINES = 400
"""Lines looked at."""
LEAST_ROWS = 3
"""So many rows of so many cells above the header are a table of their own, no preamble."""
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
NONE_SAID = FileHabits()
MOST_BROKEN = 20
"""Lines that a header or a row may take, where cells are broken within their quotes."""
COMMENTS = ("#", "//", "%", "*", "!")


@dataclass(frozen=True)
class Dialect:
    """How a CSV export is written.

    ``names`` and ``units`` : the header's cells and those of a units row (None where there
    is none); ``cell_units`` : the units that stand in the cells, behind the numbers ("" : none);
    ``start`` : the byte of the first row; ``first_line`` : its line, from 1; ``header`` : the
    line of the names as the file holds it; ``heading`` : the cells of each line that heads the
    table; ``sample`` : the cells of the first rows, to tell kinds of column apart; ``row_bytes`` :
    their mean length; ``preamble`` : the lines above the header; ``ragged`` : whether blank cells
    at the ends of lines are left out; ``newline`` : what ends a line; ``layout`` : how blanks stand
    between the cells, where nothing else does (the delimiter is then the tab that takes their
    place).
    """

    encoding: str
    delimiter: str
    numerals: Numerals
    comment: str
    names: tuple[str, ...]
    units: tuple[str, ...] | None
    cell_units: tuple[str, ...]
    start: int
    first_line: int
    header_line: int
    header: bytes
    heading: frozenset[tuple[str, ...]]
    sample: tuple[tuple[str, ...], ...]
    row_bytes: float
    preamble: str = ""
    ragged: bool = False
    newline: str = "\n"
    layout: Layout | None = None

    def described(self) -> dict[str, str | int]:
        """Return the facts worth printing."""
        names = {mark: name for name, mark in MARKS.items()}
        grouped = {"thousands": names[self.numerals.thousands]} if self.numerals.thousands else {}
        ended = {"line_end": "carriage return"} if self.newline == "\r" else {}
        return {
            "encoding": self.encoding,
            "delimiter": "blank" if self.layout else DELIMITERS[self.delimiter],
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
                 said: FileHabits = NONE_SAID, first_line: int = 1) -> Dialect:
    """Understand the export whose text (UTF-8 or Latin-1 bytes after `mark`) begins with `head`.

    What is `said` of it in a columns file isn't questioned. `first_line` : the number of the
    text's first line in the file. Where another header follows, what is above it is understood.
    Raises Problem where there is no header, no row, or no table at all.
    """
    text = head[mark:]
    newline = "\r" if b"\r" in text and b"\n" not in text else "\n"
    lines = first_lines(text.replace(b"\r", b"\n") if newline == "\r" else text)
    texts = [line_text(line, encoding) for line in lines]
    delimiters = [mark for mark, name in DELIMITERS.items() if said.delimiter in (None, name)]
    lines, texts = _repaired(lines, texts, delimiters)
    if not any(text.strip() for text in texts):
        raise Problem("the file holds nothing but blank lines", where, "export the log again")
    beginning = _Beginning(lines, texts, "utf-16" if encoding.startswith("utf-16") else encoding,
                           where, first_line)
    found = _found(beginning, delimiters, said)
    return replace(found, start=mark + found.start, newline=newline)


@dataclass(frozen=True)
class _Beginning:
    """The first lines of a text, and what they are: ``first_line`` is the number of the first."""

    lines: list[bytes]
    texts: list[str]
    encoding: str
    where: str
    first_line: int

    def number(self, place: int) -> int:
        """Return the line of the file, from 1, at which the joined line `place` begins."""
        return self.first_line + sum(line.count(b"\n") for line in self.lines[:place])


def _found(beginning: _Beginning, delimiters: Sequence[str], said: FileHabits) -> Dialect:
    """Return the dialect by its delimiter, or by the blanks between the cells."""
    comment = _comment(beginning.texts)
    refused: Problem | None = None
    if delimiters:
        best = max((Grid(beginning.texts, delimiter, comment, said.header_line)
                    for delimiter in delimiters), key=lambda grid: grid.score)
        try:
            return _understood(best, beginning, delimiters, comment, said)
        except Problem as problem:
            refused = problem
            if said.delimiter is not None:
                raise
    fitting: list[Dialect] = []
    for layout in layouts(beginning.texts, comment):
        texts = [layout.spread(text) for text in beginning.texts]
        grid = Grid(texts, "\t", comment, said.header_line)
        if layout.fits(grid):
            try:
                fitting.append(replace(_understood(grid, beginning, delimiters, comment, said),
                                       layout=layout, ragged=False))
            except Problem as problem:
                refused = refused or problem
    if fitting:  # A units row may have as many words as the rows, and a stamp may be of two words.
        return max(fitting, key=lambda dialect: (recognised(dialect.names), -len(dialect.names)))
    raise refused or _no_rows(Grid(beginning.texts, ",", comment, None), beginning.where)


def _understood(grid: Grid, beginning: _Beginning, delimiters: Sequence[str], comment: str,
                said: FileHabits) -> Dialect:
    """Return the dialect of lines that are cut at the right places."""
    lines, where = beginning.lines, beginning.where
    if grid.first_row is None:
        raise _no_rows(grid, where)
    heading = find_heading(grid, where, said.header_line, beginning.first_line)
    if said.header_line is None and _is_below_rows(grid, heading, beginning):
        above = replace(beginning, lines=lines[: heading.names],
                        texts=beginning.texts[: heading.names])
        return _found(above, delimiters, said)
    stop = _next_header(grid, heading)
    if stop is not None:
        return _found(replace(beginning, lines=lines[:stop], texts=beginning.texts[:stop]),
                      delimiters, said)
    try:
        cell_units = grid.cell_units()
    except ValueError as bad:
        cell, line = bad.args
        raise Problem(f'"{cell}" has another unit than the cells above it',
                      f"{where}, line {beginning.number(line)}",
                      "export the log with one unit for each column") from None
    # Whatever stands below the header is a row, so that a broken first one isn't passed over.
    first = heading.last + 1
    names = _names(grid, heading.names, comment, where, beginning.first_line)
    sample = tuple(cells for i, cells in zip(grid.row_lines, zip(*grid.columns, strict=True),
                                             strict=True) if i >= first)
    rows = [i for i in grid.row_lines if i >= first]
    units = heading.units
    return Dialect(
        beginning.encoding, grid.delimiter,
        find_numerals(grid, where, said, beginning.first_line), comment, names,
        None if units is None else tuple((grid.rows[units] + [""] * len(names))[: len(names)]),
        cell_units, sum(len(line) for line in lines[:first]), beginning.number(first),
        beginning.number(heading.names), lines[heading.names],
        frozenset(tuple(cell.strip() for cell in grid.rows[i])
                  for i in range(heading.names, first)) | {names},
        sample,
        sum(len(lines[i]) for i in rows) / len(rows),
        "\n".join(beginning.texts[: heading.names]), grid.leaves_out_blanks(first))


def _next_header(grid: Grid, heading: Heading) -> int | None:
    """Return the line below the first row that names columns, but not as the header does."""
    known = {tuple(cell.strip() for cell in grid.rows[i])
             for i in range(heading.names, heading.last + 1)}
    first = next((i for i in range(heading.last + 1, len(grid.rows)) if grid.looks_like_row(i)),
                 len(grid.rows))
    for i in range(first + 1, len(grid.rows)):
        if i in grid.valued:
            continue
        cells = tuple(cell.strip() for cell in grid.rows[i])
        if cells not in known and (
                recognised(cells) > 1 or (is_units(cells) and len(cells) == grid.width)):
            return i
    return None


def _is_below_rows(grid: Grid, heading: Heading, beginning: _Beginning) -> bool:
    """Whether another table stands above the header; raises Problem where nothing heads it."""
    block: list[int] = []
    for i in range(heading.names):
        if i in grid.valued and is_value(grid.rows[i][0]) and (
                len(grid.rows[i]) >= LEAST_ROWS) and (
                not block or len(grid.rows[i]) == len(grid.rows[block[0]])):
            block.append(i)
        elif any(cell.strip() for cell in grid.rows[i]) and not grid.comments[i]:
            if len(block) >= LEAST_ROWS:
                break
            block = []
    if len(block) < LEAST_ROWS:
        return False
    width = len(grid.rows[block[0]])
    if any(abs(len(grid.rows[i]) - width) <= 1 and recognised(grid.rows[i]) > 1
           for i in range(block[0])):
        return True
    raise Problem(f"rows of numbers stand above the header of line "
                  f"{beginning.number(heading.names)}",
                  f"{beginning.where}, line {beginning.number(block[0])}",
                  "name their columns in a header of their own, or state the header's line as "
                  "header_line under [file] in a columns file")


def first_lines(head: bytes) -> list[bytes]:
    """Return the lines that are looked at, with their ends."""
    lines = head.split(b"\n", LINES)[:LINES]
    whole = [line + b"\n" for line in lines[:-1]]
    # The last line may be cut off by the end of the head; without others it is all there is.
    return [*whole, lines[-1]] if lines[-1] and len(head) < HEAD else whole or lines


def line_text(line: bytes, encoding: str) -> str:
    """Return a line as text, without its end."""
    text = line.decode("latin-1" if encoding == "latin-1" else "utf-8", "replace")
    return text.rstrip("\r\n").replace("\u2212", "-")


def _repaired(lines: list[bytes], texts: list[str],
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


def _comment(texts: list[str]) -> str:
    starts = [text.lstrip() for text in texts if text.strip()]
    for mark in COMMENTS:
        marked = [text for text in starts if text.startswith(mark)]
        if marked and not all(text.startswith("*" * 3 + ",") for text in marked):
            return mark
    return ""


def _no_rows(grid: Grid, where: str) -> Problem:
    filled = [row for row in grid.rows if any(cell.strip() for cell in row)]
    widest = max((len(split_line(",".join(row), d)) for row in filled[-2:] for d in DELIMITERS),
                 default=1)
    if len(filled) <= 2 and widest > 1:
        return Problem("the file holds a header but no rows", where, "export the log again")
    return Problem("this isn't a log: no rows of numbers under a header in its first lines",
                   where, "give a CSV or Parquet export with a named column a channel")


def _names(grid: Grid, header: int, comment: str, where: str, first_line: int) -> tuple[str, ...]:
    """Return a name a cell of the rows; a delimiter at the line's end makes a blank one."""
    names = [cell.strip() for cell in grid.rows[header]]
    if comment and names[0].startswith(comment):
        names[0] = names[0][len(comment):].strip()
    while len(names) > grid.width and not names[-1]:
        names.pop()
    last = {row[-1].strip() for i, row in enumerate(grid.rows) if grid.looks_like_row(i)}
    if len(names) == grid.width - 1 and last == {""}:
        names.append("")
    if len(names) != grid.width:
        raise Problem(f"the header names {len(names)} columns, but the rows have {grid.width} "
                      "cells", f"{where}, line {header + first_line}", "mend the header line")
    return tuple(names)

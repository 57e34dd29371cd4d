"""The first lines of an export, cut at one delimiter: which of them read as rows."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

from loganalyze.read.cells.cell_text import has_digit, is_value, number_and_unit
from loganalyze.read.cells.discrete_words import WORDS

LEAST_RAGGED = 2
"""So many short rows among the first lines, and ..."""
RAGGED_SHARE = 0.1
"""... such a share of them, make it a habit of leaving out blank cells, and not damage: a line that
lost a cell anywhere else would be read with its values in the wrong columns."""
WITH_UNITS = 0.8
"""Such a share of a column's cells with a unit behind the number makes it a habit."""
_SUMMARY = frozenset((
    "total", "totals", "subtotal", "sum", "max", "maximum", "min", "minimum", "mean", "average",
    "avg", "count", "median", "std", "stdev"))
"""How lines begin that sum up a column."""
_PLAIN = re.compile(r"[+-]?[0-9]+(?:\.[0-9]*)?(?:\n[+-]?[0-9]+(?:\.[0-9]*)?)*")
"""Plain numbers, a line each."""
_UNIT = re.compile("[A-Za-z\u00b0\u00b5\u03bc%]")
"""A unit begins with one of these."""
_WORD = re.compile(r"\s*([A-Za-z]+)")
_RULE = re.compile(r"[\W_]*")


class Grid:
    """The lines cut at one delimiter, and where the rows begin.

    ``rows`` : the cells of each line; ``width`` : how many the rows have; ``first_row`` : the
    first of them, None where there is none; ``score`` : how well the delimiter fits.
    """

    def __init__(self, texts: Sequence[str], delimiter: str, comment: str,
                 header_line: int | None) -> None:
        self.delimiter = delimiter
        self.rows = [split_line(text, delimiter) for text in texts]
        self.comments = [bool(comment) and text.lstrip().startswith(comment) for text in texts]
        self.score = (False, 0.0, 0)
        self.first_row: int | None = None
        self.width = 0
        shares = {i: share for i in range(header_line or 0, len(texts))
                  if (share := self._share_of_values(i))}
        begin = sum(_begins(self.rows[i][0].strip()) for i in shares)
        if 2 * begin > len(shares):  # Else words begin the rows as well.
            shares = {i: share for i, share in shares.items() if not sums_up(self.rows[i][0])}
        self.valued = frozenset(shares)
        if not shares:
            return
        widths = Counter(len(self.rows[i]) for i in shares)
        self.width = max(widths, key=lambda width: (widths[width], width))
        named = max((len(self.rows[i]) for i in range(min(shares))), default=0)
        if named > self.width and widths[named] >= LEAST_RAGGED:
            self.width = named  # Most rows end early; those that don't are as wide as the header.
        good = [i for i in shares if len(self.rows[i]) == self.width]
        # Two valued rows in sequence begin the table; a lone one may be part of a preamble.
        runs = [a for a, b in pairwise(good) if b == a + 1 or all(
            self.comments[i] or not any(self.rows[i]) or i in self.valued
            for i in range(a + 1, b))]
        self.first_row = runs[0] if runs else good[0]
        headed = any(map(self.may_name, range(self.first_row)))
        self.score = (headed, sum(shares[i] for i in good), self.width)

    def looks_like_row(self, i: int) -> bool:
        """Whether a line reads as a row, and is as wide as the rows are."""
        return i in self.valued and len(self.rows[i]) == self.width

    @cached_property
    def row_lines(self) -> list[int]:
        """The lines that look like rows."""
        return [i for i in range(len(self.rows)) if self.looks_like_row(i)]

    @cached_property
    def columns(self) -> list[list[str]]:
        """The cells of each column of the rows, without the blanks around them."""
        return [[cell.strip() for cell in column]
                for column in zip(*(self.rows[i] for i in self.row_lines), strict=True)]

    def may_name(self, i: int) -> bool:
        """Whether a line may name the columns: as many cells as the rows, but for one."""
        return (abs(len(self.rows[i]) - self.width) <= 1 and i not in self.valued
                and not all(map(is_rule, self.rows[i])))

    def leaves_out_blanks(self, first: int) -> bool:
        """Whether rows from line `first` on lack their blank last cells (the last line may)."""
        rows = [self.rows[i] for i in range(first, len(self.rows) - 1) if i in self.valued]
        short = sum(len(row) < self.width for row in rows)
        # Whoever leaves blank cells out at the end leaves none there.
        return (short >= max(LEAST_RAGGED, RAGGED_SHARE * len(rows))
                and all(row[-1].strip() for row in rows))

    def cell_units(self) -> tuple[str, ...]:
        """Return the unit that stands behind the numbers of each column ("" : none), taken off.

        Raises ValueError with the first cell of a column in which units differ, and its line.
        """
        rows = self.row_lines
        units = []
        for column, cells in enumerate(self.columns):
            if not _UNIT.search("\n".join(cells)):
                units.append("")
                continue
            found = [(i, split) for i, cell in zip(rows, cells, strict=True)
                     if (split := number_and_unit(cell)) is not None]
            if not found or len(found) < WITH_UNITS * sum(not is_missing(cell) for cell in cells):
                units.append("")
                continue
            other = next((i for i, split in found if split[1] != found[0][1][1]), None)
            if other is not None:
                raise ValueError(self.rows[other][column].strip(), other)
            units.append(found[0][1][1])
            for i, split in found:
                self.rows[i][column] = split[0]
            self.columns[column] = [self.rows[i][column].strip() for i in rows]
        return tuple(units)

    def _share_of_values(self, i: int) -> float:
        """Return the share of a line's cells that are values, 0 for a line that is no row."""
        if len(self.rows[i]) < 2 or self.comments[i]:
            return 0.0
        cells = [cell.strip() for cell in self.rows[i]]
        filled = [cell for cell in cells if cell]
        plain = _PLAIN.fullmatch("\n".join(filled[1:]))
        read = filled[:1] if plain else filled  # Plain numbers are values without a closer look.
        values = len(filled) - len(read) + sum(
            is_value(cell) or number_and_unit(cell) is not None for cell in read)
        begins = _begins(cells[0])
        if begins:  # Only behind a number or a stamp: AIR and GROUND head columns, too.
            values += sum(cell.casefold() in WORDS and not is_value(cell) for cell in read)
        # A line of a long table (time, parameter, value, unit) is words by half.
        enough = 2 * values > len(filled) or (2 * values == len(filled) >= 4 and begins)
        if not filled or not enough or not any(map(has_digit, filled)):
            return 0.0
        return values / len(filled)


def sums_up(cell: str) -> bool:
    """Whether a line that begins with `cell` is one of totals, averages and the like."""
    word = _WORD.match(cell)
    return word is not None and word[1].casefold() in _SUMMARY


def is_rule(text: str) -> bool:
    """Whether a line only parts others, such as one of dashes."""
    return bool(_RULE.fullmatch(text))


def is_missing(cell: str) -> bool:
    """Whether a cell is blank or holds a word for a missing value."""
    return not cell or (is_value(cell) and not has_digit(cell))


def _begins(cell: str) -> bool:
    return has_digit(cell) and (is_value(cell) or number_and_unit(cell) is not None)


def split_line(text: str, delimiter: str) -> list[str]:
    """Return the cells of a line, quotes taken away."""
    if '"' not in text:
        return text.split(delimiter)
    return next(csv.reader([text.replace("\r", " ")], delimiter=delimiter), [])

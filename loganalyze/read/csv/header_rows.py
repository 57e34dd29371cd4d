"""The lines that head a table: the columns' names, their units, their types."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from loganalyze.problems import Problem
from loganalyze.read.columns.column_names import read_name
from loganalyze.read.csv.text_grid import Grid
from loganalyze.record.units import find_unit

MOST_LINES = 4
"""Lines that head a table, at most."""
_TYPE = re.compile(r"(u?int|integer|float|double|real|string|str|text|char|varchar|bool|boolean|"
                   r"number|numeric|decimal|enum|discrete|analog|analogue|datetime|timestamp|time|"
                   r"date|byte|short|long|single|word)[ _]?(\d+|\(\d+\))?", re.IGNORECASE)
_ALSO_NAMES = frozenset(("time", "date", "datetime", "timestamp", "number", "word"))


@dataclass(frozen=True)
class Heading:
    """The lines that head a table, from 0: ``names``, ``units`` (or None), and the last one."""

    names: int
    units: int | None
    last: int


def find_heading(grid: Grid, where: str, said: int | None, first_line: int) -> Heading:
    """Find the lines that head the rows; raises Problem where nothing names the columns.

    `said` : the line of the names as the columns file says it, from 1; `first_line` : the number
    of the grid's first line in the file.
    """
    assert grid.first_row is not None
    if said is not None:
        last = said - 1
        while last + 1 < grid.first_row and _below_names(grid.rows[last + 1]):
            last += 1
        return Heading(said - 1, _units_in(grid, range(said, last + 1)), last)
    above = [i for i in range(grid.first_row - 1, -1, -1) if grid.may_name(i)]
    candidates = [i for i in above if not grid.comments[i]]
    if not candidates:
        candidates = [i for i in above if grid.comments[i] and len(grid.rows[i]) == grid.width][:1]
    if not candidates:
        raise Problem("no header names the columns",
                      f"{where}, line {grid.first_row + first_line}",
                      "add a line of column names above the first row")
    last = candidates[0]
    block = [i for i in candidates[:MOST_LINES] if candidates[last - i : last - i + 1] == [i]]
    named = [i for i in block if not _below_names(grid.rows[i])] or block[-1:]
    names = named[0]
    if not recognised(grid.rows[names]):
        # A line of remarks or descriptions may stand between the names and the rows.
        names = next((i for i in named if recognised(grid.rows[i]) > 1), names)
    return Heading(names, _units_in(grid, range(names + 1, last + 1)), last)


def _units_in(grid: Grid, lines: range) -> int | None:
    return next((i for i in lines if is_units(grid.rows[i])), None)


def _below_names(row: Sequence[str]) -> bool:
    return is_units(row) or is_types(row)


def recognised(row: Sequence[str]) -> int:
    """Count the cells that read as names of channels or of parts of the clock."""
    return sum(read_name(cell.strip()) is not None for cell in row if cell.strip())


def is_units(row: Sequence[str]) -> bool:
    """Whether the cells of a line are units."""
    filled = [strip_brackets(cell) for cell in row if cell.strip()]
    known = sum(find_unit(cell) is not None for cell in filled)
    return bool(filled) and 2 * known >= len(filled)


def is_types(row: Sequence[str]) -> bool:
    """Whether the cells of a line are types of data, such as float and int."""
    filled = [strip_brackets(cell).casefold() for cell in row if cell.strip()]
    return bool(filled) and all(map(_TYPE.fullmatch, filled)) and not set(filled) <= _ALSO_NAMES


def strip_brackets(cell: str) -> str:
    """Return `cell` without the blanks and brackets around it."""
    return cell.strip().strip("[](){}<>").strip()

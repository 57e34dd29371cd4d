"""How an export writes its numbers: the decimal mark, and what groups digits."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import (
    MARKS,
    Numerals,
    has_comma,
    has_point,
    is_grouped,
    is_grouped_by_points,
    is_mixed,
)
from loganalyze.read.cells.damage_share import are_few
from loganalyze.read.csv.text_grid import Grid
from loganalyze.sheets.export_options import FileHabits

_MARKS = frozenset(",' \u00a0\u202f")
"""A comma, or what groups digits: a cell without is neither mixed nor written with a comma."""
_NOT_GROUPED = re.compile(r"^[+-]?\d+\.(?:\d{0,2}|\d{4,})$", re.MULTILINE)
"""A number whose point groups no thousands: other than three digits follow it."""


def find_numerals(grid: Grid, where: str, said: FileHabits, first_line: int) -> Numerals:
    """Tell how numbers are written; raises Problem where they can be read in two ways.

    `first_line` : the number of the grid's first line in the file.
    """
    decimal = MARKS[said.decimal] if said.decimal else ""
    if said.thousands:
        return Numerals(decimal or ".", MARKS[said.thousands])
    marked = [cells for cells in grid.columns if not _MARKS.isdisjoint("".join(cells))]
    for line, cell in _habitual(grid.row_lines, marked, is_mixed):
        raise Problem(f'"{cell}" holds a thousands separator'
                      + (" beside a decimal mark" if {".", ","} & set(cell) else ""),
                      f"{where}, line {line + first_line}",
                      "export the log without thousands separators, or state decimal and "
                      "thousands under [file] in a columns file")
    if decimal:
        return Numerals(decimal)
    commas = [cell for _, cell in _habitual(grid.row_lines, marked, has_comma)]
    if not commas:
        refuse_points(grid.columns, grid.delimiter, where)
        return Numerals(".")
    if all(map(is_grouped, commas)) or _habitual(
            grid.row_lines, grid.columns, has_point):
        raise Problem(f'"{commas[0]}" may hold a thousands separator or a decimal comma', where,
                      "export the log without thousands separators, or state decimal and "
                      "thousands under [file] in a columns file")
    return Numerals(",")


def _habitual(lines: Sequence[int], columns: Sequence[Sequence[str]],
              has_mark: Callable[[str], bool]) -> list[tuple[int, str]]:
    """Return the lines and cells that are written so, in their order.

    A few of a column are damage: they won't read as numbers, and count as missing.
    """
    found: list[tuple[int, str]] = []
    for column in columns:
        own = [(line, cell) for line, cell in zip(lines, column, strict=True) if has_mark(cell)]
        if not are_few(len(own), len(column)):
            found += own
    return sorted(found, key=lambda style: style[0])


def numerals_of(cells: Sequence[str], name: str, where: str) -> Numerals:
    """Tell how the numbers of one column of text are written; raises Problem in doubt."""
    commas = [cell for cell in cells if has_comma(cell)]
    if not commas:
        return Numerals(".")
    if all(map(is_grouped, commas)) or any(map(has_point, cells)):
        raise Problem(f'"{commas[0]}" in column "{name}" may hold a thousands separator or a '
                      "decimal comma", where, "export it as numbers")
    return Numerals(",")


def refuse_points(columns: Sequence[Sequence[str]], delimiter: str, where: str) -> None:
    """Refuse points that may group thousands: 982 and then 1.004 in one column.

    `columns` : the cells of each, without the blanks around them.

    Such a column holds whole numbers below a thousand, and none above it but with a point and
    three digits behind it. Where commas don't part the cells, points may be thousands as well
    if no cell of the table has them for anything else.
    """
    found, parted = "", False
    for cells in columns:
        text = "\n".join(cells)
        if "." not in text:
            continue
        if _NOT_GROUPED.search(text):
            parted = True
            continue
        # The pattern ends with a point and three digits.
        grouped = [cell for cell in cells if cell[-4:-3] == "." and is_grouped_by_points(cell)]
        if not grouped or any(has_point(cell) and not is_grouped_by_points(cell)
                              for cell in cells):
            continue
        whole = [cell.lstrip("+-") for cell in cells if cell.lstrip("+-").isdigit()]
        below = whole and max(map(len, whole)) == 3 and all(cell[0] != "0" for cell in whole)
        if below or any(cell.count(".") > 1 for cell in grouped):
            found = grouped[0]
    if not found and not parted and delimiter != ",":
        points = [cell for cells in columns for cell in cells if has_point(cell)]
        if points and all(map(is_grouped_by_points, points)):
            found = points[0]
    if found:
        raise Problem(f'"{found}" may hold a thousands separator or a decimal point', where,
                      "export the log without thousands separators, or state decimal and "
                      "thousands under [file] in a columns file")

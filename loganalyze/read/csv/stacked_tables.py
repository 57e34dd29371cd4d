"""Tables that follow in one file, each below a header of its own, read as one.

A later header may give the same channels in another order or in another unit. It is obeyed where
each channel that the first header gave is found in it, and no other; else it is refused: what
stands below a header is never read by another one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import has_point
from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.columns.recognition import Header, LogColumn, recognise
from loganalyze.read.columns.required_channels import in_words
from loganalyze.read.csv.csv_dialect import Dialect, find_dialect
from loganalyze.read.csv.header_rows import strip_brackets
from loganalyze.read.files.file_types import LogFile
from loganalyze.read.files.multi_file import converted
from loganalyze.read.files.row_batches import RowBatch
from loganalyze.record.findings import Finding
from loganalyze.sheets.columns_file import ColumnsFile

MEND = "cut the file above this line and read its parts one by one"


class Text(Protocol):
    """A text export, as it was understood from its first header."""

    @property
    def file(self) -> LogFile:
        """The file."""
        ...

    @property
    def encoding(self) -> str:
        """How its text is encoded."""
        ...

    @property
    def sheet(self) -> ColumnsFile | None:
        """The columns file that it is read with."""
        ...

NO_UNIT = frozenset(("-", "--", "---"))
"""What stands in a units row where a column has no unit."""


@dataclass(frozen=True)
class Section:
    """A table below a header of its own: how it is written, and where its columns stand.

    ``found`` : what its header changes, None for the first one.
    """

    dialect: Dialect
    headers: list[Header]
    time: LogColumn
    form: Form
    columns: Sequence[LogColumn]
    found: Finding | None = None

    def converted(self, batch: RowBatch, wanted: Sequence[LogColumn]) -> RowBatch:
        """Return a batch in the units of the columns `wanted`, those of the first header."""
        if self.found is None:
            return batch
        return replace(batch, found=(*batch.found, self.found), arrays=[
            converted(array, own, column)
            for array, own, column in zip(batch.arrays, self.columns, wanted, strict=True)])


def headers_of(dialect: Dialect) -> list[Header]:
    """Return the columns of a table, with the units that its units row or its cells state."""
    units = dialect.units or ("",) * len(dialect.names)
    headers = []
    for name, unit, in_cells in zip(dialect.names, units, dialect.cell_units, strict=True):
        stated, said_by = "" if unit in NO_UNIT else strip_brackets(unit), "the units row"
        if not stated and in_cells:
            stated, said_by = in_cells, "its cells"
        headers.append(Header(name, stated, said_by if stated else "",
                              f", line {dialect.header_line}"))
    return headers


def refused_header(where: str, line: int) -> Problem:
    """Return the Problem of a table that a second header may not head."""
    return Problem("a second header names other columns than the first one",
                   f"{where}, line {line}", MEND)


def later_section(log: Text, first: Section, text: bytes, line: int) -> Section | None:
    """Understand the table that begins with a header, as the same channels as the first one's.

    Parameters
    ----------
    log : Text
        The file.
    first : Section
        The table below the first header.
    text : bytes
        The header and what follows it, as UTF-8 or Latin-1.
    line : int
        The header's line in the file.

    Returns
    -------
    Section or None
        The table; None where nothing follows the header.

    Raises
    ------
    Problem
        Where the header's channels aren't those of the first one, or in doubt.
    """
    path, where = str(log.file.path), f"{log.file.path}, line {line}"
    below = text.split(b"\n", 1)
    if len(below) == 1 or not below[1].strip():
        return None
    try:
        dialect = find_dialect(text, log.encoding, 0, path, first_line=line)
        if dialect.header_line != line:
            raise refused_header(path, line)
        headers = headers_of(dialect)
        known, _ = recognise(_with_units(headers, first.headers), log.sheet, path)
    except Problem as problem:
        raise Problem(f"a second header stands here, and below it {problem.what}"
                      if problem.hint != MEND else problem.what, where, MEND) from None
    found = {column.channel: column for column in known}
    before, _ = recognise(first.headers, log.sheet, path)
    _compare([column.channel for column in before], found, where)
    _unsettled_units(log, first, headers, found, where)
    own = [_placed(column, found, where) for column in first.columns]
    parts = tuple(_placed(part, found, where) for part in first.form.parts)
    time = _placed(first.time, found, where)
    for part, was in zip((time, *parts), (first.time, *first.form.parts), strict=True):
        if part.unit != was.unit:
            raise Problem(f'a second header states another unit of the time "{part.name}"', where,
                          MEND)
    if dialect.delimiter == first.dialect.delimiter and not any(
            has_point(cell) for row in dialect.sample for cell in row):
        dialect = replace(dialect, numerals=first.dialect.numerals)
    dialect = replace(dialect, newline=first.dialect.newline)
    return Section(dialect, headers, time, replace(first.form, parts=parts), own,
                   _changes(line, own, first.columns))


def _with_units(headers: Sequence[Header], first: Sequence[Header]) -> list[Header]:
    """Return headers with the unit that the first header's units row gave of the same name."""
    known = {header.name: header for header in first}
    return [replace(known[header.name], place=header.place)
            if not header.unit and header.name in known else header for header in headers]


def _unsettled_units(log: Text, first: Section, headers: Sequence[Header],
                     found: dict[str, LogColumn], where: str) -> None:
    """Refuse another unit below a later header where the columns file states one for the file."""
    units = {header.name: header.unit for header in headers}
    before = {header.name: header.unit for header in first.headers}
    for column in first.columns:
        now, then = units.get(found[column.channel].name), before.get(column.name)
        stated = log.sheet.columns.get(column.channel) if log.sheet else None
        if now and then and now != then and stated is not None and stated.unit:
            raise Problem(f'a second header gives "{column.name}" in {now}, the first one in '
                          f"{then}, and the columns file states {stated.unit} for both", where,
                          MEND)


def _compare(before: Sequence[str], found: dict[str, LogColumn], where: str) -> None:
    gone = next((channel for channel in before if channel not in found), None)
    if gone is not None:
        raise Problem(f"a second header names no column for the {in_words(gone)}, as the first "
                      "one does", where, MEND)
    more = next((channel for channel in found if channel not in before), None)
    if more is not None:
        raise Problem(f'a second header adds the {in_words(more)} ("{found[more].name}")', where,
                      MEND)


def _placed(column: LogColumn, found: dict[str, LogColumn], where: str) -> LogColumn:
    """Return a column where the later header has it, in the unit that it states."""
    own = found[column.channel]
    if own.unit == column.unit or column.unit is None:
        return replace(column, index=own.index, name=own.name)
    if own.unit is None and own.name == column.name:  # Inferred from the values, or from words.
        return replace(column, index=own.index)
    if own.unit is None or own.unit.dimension != column.unit.dimension:
        raise Problem(f'a second header doesn\'t state the unit of "{own.name}" as the first one '
                      "does", where, MEND)
    return replace(column, index=own.index, name=own.name, unit=own.unit,
                   recorded_unit=own.recorded_unit)


def _changes(line: int, own: Sequence[LogColumn], first: Sequence[LogColumn]) -> Finding:
    """Return in which units a later header gives what the first one gave in others, its order."""
    others = [(new.name, new.unit.name) for new, old in zip(own, first, strict=True)
              if new.unit is not None and new.unit != old.unit]
    return Finding("later_header", {
        "line": line, "columns": [name for name, _ in others],
        "units": [unit for _, unit in others],
        "moved": any(new.index != old.index for new, old in zip(own, first, strict=True))})

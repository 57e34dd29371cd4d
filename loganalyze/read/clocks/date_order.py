"""Whether dates are written day first or month first, decided from the data or refused."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import shapes
from loganalyze.read.clocks.calendar_dates import DAY
from loganalyze.read.clocks.time_codes import MISSING, Form
from loganalyze.read.clocks.time_columns import Part, stamped
from loganalyze.read.clocks.timestamps import (
    DAY_FIRST,
    MONTH_FIRST,
    YEAR_FIRST,
    BadStampError,
    written,
)
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding

ORDERS = (DAY_FIRST, MONTH_FIRST)
GREATEST_STEP_S = 3600.0
"""A step from one date to the next that is no longer than this shows the right order where the
other order's is a day or more, or leads back: recorders don't leave out whole days by chance."""


_YEAR_ANYWHERE = re.compile(r"\d\d-\d\d-\d\d(\D.*)?")
"""Between hyphens a year of two digits stands first as often as last."""


class Export(Protocol):
    """What is asked of a file to tell its clock."""

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""

    def clock(self, column: LogColumn) -> Form:
        """Tell how a lone time column counts."""

    def row_batches(self, time: LogColumn, form: Form, columns: Sequence[LogColumn],
               low_memory: bool = False) -> Iterator[Any]:
        """Yield the file batch by batch."""


def find_order(log: Export, column: LogColumn, stated: str | None,
               time: tuple[Sequence[LogColumn], Part] | None, where: str
               ) -> tuple[str, Finding | None]:
    """Return the order of a column's dates, and how it is known where it isn't stated.

    `time` gives the columns of a time of day beside the dates and what makes seconds of them,
    None where the dates hold it. Where the first rows leave it open, the whole column is looked
    at once. Raises Problem where that leaves it open as well.
    """
    given = log.cells(column)
    cells = [cell for cell in given if cell.strip()]
    orders = frozenset((YEAR_FIRST, *ORDERS)).intersection(
        *(found.order for alike in set(shapes(tuple(given)))
          if alike and (found := written(alike))))
    if YEAR_FIRST in orders:
        return YEAR_FIRST, None
    if stated in ORDERS:
        return str(stated), None
    short = next((cell for cell in cells if _YEAR_ANYWHERE.fullmatch(cell.strip())), None)
    if short is not None:
        raise Problem(f'nothing in column "{column.name}" tells whether "{short}" is year first, '
                      "day first or month first", where, "export the year in four digits, or say "
                      'form = "day first" or form = "month first" under [clock] in a columns file')
    for cell in cells:
        order = _only(cell)
        if order:
            return order, Finding("only_order", {
                "column": column.name, "order": order, "cell": cell})
    scan = _Scan(column, time)
    for batch in log.row_batches(column, scan.form, []):
        order = scan.look(batch.ticks)
        if order:
            return order, Finding("only_order" if scan.cell else "order_that_runs_on", {
                "column": column.name, "order": order, "cell": scan.cell})
    raise Problem(f'nothing in column "{column.name}" tells whether "{cells[0]}" is day first or '
                  "month first", where, 'say form = "day first" or form = "month first" under '
                  "[clock] in a columns file")


def _only(cell: str) -> str:
    """Return the one order in which `cell` is a date, or nothing."""
    good = [order for order in ORDERS if _parsed(cell, order)]
    return good[0] if len(good) == 1 else ""


def _parsed(cell: str, order: str) -> bool:
    try:
        stamped("", order)(pa.array([cell], pa.string()))
    except BadStampError:
        return False
    return True


@dataclass
class _Scan:
    """Reads the dates both ways at once."""

    column: LogColumn
    time: tuple[Sequence[LogColumn], Part] | None
    cell: str = ""
    """A cell that is a date in the one order alone, where that decided the order."""
    _last: NDArray[np.float64] = field(default_factory=lambda: np.full(2, np.nan))
    _bad: dict[str, str] = field(default_factory=dict)

    @property
    def form(self) -> Form:
        beside = tuple(self.time[0]) if self.time else ()
        return Form(1.0, "", parts=(self.column, *beside), join=self._both)

    def _both(self, arrays: Mapping[str, pa.Array]) -> NDArray[np.float64]:
        seconds = self.time[1](arrays) if self.time else 0.0
        return np.column_stack([self._read(arrays, order) + seconds for order in ORDERS])

    def _read(self, arrays: Mapping[str, pa.Array], order: str) -> NDArray[np.float64]:
        array = arrays[self.column.channel]
        try:
            stamps = stamped(self.column.channel, order)(array)
        except BadStampError as bad:
            self._bad.setdefault(order, bad.cell)
            return np.full(len(array), np.nan)
        seconds = stamps * 1e-9
        seconds[stamps == MISSING] = np.nan
        return np.asarray(seconds)

    def look(self, both: NDArray[np.float64]) -> str:
        """Return the order that these seconds show, or nothing."""
        if len(self._bad) == 2:
            return DAY_FIRST  # No date in any order: the reading itself names the cell.
        if len(self._bad) == 1:
            (bad, self.cell), = self._bad.items()
            return _other(bad)
        known = both[~np.isnan(both).any(axis=1)]
        steps = np.diff(np.vstack([self._last, known]), axis=0)
        if len(known):
            self._last = known[-1]
        with np.errstate(invalid="ignore"):
            near = (steps >= 0) & (steps <= GREATEST_STEP_S)
            far = (steps < 0) | (steps >= DAY)
        for i, order in enumerate(ORDERS):
            if (near[:, i] & far[:, 1 - i]).any():
                return order
        return ""


def _other(order: str) -> str:
    return MONTH_FIRST if order == DAY_FIRST else DAY_FIRST

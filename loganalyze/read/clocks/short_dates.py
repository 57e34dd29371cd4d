"""Dates of six digits: 010326 is the first of March, the third of January, or the 26th in 2001."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from loganalyze.read.clocks.calendar_dates import days_of, full_year
from loganalyze.read.clocks.time_columns import MASS
from loganalyze.read.clocks.timestamps import DAY_FIRST, MONTH_FIRST, YEAR_FIRST
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding

Floats = NDArray[np.float64]

_SIX = re.compile(r"\d{5,6}")
_NAMED = {DAY_FIRST: "ddmmyy", MONTH_FIRST: "mmddyy", YEAR_FIRST: "yymmdd"}
_PLACES = {DAY_FIRST: (2, 1, 0), MONTH_FIRST: (2, 0, 1), YEAR_FIRST: (0, 1, 2)}
"""Which of the three pairs of digits is the year, the month and the day."""


def six_digits(cells: Sequence[str], column: LogColumn, stated: str | None
               ) -> tuple[Callable[[Floats], Floats], Finding | None] | None:
    """Return what makes days since 1970 of dates of six digits, and how their order is known.

    None where the cells are something else, or leave the order open: the column's name (DDMMYY),
    the form that the columns file states, days that can be no other date, or dates that run on to
    the next day tell it.
    """
    cells = [cell.strip() for cell in cells if cell.strip()]
    whole = [cell for cell in cells if _SIX.fullmatch(cell)]
    if not whole or len(whole) < MASS * len(cells) or len(whole[0]) + len(whole[-1]) < 11:
        return None
    words = re.split(r"[^a-z]+", f"{column.name} {column.recorded_unit}".casefold())
    order = next((order for order, word in _NAMED.items() if word in words), "")
    if order:
        return _days(order), Finding("order_in_name", {"column": column.name, "order": order})
    order = YEAR_FIRST if stated == "iso" else str(stated)
    if order in _PLACES:
        return _days(order), None
    numbers = np.array(whole, dtype=np.float64)
    good = {place: days for place in _PLACES
            if not np.isnan(days := _days(place)(numbers)).mean() > 1 - MASS}
    for place, days in good.items():
        steps = np.diff(days[~np.isnan(days)])
        turned = steps[steps != 0]
        if len(good) == 1:
            return _days(place), Finding("only_order", {
                "column": column.name, "order": place, "cell": whole[0]})
        if len(turned) and (turned == 1).all() and not any(
                (np.diff(other[~np.isnan(other)]) == 1).any()
                for name, other in good.items() if name != place):
            return _days(place), Finding("order_that_runs_on", {
                "column": column.name, "order": place})
    return None


def _days(order: str) -> Callable[[Floats], Floats]:
    def days(numbers: Floats) -> Floats:
        with np.errstate(invalid="ignore"):
            pairs = (numbers // 10000, numbers // 100 % 100, numbers % 100)
        year, month, day = (pairs[place] for place in _PLACES[order])
        return days_of(full_year(np.where(year < 100, year, np.nan)), month, day)
    return days

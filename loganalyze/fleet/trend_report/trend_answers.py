"""What a page of trends answers: closer or not, where, on which aircraft, more than chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.stats import binomtest

from loganalyze.fleet.statistics.aircraft_errors import InstrumentError
from loganalyze.fleet.statistics.event_rates import holm
from loganalyze.fleet.statistics.margin_tails import PhaseTail
from loganalyze.fleet.statistics.outlying_flights import OutlyingFlight
from loganalyze.fleet.statistics.trend_tables import TrendRow, Trends
from loganalyze.fleet.trend_report.margin_course import (
    FleetMargins,
    MarginCourse,
    margin_course,
)

CHANCE = 0.05
"""Adjusted probability from which on chance explains a difference."""


@dataclass(frozen=True)
class OutlyingAircraft:
    """An aircraft against all others: ``times`` their rate, with the adjusted probability."""

    group: str
    times: float
    adjusted: float


@dataclass(frozen=True)
class TrendAnswers:
    """The answers, with probabilities that are adjusted for all tests together.

    ``course`` : of the smallest margins; ``rate_adjusted``, ``course_adjusted``,
    ``change_adjusted`` : NaN where there was no test; ``rate_rises`` : 1
    where flights with episodes are late among those of their aircraft, -1 where early, else 0;
    ``aircraft`` : those shown, each against all
    others; ``tests`` : how many; ``tails``, ``errors`` : the margins' tails, and the aircraft's own
    errors, of those that may be shown; ``unusual`` : flights that came far closer than is usual.
    """

    trends: Trends
    margins: FleetMargins
    course: MarginCourse
    rate_adjusted: float
    course_adjusted: float
    change_adjusted: float
    rate_rises: int
    aircraft: tuple[OutlyingAircraft, ...]
    tests: int
    tails: tuple[PhaseTail, ...]
    errors: tuple[InstrumentError, ...]
    by: tuple[str, ...]
    action: date | None
    proven: bool
    least: int
    unusual: tuple[OutlyingFlight, ...] = ()

    def rows(self, dimension: str) -> list[TrendRow]:
        """Return the rows of a dimension."""
        return [row for row in self.trends.rows if row.dimension == dimension]

    @property
    def changes(self) -> tuple[int, ...]:
        """The changes with time that are more than chance explains: 1 closer, -1 further away."""
        found = []
        if self.rate_adjusted < CHANCE and self.rate_rises:
            found.append(self.rate_rises)
        if self.course_adjusted < CHANCE and self.course.per_year_kt:
            found.append(1 if self.course.per_year_kt < 0 else -1)
        return tuple(found)

    @property
    def dimensions(self) -> tuple[str, ...]:
        """The dimensions that have rows, in order."""
        return tuple(dict.fromkeys(row.dimension for row in self.trends.rows))


def trend_answers(trends: Trends, margins: FleetMargins, tails: Sequence[PhaseTail],
                  errors: Sequence[InstrumentError], *, by: Sequence[str],
                  action: date | None, proven: bool, least: int,
                  unusual: Sequence[OutlyingFlight] = ()) -> TrendAnswers:
    """Return what trends and smallest margins of a fleet answer.

    Parameters
    ----------
    trends : Trends
        As `fleet_trends` gave them.
    margins : FleetMargins
        Of the same store.
    tails, errors, unusual : sequence
        As `fleet_margin_tails`, `aircraft_errors` and `outlying_flights` gave them of it.
    by, action, proven, least
        As `fleet_trends` was given them.
    """
    course = margin_course(margins.margin_kt, margins.day, margins.aircraft)
    rows = [row for row in trends.rows if row.dimension == "aircraft"]
    each = [_against_others(row, trends.whole) for row in rows]
    change = math.nan if trends.change is None else trends.change.probability
    given = [trends.per_year, course.probability, change, *(bounds[1] for bounds in each)]
    adjusted = holm(given).tolist()
    outlying = tuple(OutlyingAircraft(row.group, times, found) for row, (times, _), found in zip(
        rows, each, adjusted[3:], strict=True))
    return TrendAnswers(
        trends, margins, course, adjusted[0], adjusted[1], adjusted[2],
        _rises(trends, margins), outlying,
        sum(not math.isnan(value) for value in given),
        tuple(tail for tail in tails if tail.tail.flights >= least),
        tuple(error for error in errors if error.aircraft in {row.group for row in rows}),
        tuple(by), action, proven, least,
        tuple(outlying_flight for outlying_flight in unusual if outlying_flight.flights >= least))


def _rises(trends: Trends, margins: FleetMargins) -> int:
    """Return whether the flights with episodes are late (1) or early (-1) in their aircraft."""
    dated = np.isfinite(margins.day)
    if not dated.any():
        return 0
    day = margins.day[dated]
    _, which = np.unique(margins.aircraft[dated], return_inverse=True)
    late = day - (np.bincount(which, day) / np.bincount(which))[which]
    with_events = np.isin(margins.flight_key[dated], trends.whole.with_events)
    return int(np.sign(round(float(late[with_events].sum()), 6)))


def _against_others(row: TrendRow, whole: TrendRow) -> tuple[float, float]:
    """Return how many times the others' rate a group's is, and the probability.

    Given all episodes, those of the group are binomial with its share of the hours, where the rate
    is the same; counts are divided by the dispersion of the flights first.
    """
    hours, others = row.rate.hours, whole.rate.hours - row.rate.hours
    events, rest = row.rate.events, whole.rate.events - row.rate.events
    if not (hours > 0 and others > 0) or events + rest == 0:
        return math.nan, math.nan
    times = events / hours / (rest / others) if rest else math.inf
    dispersion = max(row.rate.dispersion, whole.rate.dispersion)
    count = round((events + rest) / dispersion)
    part = min(round(events / dispersion), count)
    if not count:
        return times, 1.0
    return times, float(binomtest(part, count, hours / (hours + others)).pvalue)


def leading(rows: Sequence[TrendRow]) -> TrendRow | None:
    """Return the row with most episodes; None where none has any."""
    found = max(rows, key=lambda row: row.rate.events, default=None)
    return found if found is not None and found.rate.events else None

"""The smallest margins of a fleet's flights: how they are spread, and how they change with time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student_t

from loganalyze.fleet.store.store_queries import connect_store

YEAR_D = 365.25
NORMAL_95 = 1.96
"""Standard uncertainties to either side that hold 95 % of a normal distribution."""
FEWEST_CLUSTERS = 3


@dataclass(frozen=True)
class FleetMargins:
    """The judged flights of a store, a row each, the closest first.

    ``margin_kt`` : the smallest margin as calibrated airspeed in any recorded sample, negative is
    over, NaN where not known; ``low_kt``, ``high_kt`` : the 95 % interval of the smallest margin as
    flown: near a limit and over it with the noise of the samples around taken out, elsewhere that
    of the sample; ``day`` : since 1970, NaN without a date; ``limit``, ``severity`` : empty where
    not known.
    """

    flight_key: NDArray[Any]
    aircraft: NDArray[Any]
    day: NDArray[np.float64]
    margin_kt: NDArray[np.float64]
    altitude_ft: NDArray[np.float64]
    limit: NDArray[Any]
    severity: NDArray[Any]
    low_kt: NDArray[np.float64]
    high_kt: NDArray[np.float64]

    @property
    def known_kt(self) -> NDArray[np.float64]:
        """The smallest margins that are known, in order."""
        return self.margin_kt[np.isfinite(self.margin_kt)]


def fleet_margins(store: str) -> FleetMargins:
    """Return the smallest margins of the flights of a store."""
    with connect_store(store) as db:
        rows = db.execute(f"""
            with assessed as (
                select flight_key, "limit", -worst_excess_kt as margin_kt, excess_low, excess_high,
                       coalesce(worst_excess_kt / nullif(worst_excess_mach, 0), 1) as in_kt
                from exceedances
                union all
                select flight_key, "limit", margin_kt, excess_low, excess_high,
                       case when quantity = 'mach' then margin_kt / nullif(margin, 0) else 1 end
                from near),
            closest_one as (
                select flight_key, arg_min(-excess_high * in_kt, assessed.margin_kt) as low,
                       arg_min(-excess_low * in_kt, assessed.margin_kt) as high
                from assessed join flights using (flight_key)
                where "limit" = smallest_margin_limit group by flight_key)
            select flights.flight_key, coalesce(registration, flights.aircraft, ''),
                   epoch(start_utc) / 86400, flights.smallest_margin_kt,
                   smallest_margin_altitude_ft,
                   coalesce(smallest_margin_limit, ''), coalesce(severity, ''),
                   coalesce(low, flights.smallest_margin_kt - {NORMAL_95} * margin_u_kt),
                   coalesce(high, flights.smallest_margin_kt + {NORMAL_95} * margin_u_kt)
            from flights left join closest_one using (flight_key)
            left join measures on measures.flight_key = flights.flight_key
                and measures."limit" is null
            where flights.judged_s > 0
            order by flights.smallest_margin_kt nulls last, flights.flight_key""").fetchall()
    columns: list[Any] = list(zip(*rows, strict=True)) if rows else [()] * 9
    return FleetMargins(
        np.array(columns[0]), np.array(columns[1]), np.array(columns[2], np.float64),
        np.array(columns[3], np.float64), np.array(columns[4], np.float64), np.array(columns[5]),
        np.array(columns[6]), np.array(columns[7], np.float64), np.array(columns[8], np.float64))


@dataclass(frozen=True)
class MarginCourse:
    """How the smallest margin changes with time, in the same aircraft.

    ``per_year_kt`` : slope [kt a year], negative towards the limit, with its 95 % interval;
    ``probability`` : of so steep a slope, either way, if there was none. NaN where not known.
    """

    per_year_kt: float
    low_kt: float
    high_kt: float
    probability: float


def margin_course(margin_kt: ArrayLike, day: ArrayLike, aircraft: ArrayLike,
                  coverage: float = 0.95) -> MarginCourse:
    """Return how the smallest margin of a flight changes with time, aircraft by aircraft.

    Least squares with a mean for each aircraft, so that aircraft that differ can't pass for a
    change. The variance of the slope is the greater one of that which allows for unequal scatter
    of flights (H. White, Econometrica 48, 1980, p. 817) and, of three aircraft or more, that which
    allows for slopes that differ between aircraft (K.-Y. Liang, S. L. Zeger, Biometrika 73, 1986,
    p. 13, times G/(G-1)) with Student's t of one degree less than there are aircraft.

    Parameters
    ----------
    margin_kt : array_like
        Smallest margin of each flight [kt], shape (n,).
    day : array_like
        When it was [days]; flights where it is NaN don't count, shape (n,).
    aircraft : array_like
        With which, shape (n,).
    coverage : float
        Of the interval.
    """
    margins, days = np.asarray(margin_kt, np.float64), np.asarray(day, np.float64)
    dated = np.isfinite(days) & np.isfinite(margins)
    _, which = np.unique(np.asarray(aircraft)[dated], return_inverse=True)
    years, margins = days[dated] / YEAR_D, margins[dated]
    number = int(which.max()) + 1 if len(which) else 0
    flights = np.bincount(which, minlength=number)
    years = years - (np.bincount(which, years, number) / flights)[which]
    margins = margins - (np.bincount(which, margins, number) / flights)[which]
    spread = float(years @ years)
    freedom = len(which) - number - 1
    if freedom < 1 or not spread > 1e-12:
        return MarginCourse(*[float("nan")] * 4)
    slope = float(years @ margins) / spread
    scores = years * (margins - slope * years)
    variance = float(scores @ scores) / spread ** 2 * len(which) / freedom
    moving = int((np.bincount(which, years ** 2, number) > 0).sum())
    if moving >= FEWEST_CLUSTERS:
        clusters = np.bincount(which, scores, number)
        variance = max(variance, float(clusters @ clusters) / spread ** 2 * moving / (moving - 1))
        freedom = moving - 1
    error = np.sqrt(variance)
    if not error > 0:
        return MarginCourse(slope, slope, slope, 1.0 if slope == 0 else 0.0)
    reach = float(student_t.ppf(0.5 + coverage / 2, freedom)) * error
    return MarginCourse(slope, slope - reach, slope + reach,
                        float(2 * student_t.sf(abs(slope) / error, freedom)))

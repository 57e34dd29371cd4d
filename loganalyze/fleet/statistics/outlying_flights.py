"""Flights that came far closer to a limit than flights of their type and phase usually do.

By the modified z-score: the distance from the median in units of the median absolute deviation,
which outliers don't widen (B. Iglewicz, D. C. Hoaglin, How to Detect and Handle Outliers, ASQC,
1993, p. 11, with its factor .6745 and its bound 3.5). Only flights closer than usual are named.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loganalyze.fleet.store.store_queries import connect_store

LEAST_FLIGHTS = 20
"""Flights of a type and phase below which none of them is called an outlier."""
GREATEST_SCORE = 3.5


@dataclass(frozen=True)
class OutlyingFlight:
    """A flight that came unusually close.

    ``margin_kt`` : its smallest margin in the phase; ``usual_kt`` : the median of the flights of
    the type; ``score`` : how far below, as a modified z-score (negative); ``flights`` : of so many.
    """

    flight_key: str
    aircraft: str
    limits_sheet: str
    phase: str
    margin_kt: float
    usual_kt: float
    score: float
    flights: int


def modified_scores(values: ArrayLike) -> NDArray[np.float64]:
    """Return the modified z-score of each value; NaN where half of them are the same.

    Parameters
    ----------
    values : array_like, shape (n,)

    Returns
    -------
    float64[n]
    """
    given = np.asarray(values, np.float64)
    away = given - np.median(given)
    spread = float(np.median(np.abs(away)))
    return 0.6745 * away / spread if spread > 0 else np.full(given.shape, np.nan)


def outlying_flights(store: str | Path) -> tuple[OutlyingFlight, ...]:
    """Return the flights of a store that came far closer to a limit than is usual.

    Parameters
    ----------
    store : path-like
        The folder of the store.

    Returns
    -------
    tuple of OutlyingFlight
        The farthest from usual first; of types and phases with 20 flights or more.

    Raises
    ------
    Problem
        Where the folder is no store, or DuckDB isn't installed.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> la.outlying_flights("store")
    ()
    """
    with connect_store(store) as db:
        rows = db.execute("""
            select flights.limits_sheet, phase, flight_key,
                   coalesce(registration, flights.aircraft), margin_kt
            from closest join flights using (flight_key)
            where judged_s > 0 and phase <> 'unknown'
            order by flights.limits_sheet, phase, flight_key""").fetchall()
    found = []
    for sheet, phase in dict.fromkeys(row[:2] for row in rows):
        own = [row[2:] for row in rows if row[:2] == (sheet, phase)]
        if len(own) < LEAST_FLIGHTS:
            continue
        margins = np.array([row[2] for row in own], np.float64)
        usual = float(np.median(margins))
        found += [OutlyingFlight(key, aircraft, sheet, phase, margin, usual, score, len(own))
                  for (key, aircraft, margin), score in zip(
                      own, modified_scores(margins).tolist(), strict=True)
                  if score < -GREATEST_SCORE]
    return tuple(sorted(found, key=lambda flight: flight.score))

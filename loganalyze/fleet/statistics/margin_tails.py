"""The tails of the smallest margins in a store, by type of aircraft, phase of flight and limit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loganalyze.fleet.statistics.extreme_values import MarginTail, margin_tail
from loganalyze.fleet.store.store_queries import connect_store


@dataclass(frozen=True)
class PhaseTail:
    """The tail of one type of aircraft in one phase of flight, towards one limit.

    ``limits_sheet`` : that the flights were judged by, which stands for the type; ``peaks`` : the
    keys of the flights that are peaks, the closest first; ``limit`` : the one that was closest.
    """

    limits_sheet: str
    phase: str
    tail: MarginTail
    peaks: tuple[str, ...]
    limit: str = ""


def fleet_margin_tails(store: str | Path, *, threshold_kt: float | None = None
                       ) -> tuple[PhaseTail, ...]:
    """Return the tails of the smallest margins of a fleet, with the expected time to an exceedance.

    Of each flight and phase the smallest margin to any limit counts once, for the limit that it is
    to: approaches to an airspeed limit and to a Mach limit have tails of their own, over the hours
    of all flights of the phase. The smallest margin is that of a single recorded sample; where many
    samples are as close, it is closer than the flight came by some of the recording's noise, and
    times are that much too short. What the crew was shown
    and what was recorded differ by the uncertainty as displayed; the rest of that as flown is the
    instrument's.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    threshold_kt : float, optional
        The margin [kt] below which a flight is a peak; otherwise chosen for each tail.

    Returns
    -------
    tuple of PhaseTail
        By limits sheet, phase and limit; those that are refused say why.

    Raises
    ------
    Problem
        Where the folder is no store, or DuckDB isn't installed.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> {phase.tail.refused for phase in la.fleet_margin_tails("store")}
    {'too few peaks'}
    """
    with connect_store(store) as db:
        rows = db.execute("""
            select flights.limits_sheet, phase, coalesce("limit", ''), flight_key, margin_kt,
                   judged_s / 3600, coalesce(registration, flights.aircraft),
                   margin_displayed_u_kt,
                   sqrt(greatest(margin_u_kt ** 2 - margin_displayed_u_kt ** 2, 0))
            from closest join flights using (flight_key)
            where judged_s > 0 and phase <> 'unknown'
            order by flights.limits_sheet, phase, flight_key""").fetchall()
    found = []
    for sheet, phase in dict.fromkeys(row[:2] for row in rows):
        inside = [row[2:] for row in rows if row[:2] == (sheet, phase)]
        limits, keys, margins, hours, aircraft, recording, instrument = (
            np.array(column) for column in zip(*inside, strict=True))
        for limit in np.unique(limits).tolist():
            closeness = np.where(limits == limit, margins.astype(np.float64), np.inf)
            tail = margin_tail(
                closeness, hours.astype(np.float64), aircraft,
                recording_u=recording.astype(np.float64),
                instrument_u=instrument.astype(np.float64), threshold=threshold_kt)
            order = np.argsort(closeness, kind="stable")
            found.append(PhaseTail(sheet, phase, tail, tuple(
                keys[order[closeness[order] < tail.threshold]].tolist()), limit))
    return tuple(found)

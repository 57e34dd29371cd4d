"""Trends of a fleet: rates of episodes by month, aircraft, limit, phase and more."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.fleet.protection.pseudonyms import means_person
from loganalyze.fleet.statistics.capture_rates import (
    ACTION,
    AFTER,
    BEFORE,
    CaptureRates,
    capture_rates,
)
from loganalyze.fleet.statistics.event_rates import (
    EventRate,
    RateChange,
    event_rate,
    holm,
    rate_change,
    trend_probability,
)
from loganalyze.fleet.statistics.small_groups import shown_groups
from loganalyze.fleet.store.store_layout import is_protected
from loganalyze.fleet.store.store_queries import connect_store
from loganalyze.problems import Problem
from loganalyze.sheets.fleet_file import FleetFile

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

OF_FLIGHTS = ("month", "aircraft")
"""What a flight is grouped by; its hours belong to its group alone. So do tags."""
OF_EVENTS = ("limit", "phase", "severity", "cause")
"""What an episode is grouped by; all hours count for each of its groups."""
TAG = "tag:"
LEAST_FLIGHTS = 5
"""Flights of a group below which it isn't shown: it would speak of single flights."""
HIDDEN = "(too few flights)"
PARTS = ("limit_moved_kt", "configuration_kt", "height_trade_kt", "energy_kt",
         "air_temperature_kt")


@dataclass(frozen=True)
class TrendRow:
    """The rate of one group.

    ``dimension``, ``group`` : as "month" and "2031-03"; ``flights`` : that could have had the
    event; ``judged_share`` : judged of their recorded time; ``captured`` : flights that were judged
    for some time, of those expected where a fleet file tells how many, otherwise of those read
    (of the whole, logs that couldn't be judged count as one each); ``with_events`` : the keys of
    the flights that had one.
    """

    dimension: str
    group: str
    flights: int
    judged_share: float
    rate: EventRate
    with_events: tuple[str, ...]
    captured: float = float("nan")


@dataclass(frozen=True)
class Trends:
    """The rates of a fleet.

    ``whole`` : of all flights; ``rows`` : by dimension; ``per_year`` : the probability of so strong
    a change with time if there was none; ``change`` : before and after the action, where one was
    asked about; ``adjusted`` : both probabilities (per_year, change) adjusted for their number;
    ``undated`` : flights without a date, in neither; ``problems`` : logs that weren't judged.
    """

    whole: TrendRow
    rows: tuple[TrendRow, ...]
    per_year: float
    change: RateChange | None
    adjusted: tuple[float, ...]
    undated: int
    problems: int
    flights: int
    logs: int
    captured: tuple[float, float] = (float("nan"), float("nan"))
    """Flights that were judged for some time before the action and after it, as in `TrendRow`."""
    lost: tuple[str, ...] = ()
    """Keys of the flights that were read and not judged for any time."""
    problem_kinds: dict[str, int] = field(default_factory=dict)
    """How many logs gave no flight, by kind of problem."""


@dataclass(frozen=True)
class _Fleet:
    """The judged flights of a store, a row each; events by flight."""

    keys: NDArray[Any]
    hours: NDArray[np.float64]
    recorded: NDArray[np.float64]
    aircraft: NDArray[Any]
    days: NDArray[np.float64]
    """Days since 1970; NaN without a date."""
    months: NDArray[Any]
    tags: list[dict[str, str]]
    hours_of_limits: dict[str, NDArray[np.float64]]
    """Hours in which each limit was judged, by flight."""
    capture: CaptureRates


def fleet_trends(
    store: str | Path,
    *,
    by: Sequence[str] = ("month", "aircraft", "limit", "phase", "severity", "cause"),
    proven: bool = False,
    action: date | None = None,
    least: int = LEAST_FLIGHTS,
    expected: FleetFile | None = None,
) -> Trends:
    """Return how often limits were exceeded in a fleet, and whether that changes.

    Counted are episodes: overlapping exceedances of a flight once. The time that counts is the
    judged time, for a limit that in which it was judged.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    by : sequence of str
        "month", "aircraft", "limit", "phase", "severity", "cause", or "tag:NAME" of a tag of the
        fleet file.
    proven : bool
        Count only exceedances that are proven over, as flown.
    action : date, optional
        A day [UTC] on which something was done; flights from then on are compared with those
        before it.
    least : int
        A group of fewer flights isn't shown, nor are groups from which one would follow, by the
        whole or by a group of another dimension, before and after the action among these.
    expected : FleetFile, optional
        How many flights each aircraft is expected to fly in a month: what was captured is then
        counted of these.

    Returns
    -------
    Trends

    Raises
    ------
    Problem
        Where the folder is no store, it holds no judged flight, DuckDB isn't installed, nothing
        is called as in `by`, or too few flights are before or after the action.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> la.fleet_trends("store", by=("limit",), least=1).whole.rate.events
    5
    """
    for column in by:
        if column not in (*OF_FLIGHTS, *OF_EVENTS) and not column.startswith(TAG):
            raise Problem(f"nothing is grouped by {column}", "--by", "write one of "
                          f"{', '.join((*OF_FLIGHTS, *OF_EVENTS))}, or {TAG}NAME of a tag")
        if means_person(column.removeprefix(TAG)):
            raise Problem(f"no table is made by person, as {column} would be", "--by",
                          "leave it out: single flights are for those who debrief them")
    if action is not None and action.day != 1 and is_protected(Path(store)):
        raise Problem("the store holds months instead of days", "--action",
                      "give the first day of a month")
    with connect_store(store) as db:
        fleet = _fleet(db, str(store), expected, action)
        events = _events(db, proven)
        ((problems, logs),) = db.execute("""
            select (select count(*) from problems), (select count(distinct log_sha256)
            from flights)""").fetchall()
    counts = _counts(fleet, [event[0] for event in events])
    whole = _row("whole", "", fleet, counts, np.ones(len(fleet.keys), dtype=bool))
    dated = ~np.isnan(fleet.days)
    names = {column: _names(column, fleet) for column in by if column not in OF_EVENTS}
    if action is not None:
        later = fleet.days[dated] >= (action - date(1970, 1, 1)).days
        parts = np.full(len(fleet.keys), "undated", dtype=object)
        parts[dated] = np.where(later, AFTER, BEFORE)
        names[ACTION] = parts
    shown = shown_groups(names, least)
    if action is not None and not shown[ACTION] >= {BEFORE, AFTER}:
        raise Problem(f"before or after the day are too few flights (fewer than {least}, or so few "
                      "that they would follow from other groups)", "--action",
                      "give another day, leave out some of --by, or give a smaller --least")
    rows = [row for column in by for row in _rows(column, fleet, counts, events)
            if (row.group in shown[column] if column in shown else row.flights >= least)]
    per_year = trend_probability(
        counts[dated], fleet.hours[dated], fleet.aircraft[dated], fleet.days[dated])
    captured = (float("nan"), float("nan"))
    if action is not None:
        captured = (fleet.capture.of(ACTION, BEFORE, int((~later).sum())),
                    fleet.capture.of(ACTION, AFTER, int(later.sum())))
    change = None if action is None else rate_change(
        counts[dated], fleet.hours[dated], fleet.aircraft[dated], later)
    adjusted = holm([per_year, *([change.probability] if change else [])])
    return Trends(whole, tuple(rows), per_year, change, tuple(adjusted.tolist()),
                  int((~dated).sum()), problems, len(fleet.keys), logs, captured,
                  fleet.capture.lost, fleet.capture.problems)


def flights_behind(store: str | Path, row: TrendRow) -> tuple[str, ...]:
    """Return the keys of all flights that a row of `fleet_trends` counts, with events or without.

    Parameters
    ----------
    store : path-like
        The folder of the store that the row is of.
    row : TrendRow

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> whole = la.fleet_trends("store", by=()).whole
    >>> len(la.flights_behind("store", whole)) == whole.flights
    True
    """
    with connect_store(store) as db:
        fleet = _fleet(db, str(store))
    hours = fleet.hours_of_limits.get(row.group) if row.dimension == "limit" else fleet.hours
    inside = (fleet.hours if hours is None else hours) > 0
    if row.group and row.dimension not in OF_EVENTS:
        inside &= _names(row.dimension, fleet) == row.group
    return tuple(fleet.keys[inside].tolist())


def _fleet(db: DuckDBPyConnection, store: str, expected: FleetFile | None = None,
           action: date | None = None) -> _Fleet:
    rows = db.execute("""
        select flight_key, judged_s / 3600, recorded_s / 3600, coalesce(registration, aircraft),
               epoch(start_utc) / 86400, strftime(start_utc, '%Y-%m'), tags
        from flights where judged_s > 0 order by flight_key""").fetchall()
    if not rows:
        raise Problem("the store holds no judged flight", store, "judge some with loganalyze fleet")
    keys, hours, recorded, aircraft, days, months, tags = zip(*rows, strict=True)
    place = {key: number for number, key in enumerate(keys)}
    of_limits: dict[str, NDArray[np.float64]] = {}
    for key, limit, judged in db.execute("""
            select flight_key, "limit", judged_s / 3600 from measures
            where "limit" is not null""").fetchall():
        if key in place:
            of_limits.setdefault(limit, np.zeros(len(keys)))[place[key]] = judged
    return _Fleet(
        np.array(keys), np.array(hours, np.float64), np.array(recorded, np.float64),
        np.array(aircraft), np.array([np.nan if day is None else day for day in days]),
        np.array([month or "no date" for month in months]), [json.loads(tag) for tag in tags],
        of_limits, capture_rates(db, expected, action))


def _events(db: DuckDBPyConnection, proven: bool) -> list[tuple[str, dict[str, str]]]:
    """Return each exceedance: its flight, and its group in each dimension of OF_EVENTS."""
    greatest = ", ".join(PARTS)
    rows = db.execute(f"""
        with causes as (
            select flight_key, episode, "limit", {greatest} from contributions
            where stretch = 'to the limit')
        select flight_key, episode, "limit", phase, severity, {greatest}
        from exceedances left join causes using (flight_key, episode, "limit")
        where {"assessment = 'proven over'" if proven else "true"}
        order by flight_key, episode, "limit", start_s""").fetchall()
    return [(f"{key} {episode}", {
        "limit": limit, "phase": phase or "unknown", "severity": severity or "none",
        "cause": _cause(parts)}) for key, episode, limit, phase, severity, *parts in rows]


def _cause(parts: Sequence[float | None]) -> str:
    """Return the part that took most of the margin before the limit was reached."""
    known = [(value, name) for value, name in zip(parts, PARTS, strict=True) if value is not None]
    value, name = max(known, default=(0.0, ""))
    return name.removesuffix("_kt").replace("_", " ") if value > 0 else "not known"


def _counts(fleet: _Fleet, episodes: Sequence[str]) -> NDArray[np.float64]:
    """Return how many episodes each flight had; each is named once or more."""
    flights = [episode.partition(" ")[0] for episode in dict.fromkeys(episodes)]
    place = np.searchsorted(fleet.keys, flights)
    inside = np.array([0 <= i < len(fleet.keys) and fleet.keys[i] == key
                       for i, key in zip(place, flights, strict=True)], dtype=bool)
    return np.bincount(place[inside], minlength=len(fleet.keys)).astype(np.float64)


def _rows(dimension: str, fleet: _Fleet, counts: NDArray[np.float64],
          events: Sequence[tuple[str, dict[str, str]]]) -> list[TrendRow]:
    every = np.ones(len(fleet.keys), dtype=bool)
    if dimension in OF_EVENTS:
        groups = sorted({event[1][dimension] for event in events})
        return [_row(dimension, group, fleet, _counts(fleet, [
            episode for episode, of in events if of[dimension] == group]), every,
            fleet.hours_of_limits.get(group) if dimension == "limit" else None)
            for group in groups]
    names = _names(dimension, fleet)
    return [_row(dimension, str(name), fleet, counts, names == name) for name in np.unique(names)]


def _names(dimension: str, fleet: _Fleet) -> NDArray[Any]:
    """Return the group of each flight in a dimension of flights."""
    if dimension in OF_FLIGHTS:
        return fleet.months if dimension == "month" else fleet.aircraft
    tag = dimension.removeprefix(TAG)
    return np.array([tags.get(tag, "none") for tags in fleet.tags])


def _row(dimension: str, group: str, fleet: _Fleet, counts: NDArray[np.float64],
         inside: NDArray[np.bool_], own_hours: NDArray[np.float64] | None = None) -> TrendRow:
    hours = fleet.hours if own_hours is None else own_hours
    inside = inside & (hours > 0)
    recorded = float(fleet.recorded[inside].sum())
    return TrendRow(
        dimension, group, int(inside.sum()),
        float(hours[inside].sum()) / recorded if recorded > 0 else float("nan"),
        event_rate(counts[inside], hours[inside], fleet.aircraft[inside]),
        tuple(fleet.keys[inside & (counts > 0)].tolist()),
        fleet.capture.of(dimension, group, int(inside.sum())))

"""How many of the flights that were flown are in a store, judged: by month and aircraft."""

from __future__ import annotations

import json
from calendar import monthrange
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

from loganalyze.sheets.fleet_file import FleetFile

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

WHOLE, MONTH, AIRCRAFT, TAG = "whole", "month", "aircraft", "tag:"
ACTION, BEFORE, AFTER = "action", "before", "after"


@dataclass(frozen=True)
class CaptureRates:
    """Flights by dimension and group, that were read or are expected.

    ``read`` : judged or not, those of the whole with the logs that couldn't be judged;
    ``expected`` : of those a fleet file states.
    """

    read: dict[tuple[str, str], int]
    expected: dict[tuple[str, str], float] = field(default_factory=dict)
    lost: tuple[str, ...] = ()
    """Keys of flights that were read and not judged for any time."""
    problems: dict[str, int] = field(default_factory=dict)
    """Logs that gave no flight, by kind of problem."""

    def of(self, dimension: str, group: str, judged: int) -> float:
        """Return the share of a group's flights that were judged; NaN where it isn't known.

        An event could have been in any flight: its groups are counted of the whole. So is a tag
        that no aircraft has.
        """
        key = (dimension, group) if (dimension, group) in self.read else (WHOLE, "")
        whole = self.expected.get(key) or self.read.get(key, 0)
        return judged / whole if whole else float("nan")


def capture_rates(db: DuckDBPyConnection, expected: FleetFile | None = None,
                  action: date | None = None) -> CaptureRates:
    """Count the flights of an open store by month and aircraft, and those that are expected.

    Expected are, of each aircraft that a rule of the fleet file with ``flights_per_month`` fits, so
    many in each month from the first flight of the store to the last. A month's are those of all
    such aircraft; with an aircraft to which no such rule fits there are none for months and whole.
    Those before and after an action count by day, and are expected in proportion to its months'.
    """
    rows = db.execute("""
        select coalesce(strftime(start_utc, '%Y-%m'), 'no date'),
               coalesce(registration, aircraft), registration, source, tags, count(*)
        from flights group by all""").fetchall()
    ((problems,),) = db.execute("select count(*) from problems").fetchall()
    read: Counter[tuple[str, str]] = Counter({(WHOLE, ""): problems})
    tags = {text: json.loads(text) for *_, text, _ in rows}
    names = {name for some in tags.values() for name in some}
    for month, aircraft, _, _, text, number in rows:
        of_tags = ((TAG + name, tags[text].get(name, "none")) for name in names)
        for key in ((WHOLE, ""), (MONTH, month), (AIRCRAFT, aircraft), *of_tags):
            read[key] += number
    if action is not None:
        for before, number in db.execute(
                "select start_utc < ?, count(*) from flights where start_utc is not null "
                "group by 1", [action]).fetchall():
            read[ACTION, BEFORE if before else AFTER] += number
    lost = tuple(key for (key,) in db.execute(
        "select flight_key from flights where not judged_s > 0 order by 1").fetchall())
    kinds = dict(db.execute("select kind, count(*) from problems group by 1 order by 1").fetchall())
    if expected is None:
        return CaptureRates(dict(read), lost=lost, problems=kinds)
    months = _months(sorted({row[0] for row in rows} - {"no date"}))
    each: dict[str, float | None] = {}
    for _, aircraft, registration, source, *_ in rows:
        each.setdefault(aircraft, _per_month(expected, registration or "", source or ""))
    stated = {name: number for name, number in each.items() if number is not None}
    found = {(AIRCRAFT, name): number * len(months) for name, number in stated.items()}
    if len(stated) == len(each):
        total = sum(stated.values())
        found.update({(MONTH, month): total for month in months})
        found[WHOLE, ""] = total * len(months)
        if action is not None:
            before = sum(_part_before(month, action) for month in months)
            found[ACTION, BEFORE] = total * before
            found[ACTION, AFTER] = total * (len(months) - before)
    return CaptureRates(dict(read), found, lost, kinds)


def _part_before(month: str, action: date) -> float:
    """Return which part of a month lies before a day."""
    year, number = int(month[:4]), int(month[5:])
    days = monthrange(year, number)[1]
    return min(max((action - date(year, number, 1)).days / days, 0.0), 1.0)


def _per_month(fleet: FleetFile, registration: str, source: str) -> float | None:
    """Return what the first rule that fits expects of an aircraft in a month."""
    for rule in fleet.aircraft:
        if any(fnmatchcase(registration, pattern) for pattern in rule.registration) or any(
                fnmatchcase(source, pattern) for pattern in rule.path):
            return rule.flights_per_month
    return None


def _months(present: list[str]) -> list[str]:
    """Return all months from the first to the last."""
    if not present:
        return []
    first, last = ((int(text[:4]), int(text[5:])) for text in (present[0], present[-1]))
    count = 12 * (last[0] - first[0]) + last[1] - first[1] + 1
    numbers = [12 * first[0] + first[1] - 1 + i for i in range(count)]
    return [f"{number // 12:04d}-{number % 12 + 1:02d}" for number in numbers]

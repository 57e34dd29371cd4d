"""All that the store holds of a case, and the cases near it: what no decision changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loganalyze.fleet.judging.evidence_rows import OTHER_SOURCES, QUALITY_FLAGS
from loganalyze.review.cases.case_evidence import evidence_rows
from loganalyze.review.cases.case_rows import LISTED, ListedCase, all_rows, listed_case, one_row
from loganalyze.review.cases.index_building import NO_STANDING, STANDING_COLUMNS

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

NEAR_SHOWN = 10
_LISTED_NAMES = tuple(name.strip().strip('"') for name in LISTED.split(","))
_OF_CASES = ", ".join(f'"{name}"' for name in _LISTED_NAMES if name not in NO_STANDING)

Row = Mapping[str, Any]


@dataclass(frozen=True)
class StoredCase:
    """What the store holds of a case.

    ``row`` : of the index's cases; ``flight`` : its flight's; ``causes``, ``measures``, ``flags``,
    ``sources`` : rows of these datasets; ``same_aircraft``, ``similar`` : rows of other cases, with
    the columns of a `ListedCase` that no decision changes.
    """

    row: Row
    flight: Row
    causes: tuple[Row, ...]
    measures: tuple[Row, ...]
    flags: tuple[Row, ...]
    sources: tuple[Row, ...]
    same_aircraft: tuple[Row, ...]
    similar: tuple[Row, ...]


def stored_case(cursor: DuckDBPyConnection, folder: Path, key: str) -> StoredCase | None:
    """Return what the index and its store hold of a case; None where there is no such case."""
    row = one_row(cursor, "select * from cases where case_key = ?", key)
    if row is None:
        return None
    flight_key = row["flight_key"]
    flight = one_row(cursor, "select * from flights_now where flight_key = ?", flight_key)
    causes = all_rows(cursor, "select * from causes where flight_key = ? and number = ? "
                      "order by stretch", flight_key, row["number"])
    measures = all_rows(cursor, "select * from measures_now where flight_key = ? "
                        'order by "limit" nulls first', flight_key)
    return StoredCase(
        row, flight or {}, tuple(causes), tuple(measures),
        evidence_rows(cursor, folder, row, QUALITY_FLAGS.name),
        evidence_rows(cursor, folder, row, OTHER_SOURCES.name),
        _of_same_aircraft(cursor, row), _similar(cursor, row))


def with_standings(cursor: DuckDBPyConnection, rows: Sequence[Row]) -> list[dict[str, Any]]:
    """Return rows of cases with what people have said of each, as the view `listed` has them."""
    if not rows:
        return []
    keys = [row["case_key"] for row in rows]
    said = {found["case_key"]: found for found in all_rows(
        cursor, f"select case_key, {STANDING_COLUMNS} from standings where case_key in "
        f"({', '.join('?' * len(keys))})", *keys)}
    return [{**row, **NO_STANDING, **said.get(row["case_key"], {})} for row in rows]


def as_listed(row: Row) -> ListedCase:
    """Return a row of the view `listed` as a line of the list."""
    return listed_case(tuple(row[name] for name in _LISTED_NAMES))


def _of_same_aircraft(cursor: DuckDBPyConnection, row: Row) -> tuple[Row, ...]:
    """Return other cases of the case's aircraft, the latest month first."""
    return tuple(all_rows(
        cursor, f"select {_OF_CASES} from cases where aircraft_shown = ? and case_key != ? "
        f"order by month desc nulls last, case_key limit {NEAR_SHOWN}",
        row["aircraft_shown"], row["case_key"]))


def _similar(cursor: DuckDBPyConnection, row: Row) -> tuple[Row, ...]:
    """Return the cases most like a case: of the same limit, nearest in excess and duration.

    Nearness is the distance in the logarithms of excess and duration; another phase of flight
    counts as much as a factor of e in either.
    """
    return tuple(all_rows(
        cursor, f'select {_OF_CASES} from cases where case_key != ? and "limit" = ? order by '
        "abs(ln(greatest(excess_share, 1e-6) / greatest(?, 1e-6))) "
        "+ abs(ln(greatest(duration_s, .1) / greatest(?, .1))) "
        "+ case when phase is distinct from ? then 1 else 0 end nulls last, case_key "
        f"limit {NEAR_SHOWN}",
        row["case_key"], row["limit"], row["excess_share"], row["duration_s"], row["phase"]))

"""What stands beside a verdict: quality flags, other sources, the aircraft's instrument errors."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loganalyze.fleet.judging.evidence_rows import OTHER_SOURCES, QUALITY_FLAGS
from loganalyze.fleet.statistics.aircraft_errors import LEAST_FLIGHTS, aircraft_errors
from loganalyze.review.cases.case_rows import all_rows
from loganalyze.review.cases.index_building import HIDDEN

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

OF_FLIGHT = ("flight", "number", "episode", "flight_start_s")


@dataclass(frozen=True)
class KnownError:
    """By how much a channel of the case's aircraft reads too high, as its other flights show.

    ``way`` : how that shows; ``second`` : what the channel is compared with, or blank;
    ``reads_high``, ``low``, ``high`` : the error and its interval [``unit``]; ``flights`` : how
    many flights it rests on; ``finding`` : sure, and great enough to matter.
    """

    channel: str
    way: str
    second: str
    unit: str
    reads_high: float
    low: float
    high: float
    flights: int
    finding: bool


@dataclass(frozen=True)
class CaseEvidence:
    """What stands beside a case's verdict.

    ``flags`` : rows of the store's quality_flags, times from the flight's start; ``sources`` :
    rows of its other_sources; ``errors`` : of the aircraft; ``least_flights`` : below so many
    nothing is said of one.
    """

    flags: tuple[Mapping[str, Any], ...]
    sources: tuple[Mapping[str, Any], ...]
    errors: tuple[KnownError, ...]
    least_flights: int = LEAST_FLIGHTS


def evidence_rows(cursor: DuckDBPyConnection, folder: Path, row: Mapping[str, Any], dataset: str
                  ) -> tuple[Mapping[str, Any], ...]:
    """Return what a dataset holds of an exceedance, from the one file that has it."""
    place = (folder / dataset / f"year={row['year']}" / f"month={row['store_month']}"
             / str(row["shard"]))
    if not row["present"] or not place.exists():
        return ()
    own = {column.name for table in (QUALITY_FLAGS, OTHER_SOURCES) for column in table.columns
           } - {*OF_FLIGHT, *HIDDEN, "limits_sheet"}
    found = all_rows(cursor, "select * from read_parquet(?, hive_partitioning = false) where "
                     "flight_key = ? and number = ?", str(place), row["flight_key"], row["number"])
    began = row["flight_start_s"] or 0.0
    return tuple(
        {
            name: value - began if name in ("first_s", "last_s") and value is not None else value
            for name, value in found_row.items()
            if name in own
        }
        for found_row in found
    )


def known_errors(folder: Path) -> dict[str, tuple[KnownError, ...]]:
    """Return the instrument errors that a store's flights show, by aircraft."""
    found: dict[str, list[KnownError]] = {}
    for error in aircraft_errors(folder):
        if all(map(math.isfinite, (error.reads_high, error.low, error.high))):
            found.setdefault(error.aircraft, []).append(
                KnownError(
                    error.channel,
                    error.way,
                    error.second,
                    error.unit,
                    error.reads_high,
                    error.low,
                    error.high,
                    len(error.flights),
                    error.finding,
                )
            )
    return {name: tuple(errors) for name, errors in found.items()}

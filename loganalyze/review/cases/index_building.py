"""Building the index: every exceedance of a store, joined with its flight, in memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from loganalyze.fleet.judging.flight_rows import FLIGHTS, RETURNED
from loganalyze.fleet.store.store_queries import connect_store
from loganalyze.review.cases.case_filter import CERTAINTY, SEVERITIES
from loganalyze.review.cases.case_matching import KEY_DIGITS

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

HIDDEN = ("log", "aircraft", "registration", "source", "log_sha256", "start_utc", "utc", "tags",
          "flight_key", "judgement_key", "flight_start_utc", "shard", "year", "sheet_file")
"""Columns that tell whose flight it was, or by which that can be looked up."""

Pseudonym = Callable[[str, str], str]
"""Gives the name under which an "aircraft" or a limits "sheet" is shown."""


@dataclass(frozen=True)
class StoreState:
    """What of a store the index was built from: it differs once a run has written."""

    shards: tuple[tuple[str, int], ...]

    @classmethod
    def of(cls, folder: Path) -> StoreState:
        """Return the state of a store now."""
        found = [(path.name, path.stat().st_mtime_ns) for dataset in (FLIGHTS.name, RETURNED)
                 for path in (folder / dataset).glob("*/*/*.parquet")]
        return cls(tuple(sorted(found)))


def built_index(folder: Path, pseudonym: Pseudonym) -> DuckDBPyConnection:
    """Return an index in memory: its tables hold nothing that a query would have to read anew.

    ``cases`` : a row an exceedance that counts; ``causes``, ``measures``, ``flights_now`` : their
    rows of the store; ``standings`` : empty; ``listed`` : a view of cases with their standing.

    Raises
    ------
    Problem
        Where the folder is no store.
    """
    connection = connect_store(folder)
    connection.execute("create table pseudonyms (aircraft varchar, aircraft_shown varchar)")
    connection.execute("create table sheets (name varchar, name_shown varchar)")
    insert(connection, "sheets", [(name, pseudonym("sheet", name)) for (name,) in
                                  connection.execute("select distinct limits_sheet from flights "
                                                     "where limits_sheet is not null").fetchall()])
    pattern = str(folder / FLIGHTS.name / "*" / "*" / "*.parquet").replace("'", "''")
    # Read once: each use of the view would read every shard again.
    connection.execute(f"""
        create table flights_now as
        select flights.* exclude (limits_sheet), flights.limits_sheet as sheet_file,
            sheets.name_shown as limits_sheet, parse_filename(shards.filename) as shard
        from flights
        left join sheets on sheets.name = flights.limits_sheet
        left join (select flight_key, filename from read_parquet(
            '{pattern}', hive_partitioning = true, union_by_name = true, filename = true)) shards
        using (flight_key)""")
    names = [name for (name,) in connection.execute(
        "select distinct coalesce(registration, aircraft, '') from flights_now").fetchall()]
    insert(connection, "pseudonyms", [(name, pseudonym("aircraft", name)) for name in names])
    connection.execute(_CASES)
    for table, source in (("causes", "contributions"), ("measures_now", "measures")):
        connection.execute(f"create table {table} as select rows.* exclude (limits_sheet) "
                           f"from all_{source} rows "
                           "semi join flights_now using (flight_key)")
    # One case of a hundred thousand is found by its key without reading the others.
    for table, column in (("cases", "case_key"), ("flights_now", "flight_key"),
                          ("causes", "flight_key"), ("measures_now", "flight_key")):
        connection.execute(f"create index {table}_by_{column} on {table} ({column})")
    connection.execute(_STANDINGS)
    connection.execute(_LISTED)
    return connection


def insert(connection: DuckDBPyConnection, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """Insert rows into a table of the index, all columns in order; many at once are quick."""
    if not rows:
        return
    names = [f"c{number}" for number in range(len(rows[0]))]
    incoming = pa.Table.from_pylist([dict(zip(names, row, strict=True)) for row in rows])
    connection.register("incoming", incoming)
    connection.execute(f"insert into {table} select * from incoming")
    connection.unregister("incoming")


def _ranks(column: str, words: tuple[str, ...]) -> str:
    whens = " ".join(f"when '{word}' then {rank}" for rank, word in enumerate(words))
    return f"case coalesce({column}, 'none') {whens} else {len(words)} end"


def own_key_sql(log_sha256: str, limit: str, start_s: str) -> str:
    """Return in SQL what `own_key` computes, from expressions for its arguments."""
    return (f"substr(sha256({log_sha256} || '|' || {limit} || '|' || cast(cast(round_even("
            f"{start_s} * 1000, 0) as bigint) as varchar)), 1, {KEY_DIGITS})")


_CASES = f"""
    create table cases as
    select rows.* exclude (year, month, limits_sheet),
        flights_now.log_sha256, flights_now.source, flights_now.registration,
        flights_now.tags, flights_now.sheet_file, flights_now.limits_sheet,
        flights_now.judgement_key, flights_now.judgement, flights_now.version,
        flights_now.shard, flights_now.start_utc as flight_start_utc,
        flights_now.year, flights_now.month as store_month,
        strftime(rows.start_utc, '%Y-%m') as month,
        {own_key_sql("flights_now.log_sha256", 'rows."limit"', "rows.start_s")} as own_key,
        own_key as case_key, cast(null as varchar) as split_from,
        cast(null as varchar) as merged_into, true as present,
        rows.worst_excess_kt / rows.worst_limit_airspeed_kt as excess_share,
        {_ranks('rows.severity', SEVERITIES)} as severity_rank,
        {_ranks('rows.assessment', CERTAINTY)} as certainty_rank,
        pseudonyms.aircraft_shown,
        lower(concat_ws(' ', pseudonyms.aircraft_shown, rows."limit", rows.severity,
              rows.assessment, rows.phase, rows.severity_rule, strftime(rows.start_utc, '%Y-%m')))
              as case_text
    from all_exceedances rows
    join flights_now using (flight_key)
    join pseudonyms
        on pseudonyms.aircraft = coalesce(flights_now.registration, flights_now.aircraft, '')"""

_STANDINGS = """
    create table standings (
        case_key varchar, version integer, decision varchar, status varchar,
        decided_at timestamp with time zone, open_follow_ups integer, next_due date,
        owners varchar[], words varchar)"""

STANDING_COLUMNS = """coalesce(standings.version, 0) as standing_version, standings.decision,
        coalesce(standings.status, 'open') as status,
        standings.status is null or standings.status != 'decided' as needs_look,
        coalesce(standings.open_follow_ups, 0) as open_follow_ups, standings.next_due,
        coalesce(standings.owners, []) as owners"""
"""What a case has of its standing in the view `listed`."""
NO_STANDING: Mapping[str, Any] = {
    "standing_version": 0, "decision": None, "status": "open", "needs_look": True,
    "open_follow_ups": 0, "next_due": None, "owners": []}
"""The same of a case of which nobody has said anything."""

_LISTED = f"""
    create view listed as
    select cases.*, {STANDING_COLUMNS}, standings.words
    from cases left join standings using (case_key)"""

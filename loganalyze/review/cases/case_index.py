"""The index of all cases: list, search and one case, fast enough for a hundred thousand."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loganalyze.fleet.judging.evidence_rows import AROUND_S
from loganalyze.fleet.store.store_layout import is_protected
from loganalyze.fleet.store.store_queries import connect_store
from loganalyze.review.cases.case_evidence import (
    CaseEvidence,
    KnownError,
    known_errors,
)
from loganalyze.review.cases.case_filter import ORDERED, CaseFilter
from loganalyze.review.cases.case_matching import Span, match_cases
from loganalyze.review.cases.case_rows import (
    LISTED,
    CaseIdentity,
    CaseMaterial,
    CasePage,
    ListedCase,
    Standing,
    all_rows,
    listed_case,
    one_row,
    shown,
)
from loganalyze.review.cases.index_building import (
    HIDDEN,
    Pseudonym,
    StoreState,
    built_index,
    insert,
    own_key_sql,
)
from loganalyze.review.cases.kept_results import KeptResults
from loganalyze.review.cases.stored_case import (
    StoredCase,
    as_listed,
    stored_case,
    with_standings,
)
from loganalyze.review.cases.verdict_changes import VerdictChange, verdict_changes, verdict_of

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

LISTS_KEPT, CASES_KEPT = 200, 500
LOOK_EVERY_S = 2.0
"""How often a store is looked at for what a run has written since [s]."""

_EARLIER = f"""
    select flights.log_sha256, rows."limit", rows.start_s, rows.end_s
    from all_exceedances rows join all_flights flights using (flight_key)
    where {own_key_sql("flights.log_sha256", 'rows."limit"', "rows.start_s")} = ?"""


class CaseIndex:
    """All cases of a store, in memory; safe to use from several threads.

    Parameters
    ----------
    folder : Path
        The store.
    pseudonym : callable
        Gives the name under which an aircraft, or a limits sheet, is shown.

    Raises
    ------
    Problem
        Where the folder is no store.
    """

    def __init__(self, folder: Path, pseudonym: Pseudonym) -> None:
        self.folder = folder
        self._pseudonym = pseudonym
        self._lock = threading.RLock()
        self._standings: dict[str, Standing] = {}
        self._lists: KeptResults[Any] = KeptResults(LISTS_KEPT)
        """Forgotten whenever anything is said of a case."""
        self._stored: KeptResults[Any] = KeptResults(CASES_KEPT)
        """Forgotten when a run has written, and when a case gets another key or is gone."""
        self._looked = time.monotonic()
        self._state = StoreState.of(folder)
        self._connection = built_index(folder, pseudonym)

    def take(self, standings: Iterable[Standing]) -> None:
        """Take what people have said of cases, in place of what was said before of the same."""
        with self._lock:
            new = {standing.case_key: standing for standing in standings}
            unknown = [standing for key, standing in new.items() if key not in self._standings]
            self._standings.update(new)
            if unknown:
                self._match({standing.log_sha256 for standing in unknown})
            self._write_standings(list(new.values()))
            self._lists.forget()

    def look_again(self, *, at_once: bool = False) -> bool:
        """Build the index anew where a run has written to the store; return whether it was."""
        with self._lock:
            if not at_once and time.monotonic() - self._looked < LOOK_EVERY_S:
                return False
            self._looked = time.monotonic()
            state = StoreState.of(self.folder)
            if state == self._state:
                return False
            self._connection = built_index(self.folder, self._pseudonym)
            self._state = state
            if self._standings:
                self._match({standing.log_sha256 for standing in self._standings.values()})
                self._write_standings(list(self._standings.values()))
            self._stored.forget()
            self._lists.forget()
            return True

    def page(self, wanted: CaseFilter, today: date) -> CasePage:
        """Return a page of the cases that a filter lets through."""
        found: CasePage = self._lists.get(("page", wanted, today),
                                          lambda: self._page(wanted, today))
        return found

    def _page(self, wanted: CaseFilter, today: date) -> CasePage:
        condition, values = wanted.where(today)
        cursor = self._connection.cursor()
        total: int = self._lists.get(("total", condition, tuple(values)), lambda: cursor.execute(
            f"select count(*) from listed where {condition}", values).fetchall()[0][0])
        rows = cursor.execute(
            f"select {LISTED} from listed where {condition} order by {wanted.order} "
            f"limit {wanted.page_size} offset {(wanted.page - 1) * wanted.page_size}",
            values).fetchall()
        return CasePage(total, wanted.page, wanted.page_size, tuple(map(listed_case, rows)))

    def keys(self, wanted: CaseFilter, today: date, first: int, most: int) -> list[str]:
        """Return keys of the cases that a filter lets through, from a place in the list on."""
        condition, values = wanted.where(today)

        def read() -> list[str]:
            return [str(key) for (key,) in self._connection.cursor().execute(
                f"select case_key from listed where {condition} order by {wanted.order} "
                f"limit {most} offset {first}", values).fetchall()]

        found: list[str] = self._lists.get(
            ("keys", condition, tuple(values), wanted.order, first, most), read)
        return found

    def has(self, key: str) -> bool:
        """Whether there is a case under a key."""
        return bool(self._connection.cursor().execute(
            "select 1 from cases where case_key = ?", [key]).fetchall())

    def choices(self) -> dict[str, list[tuple[str, int]]]:
        """Return what can be filtered by, with the number of cases of each."""
        of_store: dict[str, list[tuple[str, int]]] = self._stored.get("choices", self._counted)
        status = self.counts()
        return {**of_store, "status": [(word, status[word]) for word in ORDERED["status"]
                                       if word in status]}

    def _counted(self) -> dict[str, list[tuple[str, int]]]:
        """Return the choices that no decision changes."""
        cursor = self._connection.cursor()
        found = {}
        for name, column in (("limit", '"limit"'), ("phase", "phase"),
                             ("aircraft", "aircraft_shown"), ("month", "month"),
                             ("severity", "coalesce(severity, 'none')"),
                             ("certainty", "assessment")):
            counted = [(word, count) for word, count in cursor.execute(
                f"select {column}, count(*) from cases group by 1 order by 1").fetchall()
                if word is not None]
            order = ORDERED.get(name)
            found[name] = (sorted(counted, key=lambda pair: order.index(pair[0])) if order
                           else counted)
        return found

    def resolve(self, key: str) -> str | None:
        """Return the key under which a case is found now, or None.

        A key of an earlier judgement of the same log leads to the case that overlaps it.
        """
        cursor = self._connection.cursor()
        if self.has(key):
            return key
        with connect_store(self.folder) as store:
            found = store.execute(_EARLIER, [key]).fetchall()
        for sha256, limit, start, end in found:
            rows = cursor.execute(
                'select case_key from cases where log_sha256 = ? and "limit" = ? and present '
                "order by least(end_s, ?) - greatest(start_s, ?) desc, start_s limit 1",
                [sha256, limit, end, start]).fetchall()
            if rows:
                return str(rows[0][0])
        return None

    def material(self, key: str) -> CaseMaterial | None:
        """Return all of a case that a reviewer sees; None where there is no such case."""
        stored = self._of_store(key)
        if stored is None:
            return None
        (row,) = with_standings(self._connection.cursor(), [stored.row])
        return CaseMaterial(
            as_listed(row), shown(row), shown(stored.flight), tuple(map(shown, stored.causes)),
            tuple(map(shown, stored.measures)), self._changes(key, row), row["split_from"],
            row["merged_into"])

    def evidence(self, key: str) -> CaseEvidence | None:
        """Return what stands beside a case's verdict; None where there is no such case."""
        stored = self._of_store(key)
        if stored is None:
            return None
        errors: Mapping[str, tuple[KnownError, ...]] = self._stored.get(
            "errors", lambda: known_errors(self.folder))
        return CaseEvidence(stored.flags, stored.sources, errors.get(
            stored.row["registration"] or stored.row["aircraft"] or "", ()))

    def _of_store(self, key: str) -> StoredCase | None:
        found: StoredCase | None = self._stored.get(("case", key), lambda: stored_case(
            self._connection.cursor(), self.folder, key))
        return found

    def verdict(self, key: str) -> tuple[Span, dict[str, Any]] | None:
        """Return the place of a case and its present verdict, for a decision to keep."""
        row = one_row(self._connection.cursor(), "select * from cases where case_key = ?", key)
        if row is None:
            return None
        span = Span(key, row["log_sha256"], row["limit"], row["start_s"], row["end_s"])
        return span, verdict_of(row)

    def identity(self, key: str) -> CaseIdentity | None:
        """Return whose flight a case is; only `ReviewDesk.reveal` may call this."""
        row = one_row(self._connection.cursor(), "select * from cases where case_key = ?", key)
        if row is None:
            return None
        whose, known = row, True
        if is_protected(self.folder):
            # Read now, not from the index: what was deleted for its age is not to be seen.
            with connect_store(self.folder) as store:
                kept = store.execute("select 1 from duckdb_views() where view_name = "
                                     "'identities'").fetchall()
                found = one_row(store, "select *, start_utc as flight_start_utc, limits_sheet as "
                                "sheet_file from identities where flight_key = ?",
                                row["flight_key"]) if kept else None
            whose, known = found or {}, found is not None
        start = whose.get("flight_start_utc")
        return CaseIdentity(
            whose.get("aircraft"), whose.get("registration"), whose.get("log"),
            whose.get("source"), whose.get("sheet_file"),
            start.isoformat() if isinstance(start, datetime) else None,
            whose.get("own_sha256") or row["log_sha256"],
            whose.get("tags") or "{}", known)

    def of_same_aircraft(self, key: str) -> tuple[ListedCase, ...]:
        """Return other cases of a case's aircraft, the latest month first."""
        stored = self._of_store(key)
        return () if stored is None else self._near(stored.same_aircraft)

    def similar(self, key: str) -> tuple[ListedCase, ...]:
        """Return the cases most like a case, the nearest first."""
        stored = self._of_store(key)
        return () if stored is None else self._near(stored.similar)

    def _near(self, rows: Sequence[Mapping[str, Any]]) -> tuple[ListedCase, ...]:
        return tuple(map(as_listed, with_standings(self._connection.cursor(), rows)))

    def samples(self, key: str) -> dict[str, list[Any]]:
        """Return the stored samples around a case by column, time [s] from the flight's start.

        Empty where the store keeps none; instants in UTC are left out.
        """
        rows = self._connection.cursor().execute(
            "select flight_key, shard, year, store_month, flight_start_s, start_s, end_s from "
            "cases where case_key = ? and present", [key]).fetchall()
        if not rows:
            return {}
        flight_key, shard, year, month, flight_start, start, end = rows[0]
        place = self.folder / "samples" / f"year={year}" / f"month={month}" / shard
        if not place.exists():
            return {}
        cursor = self._connection.cursor().execute(
            "select * from read_parquet(?) where flight_key = ? and time_s between ? and ? "
            "order by time_s", [str(place), flight_key, start - AROUND_S, end + AROUND_S])
        names = [column[0] for column in cursor.description or ()]
        columns = dict(zip(names, zip(*cursor.fetchall(), strict=True), strict=False))
        found = {name: list(values) for name, values in columns.items()
                 if name not in HIDDEN and name != "limits_sheet"}
        if found:
            found["time_s"] = [value - flight_start for value in found["time_s"]]
        return found

    def counts(self) -> dict[str, int]:
        """Return the number of cases by status."""
        found: dict[str, int] = self._lists.get("counts", lambda: dict(
            self._connection.cursor().execute(
                "select status, count(*) from listed group by 1").fetchall()))
        return found

    def _match(self, logs: set[str]) -> None:
        """Give the exceedances of some logs the keys of the cases that they continue."""
        known = [Span(standing.case_key, standing.log_sha256, standing.limit, standing.start_s,
                      standing.end_s)
                 for standing in self._standings.values() if standing.log_sha256 in logs]
        cursor = self._connection.cursor()
        rows = cursor.execute(
            'select own_key, log_sha256, "limit", start_s, end_s from cases '
            "where present and log_sha256 in (select unnest(?))", [sorted(logs)]).fetchall()
        found = match_cases(known, [Span(*row) for row in rows])
        cursor.execute("begin")
        (dropped,) = cursor.execute("delete from cases where not present and log_sha256 in "
                                    "(select unnest(?))", [sorted(logs)]).fetchall()[0]
        moved = [(case, own) for own, case in found.keys.items() if own != case]
        if moved:
            cursor.executemany("update cases set case_key = ? where own_key = ?", moved)
        if found.split:
            cursor.executemany("update cases set split_from = ? where own_key = ?",
                               [(case, own) for own, case in found.split.items()])
        gone = [span.key for span in known if span.key not in found.keys.values()]
        for key in gone:
            self._add_gone(cursor, self._standings[key], found.merged.get(key))
        cursor.execute("commit")
        if dropped or moved or found.split or gone:
            self._stored.forget()

    def _add_gone(self, cursor: DuckDBPyConnection, standing: Standing, merged: str | None) -> None:
        """Keep a case without an exceedance in the list, with the verdict it was decided on."""
        kept = {name: value for name, value in standing.verdict.items()
                if name in self._case_columns(cursor)}
        flight = one_row(cursor, "select flights_now.*, aircraft_shown from flights_now join "
                      "pseudonyms on pseudonyms.aircraft = coalesce(registration, "
                      "flights_now.aircraft, '') where log_sha256 = ? order by flight limit 1",
                      standing.log_sha256) or {}
        start = flight.get("start_utc")
        row = {
            **kept, "limit": standing.limit, "start_s": standing.start_s, "end_s": standing.end_s,
            "log_sha256": standing.log_sha256, "case_key": standing.case_key,
            "own_key": standing.case_key, "present": False, "merged_into": merged,
            "aircraft_shown": flight.get("aircraft_shown", ""),
            "month": f"{start:%Y-%m}" if isinstance(start, datetime) else None,
            "flight_key": flight.get("flight_key"), "source": flight.get("source"),
            "aircraft": flight.get("aircraft"), "registration": flight.get("registration"),
            "log": flight.get("log"), "flight_start_utc": start,
            "judgement_key": flight.get("judgement_key"), "tags": flight.get("tags"),
            "sheet_file": flight.get("sheet_file"), "limits_sheet": flight.get("limits_sheet"),
            "case_text": standing.limit.lower(),
            "severity_rank": 4, "certainty_rank": 6,
        }
        names = ", ".join(f'"{name}"' for name in row)
        cursor.execute(f"insert into cases ({names}) values ({', '.join('?' * len(row))})",
                       list(row.values()))

    def _case_columns(self, cursor: DuckDBPyConnection) -> set[str]:
        return {name for (name,) in cursor.execute(
            "select column_name from duckdb_columns() where table_name = 'cases'").fetchall()}

    def _write_standings(self, standings: Sequence[Standing]) -> None:
        cursor = self._connection.cursor()
        present: dict[str, dict[str, Any]] = {}
        keys = [standing.case_key for standing in standings]
        for row in all_rows(
                cursor, "select * from cases where case_key in (select unnest(?))", keys):
            present[row["case_key"]] = row
        rows = [(standing.case_key, standing.version, standing.decision,
                 _status(standing, present.get(standing.case_key)), standing.decided_at,
                 standing.open_follow_ups, standing.next_due, list(standing.owners),
                 standing.words.lower())
                for standing in standings]
        cursor.execute("begin")
        cursor.execute("delete from standings where case_key in (select unnest(?))", [keys])
        insert(cursor, "standings", rows)
        cursor.execute("commit")

    def _changes(self, key: str, row: Mapping[str, Any]) -> tuple[VerdictChange, ...]:
        standing = self._standings.get(key)
        if standing is None or standing.decision is None:
            return ()
        return verdict_changes(standing.verdict, row)


def _status(standing: Standing, row: Mapping[str, Any] | None) -> str:
    """Return how far a case is that somebody has dealt with."""
    gone = row is None or not row["present"]
    if standing.decision is None:
        return "gone" if gone else "open"
    if row is None or not verdict_changes(standing.verdict, row):
        return "decided"
    return "gone" if gone else "moved"

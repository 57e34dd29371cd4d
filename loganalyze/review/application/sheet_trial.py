"""A case's log judged by a corrected sheet: side by side first, then adopted into the store."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from loganalyze.fleet.judging.aircraft_choice import AircraftChoice, combined_digest
from loganalyze.fleet.judging.log_judging import FleetJob, JudgedLog, LogTask, judge, row_tables
from loganalyze.fleet.judging.log_sources import find_logs
from loganalyze.fleet.store.shard_writing import writing
from loganalyze.fleet.store.store_layout import is_protected
from loganalyze.fleet.store.store_queries import connect_store, known_logs
from loganalyze.problems import Problem
from loganalyze.review.application.desk_forms import SheetForm
from loganalyze.review.application.desk_views import SheetTrial, TrialVerdict
from loganalyze.review.cases.case_matching import Span, match_cases, own_key
from loganalyze.review.cases.case_rows import CaseIdentity, all_rows, shown
from loganalyze.review.cases.verdict_changes import VERDICT_COLUMNS

CONTROL = dict.fromkeys(range(32))


def try_sheet(store: Path, identity: CaseIdentity, case: Span, form: SheetForm) -> SheetTrial:
    """Judge the log of a case by a corrected sheet, beside what counts now.

    Raises
    ------
    Problem
        For a sheet with mistakes, and a log that isn't where it was or has other bytes now.
    """
    with _judged(identity, form) as judged:
        trial = _rows(judged, "exceedances")
        flights = _rows(judged, "flights")
    with connect_store(store) as database:
        now = all_rows(database.cursor(), "select rows.* from exceedances rows join flights "
                       "using (flight_key) where log_sha256 = ? order by rows.start_s",
                       case.log_sha256)
        outcomes = all_rows(database.cursor(), "select flight, outcome from flights "
                            "where log_sha256 = ? order by flight", case.log_sha256)
    own = next((number for number, row in enumerate(now) if own_key(
        case.log_sha256, row["limit"], row["start_s"]) == case.key
        or (row["limit"] == case.limit and row["start_s"] <= case.end_s
            and row["end_s"] >= case.start_s)), None)
    flight = 1 if own is None else now[own]["flight"]
    return SheetTrial(_outcome(outcomes, flight), _outcome(flights, flight),
                      tuple(_side_by_side(now, trial, case.log_sha256)), own, sheet_digest(form))


def adopt_sheet(store: Path, identity: CaseIdentity, form: SheetForm) -> str:
    """Write the verdict by a corrected sheet into the store, to count from now on.

    A later run over the fleet with the sheet before lets that one's verdict count again.

    Returns
    -------
    str
        The digest of sheet and columns file.

    Raises
    ------
    Problem
        As `try_sheet`, and where the store is being written.
    """
    if is_protected(store):
        raise Problem("the store is protected, and the desk doesn't have its key", "the case",
                      "judge the log by this sheet with loganalyze fleet --protect")
    with _judged(identity, form) as judged, writing(store) as writer:
        known = known_logs(store)
        log = known[judged.task.sha256]
        if judged.judgement_key not in log.judgement_keys:
            writer.write([judged], [1 + len(log.judgement_keys)])
            log.judgement_keys.append(judged.judgement_key)
        log.counts = judged.judgement_key
        writer.write_returned([(sha256, known_log.counts, len(known_log.judgement_keys))
                               for sha256, known_log in sorted(known.items())
                               if known_log.counts != known_log.judgement_keys[-1]])
    return sheet_digest(form)


def sheet_digest(form: SheetForm) -> str:
    """Return the SHA-256 of a sheet and its columns file."""
    return combined_digest([form.sheet, form.columns])


@contextmanager
def _judged(identity: CaseIdentity, form: SheetForm) -> Iterator[JudgedLog]:
    """Judge a log by the sheet of a form, for the aircraft that the store names."""
    if not identity.source:
        raise Problem("the store's identities, which say where the log is, are out of reach",
                      "the case", "judge the log with loganalyze analyze")
    try:
        (source,) = find_logs([identity.source], folders=Path(identity.source).is_dir())
        digest = source.sha256()
    except (Problem, OSError, ValueError):
        raise Problem("the log isn't where it was when it was judged", "the case",
                      "put it back to where it was") from None
    if digest != identity.log_sha256:
        raise Problem("the log has other bytes than when it was judged", "the case",
                      "put back the one that was judged") from None
    name = f"corrected_{sheet_digest(form)[:8]}.toml"
    with tempfile.TemporaryDirectory(prefix="loganalyze-") as scratch:
        folder = Path(scratch)
        (folder / name).write_text(form.sheet, encoding="utf-8")
        columns = ""
        if form.columns.strip():
            (folder / "columns.toml").write_text(form.columns, encoding="utf-8")
            columns = 'columns = "columns.toml"\n'
        aircraft = (identity.aircraft or "").translate(CONTROL)
        (folder / "fleet.toml").write_text(
            f'[[aircraft]]\npath = ["*"]\nname = {json.dumps(aircraft, ensure_ascii=False)}\n'
            f'{columns}[[aircraft.sheet]]\nlimits = "{name}"\n', encoding="utf-8")
        try:
            choice = AircraftChoice.of_fleet(folder / "fleet.toml")
            judged = judge(FleetJob(choice), LogTask(source, digest))
        except Problem as problem:
            where = problem.where.replace(f"{folder}/", "").replace(source.name, "the log")
            raise Problem(problem.what.replace(source.name, "the log"), where, problem.hint
                          ) from None
        yield replace(judged, registration=identity.registration or "", tags=identity.tags)


def _rows(judged: JudgedLog, name: str) -> list[dict[str, Any]]:
    (table,) = (registered for registered in row_tables() if registered.name == name)
    names = [column.name for column in table.columns]
    return [dict(zip(names, row, strict=True)) for _, row in judged.rows[name]]


def _side_by_side(now: Sequence[Mapping[str, Any]], trial: Sequence[Mapping[str, Any]], log: str
                  ) -> Iterator[TrialVerdict]:
    """Yield what the same time and limit come to, then what only the trial finds."""
    def spans(rows: Sequence[Mapping[str, Any]], side: str) -> list[Span]:
        return [Span(f"{side}{number}", log, row["limit"], row["start_s"], row["end_s"])
                for number, row in enumerate(rows)]

    found = match_cases(spans(now, "now "), spans(trial, "trial "))
    partner = {before: after for after, before in found.keys.items()}
    for number, row in enumerate(now):
        other = partner.get(f"now {number}")
        yield TrialVerdict(row["limit"], _verdict(row), None if other is None else _verdict(
            trial[int(other.removeprefix("trial "))]))
    for number, row in enumerate(trial):
        if f"trial {number}" not in found.keys:
            yield TrialVerdict(row["limit"], None, _verdict(row))


def _verdict(row: Mapping[str, Any]) -> dict[str, Any]:
    return shown({name: row[name] for name in VERDICT_COLUMNS
                  if name in row and name != "limits_sheet"})


def _outcome(flights: Sequence[Mapping[str, Any]], flight: int) -> str:
    return next((str(row["outcome"]) for row in flights if row["flight"] == flight), "not judged")

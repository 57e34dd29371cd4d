"""What the index holds of a case, split into what a reviewer sees and what is an identity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from loganalyze.review.cases.index_building import HIDDEN
from loganalyze.review.cases.verdict_changes import VerdictChange

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

LISTED = """case_key, status, decision, standing_version, aircraft_shown, month, "limit", severity,
    assessment, probability, worst_excess_kt, worst_excess_mach, excess_share, duration_s, phase,
    open_follow_ups, next_due, owners"""
"""The columns of a `ListedCase`, in order."""


@dataclass(frozen=True)
class Standing:
    """What people have said of a case so far; made by `review.decisions`.

    ``version`` : rises with every change; ``verdict`` : that the decision was made on, as
    `verdict_of` keeps it; ``owners``, ``next_due`` : of the follow-ups that are open;
    ``words`` : reason, notes and follow-ups, for the search.
    """

    case_key: str
    log_sha256: str
    limit: str
    start_s: float
    end_s: float
    version: int
    decision: str | None
    decided_at: datetime | None
    verdict: Mapping[str, Any]
    open_follow_ups: int
    next_due: date | None
    owners: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class ListedCase:
    """A line of the list; nothing in it tells whose flight it was.

    ``aircraft`` : its pseudonym; ``month`` : of the flight, None where the log has no date;
    ``excess_kt``, ``excess_mach`` : the greatest; ``excess_share`` : of the limit, as a fraction;
    ``certainty`` : what the decision rule makes of it, as flown.
    """

    case_key: str
    status: str
    decision: str | None
    version: int
    aircraft: str
    month: str | None
    limit: str
    severity: str | None
    certainty: str | None
    probability: float | None
    excess_kt: float | None
    excess_mach: float | None
    excess_share: float | None
    duration_s: float
    phase: str | None
    open_follow_ups: int
    next_due: date | None
    owners: tuple[str, ...]


@dataclass(frozen=True)
class CasePage:
    """A page of the list, and how many cases the filter lets through in all."""

    total: int
    page: int
    page_size: int
    cases: tuple[ListedCase, ...]

    @property
    def pages(self) -> int:
        """How many pages there are; at least one."""
        return max(1, -(-self.total // self.page_size))


@dataclass(frozen=True)
class CaseIdentity:
    """Whose flight a case is: for a gatekeeper, for a reason, with a trace in the trail.

    ``known`` : False where a protected store's identity isn't within reach or was deleted.
    """

    aircraft: str | None
    registration: str | None
    log: str | None
    source: str | None
    limits_sheet: str | None
    start_utc: str | None
    log_sha256: str
    tags: str
    known: bool


@dataclass(frozen=True)
class CaseMaterial:
    """All of a case that a reviewer sees.

    ``listed`` : its line of the list; ``exceedance``, ``flight`` : its rows in the store without
    what tells whose they are; ``causes`` : two rows, to the limit and to the worst; ``measures`` :
    of its flight, a row a limit; ``changes`` : what moved under the decision; ``split_from``,
    ``merged_into`` : keys of cases that share its time since its log was judged anew.
    """

    listed: ListedCase
    exceedance: Mapping[str, Any]
    flight: Mapping[str, Any]
    causes: tuple[Mapping[str, Any], ...]
    measures: tuple[Mapping[str, Any], ...]
    changes: tuple[VerdictChange, ...]
    split_from: str | None
    merged_into: str | None


def listed_case(row: tuple[Any, ...]) -> ListedCase:
    """Return a row of LISTED as a line of the list."""
    values = (*row[:-1], tuple(row[-1] or ()))
    return ListedCase(*values)


INTERNAL = ("case_text", "words", "own_key", "store_month", "severity_rank", "certainty_rank",
            "standing_version", "needs_look", "owners", "next_due", "open_follow_ups")
"""Columns of the index that aren't of the exceedance."""


def shown(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row without the columns that tell whose flight it was."""
    return {name: value for name, value in row.items() if name not in HIDDEN
            and name not in INTERNAL}


def all_rows(cursor: DuckDBPyConnection, query: str, *values: Any) -> list[dict[str, Any]]:
    """Return the rows of a query by column."""
    found = cursor.execute(query, list(values))
    names = [column[0] for column in found.description or ()]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def one_row(cursor: DuckDBPyConnection, query: str, *values: Any) -> dict[str, Any] | None:
    """Return the first row of a query by column; None without any."""
    found = all_rows(cursor, query, *values)
    return found[0] if found else None

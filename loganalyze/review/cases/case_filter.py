"""Which cases are listed, in which order: the one form of addresses, kept filters and queries."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Literal, get_args
from urllib.parse import urlencode

from pydantic import BaseModel, ConfigDict, Field

from loganalyze.results.assessment_results import (
    NOT_DETERMINABLE,
    OUTCOMES,
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    PROVEN_UNDER,
    UNDER_NOT_PROVEN,
)

Status = Literal["open", "moved", "decided", "gone"]
"""Open: without a decision. Moved: decided, and a later judgement says otherwise. Decided. Gone:
decided or noted, and the judgement that counts has no such exceedance."""
Decision = Literal["valid", "nuisance", "false"]
"""The terms of the safety guidance for what an event is found to be."""
Severity = Literal["high", "medium", "low", "none"]
FollowUpState = Literal["open", "overdue", "none"]
Sort = Literal["attention", "severity", "certainty", "excess", "duration", "age", "aircraft",
               "limit", "phase", "status", "due"]

SEVERITIES = ("high", "medium", "low", "none")
CERTAINTY = (PROVEN_OVER, OVER_NOT_PROVEN, NOT_DETERMINABLE, UNDER_NOT_PROVEN, PROVEN_UNDER)
"""The outcomes of the decision rule, the most certain exceedance first."""
assert set(CERTAINTY) == set(OUTCOMES)

STATUSES: tuple[str, ...] = get_args(Status)
ORDERED = {"severity": SEVERITIES, "certainty": CERTAINTY, "status": STATUSES}
"""What can be filtered by in an order of its own; all else by name."""
TEXTS = ("case_text", "case_key", "words")
"""Columns of `listed` in which a word is looked for; one that is null holds none."""
LARGEST_PAGE = 200
MONTH = r"^[0-9]{4}-(0[1-9]|1[0-2])$"

_ORDER: dict[str, str] = {
    "attention": "needs_look desc, severity_rank, certainty_rank, month, excess_share desc",
    "severity": "severity_rank",
    "certainty": "certainty_rank, probability desc",
    "excess": "excess_share desc",
    "duration": "duration_s desc",
    "age": "month",
    "aircraft": "aircraft_shown",
    "limit": '"limit"',
    "phase": "phase",
    "status": "status",
    "due": "next_due",
}
"""How each sort begins; the key of the case ends every one, so that pages never overlap."""


class CaseFilter(BaseModel):
    """Which cases are listed: several values of one field are alternatives, fields add up.

    ``certainty`` : as flown; ``aircraft`` : as shown, that is under its pseudonym; ``since``,
    ``until`` : months of the flight; ``text`` : in what a reviewer sees of a case, notes included;
    ``sort`` : "attention" puts first what needs a look: moved or undecided cases, then by severity,
    certainty, age and excess; ``descending`` : the other way round; ``page`` : from 1.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    status: tuple[Status, ...] = ()
    decision: tuple[Decision, ...] = ()
    severity: tuple[Severity, ...] = ()
    certainty: tuple[Literal["proven over", "over but not proven", "under but not proven",
                             "proven under", "not determinable"], ...] = ()
    limit: tuple[str, ...] = Field(default=(), max_length=50)
    phase: tuple[str, ...] = Field(default=(), max_length=50)
    aircraft: tuple[str, ...] = Field(default=(), max_length=500)
    follow_up: tuple[FollowUpState, ...] = ()
    owner: str = Field(default="", max_length=200)
    since: str = Field(default="", pattern=rf"^$|{MONTH}")
    until: str = Field(default="", pattern=rf"^$|{MONTH}")
    text: str = Field(default="", max_length=200)
    sort: Sort = "attention"
    descending: bool = False
    page: int = Field(default=1, ge=1, le=1_000_000)
    page_size: int = Field(default=50, ge=1, le=LARGEST_PAGE)

    @classmethod
    def from_query(cls, query: Mapping[str, list[str]]) -> CaseFilter:
        """Return the filter of an address's query; blank values don't count.

        Raises pydantic's ValidationError for fields that there aren't and values that can't be.
        """
        given: dict[str, Any] = {}
        for name, values in query.items():
            kept = [value for value in values if value.strip()]
            if not kept:
                continue
            field = cls.model_fields.get(name)
            several = field is not None and isinstance(field.default, tuple)
            given[name] = tuple(kept) if several else kept[-1]
        return cls(**given)

    def query(self, **changes: Any) -> str:
        """Return the filter as the query of an address, with some fields otherwise."""
        return urlencode(self.pairs(**changes))

    def of_aircraft(self, aircraft: str) -> CaseFilter:
        """Return the filter of all cases of an aircraft, the latest first; pages as long."""
        return CaseFilter(aircraft=(aircraft,), sort="age", descending=True,
                          page_size=self.page_size)

    def pairs(self, **changes: Any) -> list[tuple[str, str]]:
        """Return names and values of the filter's query, with some fields otherwise."""
        values = {**self.model_dump(exclude_defaults=True), **changes}
        pairs: list[tuple[str, str]] = []
        for name in type(self).model_fields:
            value = values.get(name)
            if isinstance(value, tuple | list):
                pairs += [(name, str(each)) for each in value]
            elif value is not None and value != type(self).model_fields[name].default:
                pairs.append((name, str(value).lower() if isinstance(value, bool) else str(value)))
        return pairs

    def where(self, today: date) -> tuple[str, list[Any]]:
        """Return the condition in SQL over the index's view `listed`, and its parameters."""
        parts: list[str] = []
        values: list[Any] = []
        for column, wanted in (
                ("status", self.status), ("decision", self.decision),
                ("coalesce(severity, 'none')", self.severity), ("assessment", self.certainty),
                ('"limit"', self.limit), ("phase", self.phase),
                ("aircraft_shown", self.aircraft)):
            if wanted:
                parts.append(f"{column} in ({', '.join('?' * len(wanted))})")
                values += wanted
        if self.follow_up:
            states = {"open": "open_follow_ups > 0", "none": "open_follow_ups = 0",
                      "overdue": "next_due < ?"}
            parts.append("(" + " or ".join(states[state] for state in self.follow_up) + ")")
            values += [today] * self.follow_up.count("overdue")
        if self.owner:
            parts.append("list_contains(owners, ?)")
            values.append(self.owner)
        for month, relation in ((self.since, ">="), (self.until, "<=")):
            if month:
                parts.append(f"month {relation} ?")
                values.append(month)
        for word in self.text.lower().split():
            parts.append(f"({' or '.join(f'contains({text}, ?)' for text in TEXTS)})")
            values += [word] * len(TEXTS)
        return " and ".join(parts) or "true", values

    @property
    def order(self) -> str:
        """The order in SQL, nulls last."""
        columns = _ORDER[self.sort].split(", ")
        if self.descending:
            columns = [column.removesuffix(" desc") if column.endswith(" desc")
                       else f"{column} desc" for column in columns]
        return ", ".join([*(f"{column} nulls last" for column in columns), "case_key"])

"""The desk: every question and every change, each asking first whether the person may."""

from __future__ import annotations

import base64
import hashlib
import hmac
import threading
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import select

from loganalyze.fleet.statistics.trend_tables import fleet_trends
from loganalyze.problems import Problem
from loganalyze.review.access.permissions import PERMISSIONS, Permission, require
from loganalyze.review.application.desk_forms import (
    AdoptionForm,
    DecisionForm,
    FollowUpChange,
    FollowUpForm,
    FollowUpQuery,
    NoteForm,
    PackForm,
    PeriodQuery,
    RevealForm,
    SheetForm,
    TrailQuery,
    WitnessQuery,
)
from loganalyze.review.application.desk_people import DeskPeople
from loganalyze.review.application.desk_views import (
    CaseView,
    Choices,
    Me,
    SheetTrial,
    TrailLine,
    TrailState,
    trail_line,
)
from loganalyze.review.application.sheet_trial import adopt_sheet, sheet_digest, try_sheet
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.cases.case_index import CaseIndex
from loganalyze.review.cases.case_matching import Span
from loganalyze.review.cases.case_rows import CaseIdentity, CasePage, shown
from loganalyze.review.decisions.case_decisions import (
    CaseRecord,
    FollowUp,
    NotThere,
    Outdated,
    add_note,
    append_sheet,
    case_record,
    change_follow_up,
    changed_cases,
    decide,
    follow_ups,
    open_follow_up,
    standings,
)
from loganalyze.review.decisions.decision_database import DecisionDatabase
from loganalyze.review.decisions.decision_tables import TRAIL
from loganalyze.review.decisions.trail_checks import check_trail
from loganalyze.review.decisions.trail_entries import Actor, TrailHead, head_of, trail_entries
from loganalyze.review.outputs.case_report import CasePack, case_report, rendered
from loganalyze.review.outputs.period_report import Period, period_report

TRAIL_SHOWN = 200
"""Entries that the view of one case shows."""
RATES_BY = ("month", "limit")


class ReviewDesk(DeskPeople):
    """A store's cases and what people say of them; safe to use from several threads.

    Every method takes first who asks, and raises `Forbidden` where their role doesn't allow it,
    `NotThere` for what there isn't, and `Outdated` where somebody else was faster. A change is
    confirmed when its method returns.

    Parameters
    ----------
    store : Path
        The folder of the store.
    database : DecisionDatabase
        What people decide.
    """

    def __init__(self, store: Path, database: DecisionDatabase) -> None:
        self.store = store
        self.database = database
        self._key = database.setting("pseudonyms").encode()
        self._index = CaseIndex(store, self._pseudonym)
        self._synced = -1
        self._lock = threading.Lock()

    @property
    def today(self) -> date:
        """The present day [UTC]."""
        return self.database.clock().date()

    def me(self, actor: Actor) -> Me:
        """Return who asks, and what they may do."""
        return Me(actor.name, actor.role, tuple(
            sorted(permission.value for permission in PERMISSIONS.get(actor.role, ()))))

    def cases(self, actor: Actor, wanted: CaseFilter) -> CasePage:
        """Return a page of the list."""
        require(actor.role, Permission.READ_CASES)
        return self._current().page(wanted, self.today)

    def case_keys(self, actor: Actor, wanted: CaseFilter, first: int, most: int) -> list[str]:
        """Return the keys of some cases of the list, from a place on."""
        require(actor.role, Permission.READ_CASES)
        return self._current().keys(wanted, self.today, first, most)

    def every_case(self, actor: Actor, wanted: CaseFilter) -> Iterator[CasePage]:
        """Yield all pages of the list, for an export."""
        require(actor.role, Permission.EXPORT)
        index, number = self._current(), 1
        while True:
            page = index.page(wanted.model_copy(update={"page": number, "page_size": 1000}),
                              self.today)
            yield page
            if number >= page.pages:
                return
            number += 1

    def choices(self, actor: Actor) -> Choices:
        """Return what can be filtered by."""
        require(actor.role, Permission.READ_CASES)
        return Choices({name: tuple(words) for name, words in self._current().choices().items()})

    def counts(self, actor: Actor) -> dict[str, int]:
        """Return the number of cases by status."""
        require(actor.role, Permission.READ_CASES)
        return self._current().counts()

    def resolve(self, actor: Actor, key: str) -> str:
        """Return the key under which a case is found now."""
        require(actor.role, Permission.READ_CASES)
        return self._resolved(key)

    def case(self, actor: Actor, key: str) -> CaseView:
        """Return one case with all that helps to judge it."""
        require(actor.role, Permission.READ_CASES)
        index = self._current()
        material, evidence = index.material(key), index.evidence(key)
        if material is None or evidence is None:
            raise NotThere(key)
        with self.database.reading() as connection:
            record = case_record(connection, key)
            entries = trail_entries(connection, case_key=key, most=TRAIL_SHOWN)
        return CaseView(material, _without_names(record), evidence, index.of_same_aircraft(key),
                        index.similar(key), tuple(map(trail_line, entries)))

    def samples(self, actor: Actor, key: str) -> dict[str, list[Any]]:
        """Return the samples around a case by column, time [s] from the flight's start."""
        require(actor.role, Permission.READ_CASES)
        if not self._current().has(key):
            raise NotThere(key)
        return self._current().samples(key)

    def decide(self, actor: Actor, key: str, form: DecisionForm) -> CaseRecord:
        """Decide on a case, or withdraw a decision."""
        require(actor.role, Permission.DECIDE)
        span, verdict = self._verdict(key)
        with self.database.writing(actor) as change:
            record = decide(change, span, verdict, decision=form.decision, reason=form.reason,
                            seen_version=form.seen_version)
        return _without_names(record)

    def add_note(self, actor: Actor, key: str, form: NoteForm) -> CaseRecord:
        """Add a note to a case."""
        require(actor.role, Permission.DECIDE)
        span, verdict = self._verdict(key)
        with self.database.writing(actor) as change:
            record = add_note(change, span, verdict, form.note)
        return _without_names(record)

    def open_follow_up(self, actor: Actor, key: str, form: FollowUpForm) -> CaseRecord:
        """Open a follow-up of a case."""
        require(actor.role, Permission.DECIDE)
        span, verdict = self._verdict(key)
        with self.database.writing(actor) as change:
            record = open_follow_up(change, span, verdict, kind=form.kind, owner=form.owner,
                                    due=form.due, task=form.task)
        return _without_names(record)

    def change_follow_up(self, actor: Actor, follow_up_id: str, form: FollowUpChange
                         ) -> CaseRecord:
        """Change or close a follow-up."""
        require(actor.role, Permission.DECIDE)
        with self.database.writing(actor) as change:
            record = change_follow_up(
                change, follow_up_id, seen_version=form.seen_version, owner=form.owner,
                due=form.due, done=form.done, outcome=form.outcome)
        return _without_names(record)

    def follow_ups(self, actor: Actor, wanted: FollowUpQuery) -> list[FollowUp]:
        """Return the follow-ups of all cases, the next due first."""
        require(actor.role, Permission.READ_CASES)
        with self.database.reading() as connection:
            found = follow_ups(connection, owner=wanted.owner,
                               only_open=wanted.only_open or wanted.overdue)
        day = self.today.isoformat()
        return (
            [follow_up for follow_up in found if follow_up.due < day] if wanted.overdue else found
        )

    def reveal(self, actor: Actor, key: str, form: RevealForm) -> CaseIdentity:
        """Return whose flight a case is, once the trail holds who saw it and why."""
        require(actor.role, Permission.REVEAL)
        self._verdict(key)
        identity = self._identity(key)
        with self.database.writing(actor) as change:
            change.append("identity seen", "identity", key, case_key=key,
                          after={"reason": form.reason})
        return identity

    def case_pack(self, actor: Actor, key: str, form: PackForm) -> bytes:
        """Return the follow-up pack of a case; with the identity only for a gatekeeper's reason."""
        require(actor.role, Permission.EXPORT)
        view = self.case(actor, key)
        identity = None
        if form.identity_reason:
            identity = self.reveal(actor, key, RevealForm(reason=form.identity_reason))
        with self.database.reading() as connection:
            head = str(head_of(connection))
        pack = CasePack(view.material, view.record, self.samples(actor, key), identity, head)
        return rendered(case_report(pack, form.reader), form.format)

    def period(self, actor: Actor, wanted: PeriodQuery) -> Period:
        """Return what the periodic report of some months is made from."""
        require(actor.role, Permission.EXPORT)
        asked = CaseFilter(since=wanted.since, until=wanted.until)
        cases = [case for page in self.every_case(actor, asked) for case in page.cases]
        keys = {case.case_key for case in cases}
        with self.database.reading() as connection:
            found = [follow_up for follow_up in follow_ups(connection, only_open=False)
                     if follow_up.case_key in keys]
            head = str(head_of(connection))
        trends = fleet_trends(self.store, by=RATES_BY)
        unmeasured = ""
        if wanted.action is not None:
            try:
                trends = fleet_trends(self.store, by=RATES_BY, action=wanted.action)
            except Problem as problem:  # too few flights on a side: the report says so
                unmeasured = problem.sentence
        return Period(wanted.since, wanted.until, cases, found, trends, wanted.action, head,
                      self.today, unmeasured)

    def period_report(self, actor: Actor, wanted: PeriodQuery) -> bytes:
        """Return the periodic report of some months."""
        return rendered(period_report(self.period(actor, wanted), wanted.reader), wanted.format)

    def try_sheet(self, actor: Actor, key: str, form: SheetForm) -> SheetTrial:
        """Judge a case's log by a corrected sheet, and change nothing."""
        require(actor.role, Permission.TRY_SHEET)
        key = self._resolved(key)
        span, verdict = self._verdict(key)
        return replace(try_sheet(self.store, self._identity(key), span, form),
                       seen=self._seen(verdict))

    def adopt_sheet(self, actor: Actor, key: str, form: AdoptionForm) -> CaseView:
        """Let the verdict by a corrected sheet count for a case's log from now on.

        The verdict before stays in the store. The trail holds the sheet, and from before the store
        is written, so that no sheet counts of which it doesn't say who adopted it and why.
        """
        require(actor.role, Permission.ADOPT_SHEET)
        key = self._resolved(key)
        span, verdict = self._verdict(key)
        if form.seen and form.seen != self._seen(verdict):
            with self.database.reading() as connection:
                raise Outdated(_without_names(case_record(connection, key)))
        identity = self._identity(key)
        self._append_sheet(actor, "sheet adoption begun", span, verdict, form)
        adopt_sheet(self.store, identity, form)
        self._append_sheet(actor, "sheet adopted", span, verdict, form)
        self._current(at_once=True)
        return self.case(actor, self._resolved(key))

    def drop_sheet(self, actor: Actor, key: str, form: AdoptionForm) -> None:
        """Keep in the trail that a corrected sheet was tried and isn't adopted, and why."""
        require(actor.role, Permission.TRY_SHEET)
        self._append_sheet(actor, "sheet dropped", *self._verdict(self._resolved(key)), form)

    def trail(self, actor: Actor, wanted: TrailQuery, case_key: str | None = None
              ) -> list[TrailLine]:
        """Return entries of the trail, the latest first."""
        require(actor.role, Permission.READ_TRAIL)
        with self.database.reading() as connection:
            return [trail_line(entry) for entry in trail_entries(
                connection, case_key=case_key, before=wanted.before, most=wanted.most,
                actor=wanted.actor, action=wanted.action, case=wanted.case, since=wanted.since,
                until=wanted.until)]

    def check_trail(self, actor: Actor, wanted: WitnessQuery) -> TrailState:
        """Check the trail, and the tables against it."""
        require(actor.role, Permission.CHECK_TRAIL)
        with self.database.reading() as connection:
            faults = check_trail(connection, TrailHead.parse(wanted.witness)
                                 if wanted.witness else None)
            return TrailState(not faults, str(head_of(connection)),
                              tuple((fault.code, fault.where) for fault in faults))

    def whole_trail(self, actor: Actor) -> list[dict[str, Any]]:
        """Return every entry as it is kept, the first one first; the trail says that it was."""
        require(actor.role, Permission.CHECK_TRAIL)
        with self.database.writing(actor) as change:
            change.append("trail exported", "trail", "")
            rows = change.connection.execute(select(TRAIL).order_by(TRAIL.c.seq)).mappings()
            return [{**row} for row in rows]

    def close(self) -> None:
        """Close the database."""
        self.database.close()

    def _pseudonym(self, kind: str, name: str) -> str:
        """Return the name under which something is shown, the same in all of a database."""
        digest = hmac.new(self._key, f"{kind}|{name}".encode(), hashlib.sha256).digest()
        return f"{kind[0].upper()}-{base64.b32encode(digest[:5]).decode()}"

    def _append_sheet(self, actor: Actor, action: str, span: Span, verdict: Mapping[str, Any],
                      form: AdoptionForm) -> None:
        with self.database.writing(actor) as change:
            append_sheet(change, span, verdict, action, sheet_digest(form), {
                "reason": form.reason, "sheet": form.sheet, "columns": form.columns,
                "log_sha256": span.log_sha256})

    def _resolved(self, key: str) -> str:
        found = self._current().resolve(key)
        if found is None:
            raise NotThere(key)
        return found

    def _identity(self, key: str) -> CaseIdentity:
        identity = self._current().identity(key)
        if identity is None:
            raise NotThere(key)
        return identity

    def _seen(self, verdict: Mapping[str, Any]) -> str:
        """Return by which judgement a case's log counts, so that it can't be looked up."""
        judgement = str(verdict.get("judgement_key"))
        return hmac.new(self._key, judgement.encode(), hashlib.sha256).hexdigest()[:32]

    def _verdict(self, key: str) -> tuple[Span, dict[str, Any]]:
        found = self._current().verdict(key)
        if found is None:
            raise NotThere(key)
        return found

    def _current(self, *, at_once: bool = False) -> CaseIndex:
        """Return the index with all that others wrote since: to the store, and to the database."""
        self._index.look_again(at_once=at_once)
        with self.database.reading() as connection:
            seq = head_of(connection).seq
            if seq != self._synced:
                with self._lock:
                    keys = None if self._synced < 0 else changed_cases(connection, self._synced)
                    self._index.take(standings(connection, keys))
                    self._synced = max(seq, self._synced)
        return self._index


def _without_names(record: CaseRecord) -> CaseRecord:
    """Return a record whose verdict doesn't tell by what it could be looked up."""
    return replace(record, verdict=shown(record.verdict))

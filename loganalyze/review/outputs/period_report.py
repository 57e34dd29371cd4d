"""The periodic safety report: rates, decisions, what is open, follow-ups, effect of actions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, get_args

from loganalyze.fleet.statistics.trend_tables import TrendRow, Trends
from loganalyze.review.cases.case_filter import Decision
from loganalyze.review.cases.case_rows import ListedCase
from loganalyze.review.decisions.case_decisions import FollowUp
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Caution,
    Column,
    Paragraph,
    Report,
    Section,
    Table,
)
from loganalyze.text.language import (
    desk_codes,
    desk_labels,
    report_labels,
    trend_labels,
    verdict_sentences,
)
from loganalyze.text.language import period_words as words
from loganalyze.version import __version__

PeriodReader = Literal["safety", "everybody"]
OFFICE_ONLY = ("open", "follow_ups")
"""Sections with single cases, tasks and owners."""
UNDECIDED = "undecided"
FOUND_TO_BE = (*get_args(Decision), UNDECIDED)
MOST_OPEN = 50
"""Cases that are listed as still to be looked at; the desk lists all."""


@dataclass(frozen=True)
class Period:
    """What a report is made from.

    ``since``, ``until`` : months, blank for no bound; ``cases`` : of these months, what needs a
    look first first; ``follow_ups`` : of these cases; ``trends`` : of the store, with the change at
    ``action``; ``head`` : of the trail; ``today`` : on which it is made;
    ``unmeasured`` : why the effect of the action can't be, as a sentence.
    """

    since: str
    until: str
    cases: Sequence[ListedCase]
    follow_ups: Sequence[FollowUp]
    trends: Trends
    action: date | None
    head: str
    today: date
    unmeasured: str = ""

    @property
    def waiting(self) -> list[ListedCase]:
        """Cases that need a look: undecided, or judged otherwise since."""
        return [case for case in self.cases if case.status != "decided"]

    @property
    def overdue(self) -> list[FollowUp]:
        """Follow-ups that are open after their day."""
        return [follow_up for follow_up in self.follow_ups
                if follow_up.state == "open" and follow_up.due < self.today.isoformat()]

    def counts(self) -> dict[str, Any]:
        """Return the report's numbers, for programs."""
        decisions = Counter((case.limit, case.decision or UNDECIDED) for case in self.cases)
        whole = self.trends.whole
        change = self.trends.change
        return {
            "since": self.since or None, "until": self.until or None, "cases": len(self.cases),
            "waiting": len(self.waiting),
            "decisions": [{"limit": limit, "decision": decision, "cases": count}
                          for (limit, decision), count in sorted(decisions.items())],
            "follow_ups": {"open": sum(follow_up.state == "open" for follow_up in self.follow_ups),
                           "done": sum(follow_up.state == "done" for follow_up in self.follow_ups),
                           "overdue": len(self.overdue)},
            "episodes": whole.rate.events, "flights": whole.flights,
            "per_1000_h": 1000 * whole.rate.rate,
            "action": None if change is None or self.action is None else {
                "day": self.action.isoformat(), "ratio": change.ratio,
                "probability": self.trends.adjusted[1]},
            "trail_head": self.head}


def period_report(period: Period, reader: PeriodReader = "safety") -> Report:
    """Return the periodic safety report; it names nobody and no aircraft.

    For everybody without single cases, and without the tasks and owners of follow-ups.
    """
    sections = [
        Section("summary", words.SECTIONS["summary"], (Paragraph(words.summary(
            len(period.cases), len(period.cases) - len(period.waiting), len(period.waiting),
            sum(follow_up.state == "open" for follow_up in period.follow_ups), len(period.overdue)),
            "lead"),)),
        Section("rates", words.SECTIONS["rates"], tuple(_rates(period))),
        Section("decisions", words.SECTIONS["decisions"], (_decisions(period),)),
        Section("open", words.SECTIONS["open"], tuple(_open(period))),
        Section("follow_ups", words.SECTIONS["follow_ups"], (_follow_ups(period),)),
        Section("action", words.SECTIONS["action"], (Paragraph(_action(period)),)),
        Section("cautions", words.SECTIONS["cautions"], (
            Caution(report_labels.CAUTION_TITLE, tuple(verdict_sentences.CAUTIONS)),)),
        Section("method", words.SECTIONS["method"], (Bullets(words.METHOD),)),
    ]
    if reader == "everybody":
        sections = [section for section in sections if section.key not in OFFICE_ONLY]
    return Report(words.PERIOD_TITLE, words.period(period.since, period.until), tuple(sections),
                  words.FOOTER.format(version=__version__, head=period.head), "")


def _rates(period: Period) -> Iterator[Block]:
    months = [row for row in period.trends.rows if row.dimension == "month" and (
        not row.group[:4].isdigit() or (
            (not period.since or row.group >= period.since)
            and (not period.until or row.group <= period.until)))]
    limits = [row for row in period.trends.rows if row.dimension == "limit"]
    for caption, rows in ((words.MONTHS, months), (words.LIMITS, limits)):
        yield Table(caption, (Column(words.RATE_COLUMNS[0], heads_row=True), *(
            Column(name, numeric=True) for name in words.RATE_COLUMNS[1:])),
            tuple(_rate(row) for row in rows))


def _rate(row: TrendRow) -> tuple[str, ...]:
    rate = row.rate
    return (row.group, f"{row.flights:,}", f"{rate.hours:,.1f}", f"{rate.events:,}",
            trend_labels.number(1000 * rate.rate),
            trend_labels.interval(1000 * rate.low, 1000 * rate.high))


def _decisions(period: Period) -> Block:
    if not period.cases:
        return Paragraph(words.NO_CASES)
    counts = Counter((case.limit, case.decision or UNDECIDED) for case in period.cases)
    limits = sorted({limit for limit, _ in counts})
    return Table(words.DECISION_CAPTION, (
        Column(words.DECISION_LIMIT, heads_row=True),
        *(Column(desk_codes.word("decision", code), numeric=True) for code in FOUND_TO_BE)), tuple(
            (limit, *(f"{counts[limit, code]:,}" for code in FOUND_TO_BE)) for limit in limits))


def _open(period: Period) -> Iterator[Block]:
    waiting = period.waiting
    if not waiting:
        yield Paragraph(words.NONE_WAITING)
        return
    yield Table(words.OPEN_CAPTION, tuple(
        Column(name, whole=True) for name in words.OPEN_COLUMNS), tuple(
        (case.case_key[:8], case.limit,
         desk_labels.excess(case.excess_kt, case.excess_mach, case.excess_share),
         desk_labels.seconds(case.duration_s),
         desk_codes.word("severity", case.severity) if case.severity else desk_labels.NOT_RATED,
         desk_codes.word("certainty", case.certainty) if case.certainty else desk_labels.UNKNOWN,
         case.month or desk_labels.UNKNOWN, desk_labels.STATUSES[case.status])
        for case in waiting[:MOST_OPEN]))
    if len(waiting) > MOST_OPEN:
        yield Paragraph(words.more_waiting(MOST_OPEN, len(waiting)))


def _follow_ups(period: Period) -> Block:
    if not period.follow_ups:
        return Paragraph(words.NO_FOLLOW_UPS)
    late = {follow_up.follow_up_id for follow_up in period.overdue}
    return Table(
        words.FOLLOW_UP_CAPTION,
        tuple(Column(name, whole=number in (0, 5))
              for number, name in enumerate(words.FOLLOW_UP_COLUMNS)),
        tuple(
            (
                follow_up.due,
                desk_codes.word("kind", follow_up.kind),
                follow_up.task,
                follow_up.owner,
                words.OVERDUE if follow_up.follow_up_id in late
                else desk_codes.word("state", follow_up.state),
                follow_up.case_key[:8],
            )
            for follow_up in period.follow_ups
        ),
    )


def _action(period: Period) -> str:
    change = period.trends.change
    if period.unmeasured:
        return period.unmeasured
    if change is None or period.action is None:
        return str(words.NO_ACTION)
    return str(words.effect(period.action.isoformat(), change.ratio, period.trends.adjusted[1],
                            1000 * change.before.rate, 1000 * change.after.rate))

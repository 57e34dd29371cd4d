"""The index of several flights: date, verdict, worst and severity of each, and its page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from loganalyze.results.decisive_exceedance import decisive_first
from loganalyze.show.report.report_blocks import (
    Caution,
    Column,
    Link,
    Paragraph,
    Report,
    Section,
    Table,
)
from loganalyze.text.facts import FlightFacts, Summary
from loganalyze.text.language import report_labels as label
from loganalyze.text.language import severity_text, value_words, verdict_sentences
from loganalyze.text.presentation import Presentation
from loganalyze.version import __version__

INDEX = "index.html"


@dataclass(frozen=True, slots=True)
class IndexedLog:
    """A log of the index.

    ``name`` : what it is called; ``folder`` : of its pages, as the index sees it, with a slash at
    its end, empty for its own folder and None where there is none; ``summary`` : None where it
    wasn't judged in this run; ``note`` : why not.
    """

    name: str
    folder: str | None
    summary: Summary | None
    note: str = ""


def page_name(flight: int) -> str:
    """Return the file name of a flight's page."""
    return f"report{f'-{flight}' if flight > 1 else ''}.html"


def flight_index(logs: Sequence[IndexedLog], how: Presentation) -> Report:
    """Return the index of some logs' flights, for `page.html_page.report_html`."""
    several = len(logs) > 1
    names = [*(["log"] if several else []), "flight", "date", "outcome", "worst", "severity"]
    heads = names[0]
    columns = tuple(Column(label.INDEX_COLUMNS[name], heads_row=name == heads,
                           whole=name in ("flight", "date")) for name in names)
    rows = tuple(row if several else row[1:] for log in logs for row in _rows(log, how))
    cautions = next((log.summary.cautions for log in logs if log.summary), [])
    return Report(
        title=label.INDEX_TITLE, subtitle=_subtitle(logs, how),
        sections=(
            Section("flights", label.INDEX_SECTION, (
                Table(label.INDEX_CAPTION, columns, rows),
                Paragraph(label.TIMES_ELAPSED if how.clock == "elapsed" else label.TIMES_IN_UTC,
                          "note"))),
            *([Section("cautions", label.SECTIONS["cautions"], (
                Caution(label.CAUTION_TITLE, tuple(cautions)),))] if cautions else [])),
        footer=f"loganalyze {__version__}", log_sha256="")


def _subtitle(logs: Sequence[IndexedLog], how: Presentation) -> str:
    summaries = [log.summary for log in logs if log.summary]
    aircraft = {
        label.AIRCRAFT_HIDDEN if how.deidentified else summary.aircraft for summary in summaries
    }
    named = [] if how.deidentified or len(logs) > 1 else [log.name for log in logs]
    return " · ".join([*sorted(aircraft), *named])


def _rows(log: IndexedLog, how: Presentation) -> Iterator[tuple[str | Link, ...]]:
    if log.summary is None:
        first: str | Link = log.name
        if log.folder is not None:
            first = Link(log.name, "", quote(log.folder) + page_name(1))
        yield (first, "", "", log.note, "", "")
        return
    for flight in log.summary.flights:
        timed = how.timed(flight.start_s, flight.start_utc)
        number = label.INDEX_FLIGHT.format(number=flight.flight)
        page: str | Link = number if log.folder is None else Link(
            number, "", quote(log.folder) + page_name(flight.flight))
        date = "" if how.deidentified else (flight.start_utc or "")[:16].replace("T", " ")
        yield (log.name, page, date, *_found(flight, timed))


def _found(flight: FlightFacts, how: Presentation) -> tuple[str, str, str]:
    """The result of a flight: the verdict, the worst exceedance and the highest severity."""
    assessed = flight.assessment.exceedances if flight.assessment else ()
    said = verdict_sentences.headline(flight, how)
    if not flight.exceedances:
        return said, "", ""
    first = decisive_first(
        [each.worst_excess_kt for each in flight.exceedances], assessed, how.basis
    )
    worst = flight.exceedances[first[0]]
    rated = [each.severity for each in assessed if each.severity]
    levels = list(severity_text.LEVELS)
    highest = max(rated, key=lambda each: levels.index(each.level), default=None)
    return (said, f"{worst.limit}, {value_words.over_by(how.exceeded_by(worst))}",
            severity_text.level(highest) if highest else label.CELL_NO_SEVERITY)

"""The report of two flights side by side, in the sections and blocks of any report."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from loganalyze.comparison.flight_comparison import ComparedFlight, Comparison
from loganalyze.show.comparison.comparison_figures import course_figure, tracks_figure
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Column,
    Paragraph,
    Picture,
    Report,
    Section,
    Table,
)
from loganalyze.text.language import comparison_words as words
from loganalyze.text.language import number_format, value_words, verdict_sentences
from loganalyze.text.presentation import Presentation
from loganalyze.version import __version__

STEPS_SHOWN = 12


def comparison_report(found: Comparison, how: Presentation) -> Report:
    """Return the report of a comparison.

    Parameters
    ----------
    found : Comparison
        As `compare` gave it.
    how : Presentation
        In which units.
    """
    sections = (
        Section("found", words.SECTIONS["found"], (
            Paragraph(sentences(found, how)[0], "lead"),
            *(Paragraph(sentence) for sentence in sentences(found, how)[1:]),
            facts_table(found, how), Paragraph(words.ABOUT, "note"))),
        *_keep(found, how),
        Section("track", words.SECTIONS["track"], (
            Picture("tracks", partial(tracks_figure, found, how), words.TRACK_WORDS),)),
        Section("course", words.SECTIONS["course"], (
            Picture("course", partial(course_figure, found, how), words.COURSE_WORDS,
                    words.COURSE_CAPTION), _steps(found, how))),
        Section("run-in", words.SECTIONS["run_in"], (_run_ins(found, how),)),
    )
    title = words.HIDDEN if how.deidentified else " · ".join(
        f"{name}: {_recording(flight)}"
        for name, flight in zip(words.NAMES, found.flights, strict=True))
    hashes = "" if how.deidentified else " ".join(
        flight.analysis.log.source.sha256 for flight in found.flights)
    return Report(words.TITLE, title, sections, words.FOOTER.format(version=__version__), hashes)


def sentences(found: Comparison, how: Presentation) -> list[str]:
    """Return the differences in a few sentences."""
    said = [words.lead((found.first.smallest_kt, found.second.smallest_kt), how)]
    at = found.extreme(-1)
    said.append(words.NO_DIFFERENCE if not found.compared else
                words.NEVER_NEAR if at is None else words.greatest(
        float(found.difference_kt[at]), words.place(found.by, float(found.steps[at]), how), how))
    said.append(words.aligned(found.by, float(found.steps[0]), float(found.steps[-1]), how))
    return said


def notes(found: Comparison, how: Presentation) -> list[str]:
    """Return the caveats, a sentence each."""
    first, second = (flight.analysis for flight in found.flights)
    rates: tuple[str | float, str | float] = (first.log.interval_s, second.log.interval_s)
    aircraft: tuple[str | float, str | float] = (first.sheet.aircraft, second.sheet.aircraft)
    return [words.TWO_HIDDEN if code == "two aircraft" and how.deidentified else
            words.note(code, *(rates if code == "other rates" else aircraft))
            for code in found.notes]


def facts(found: Comparison, how: Presentation) -> list[tuple[str, ...]]:
    """Return the rows of facts: name, value of A, value of B, and difference."""
    rows: list[tuple[str, ...]] = []

    def row(what: str, said: Callable[[ComparedFlight], str], difference: str = "") -> None:
        rows.append((what, said(found.first), said(found.second), difference))

    if not how.deidentified:
        row(words.ROWS["file"], _recording)
    row(words.ROWS["outcome"], lambda flight: verdict_sentences.OUTCOMES[flight.analysis.outcome])
    row(words.ORIGIN[found.by], lambda flight: how.instant(flight.origin_s))
    row(words.ROWS["smallest"], lambda flight: words.side(flight.smallest_kt, how),
        words.signed(found.second.smallest_kt - found.first.smallest_kt, how))
    row(words.ROWS["limit"], lambda flight: flight.governing)
    row(words.ROWS["when"], lambda flight: how.instant(flight.smallest_s))
    row(words.ROWS["where"], lambda flight: how.altitude(flight.smallest_altitude_ft))
    row(words.ROWS["judged"], lambda flight: number_format.duration(flight.judged_s))
    for i, (band, _) in enumerate(found.first.near_s):
        what = words.ROWS["over"] if band == 0 else words.ROWS["near"].format(band=how.step(band))
        row(what, partial(_near, i))
    return rows


def _near(i: int, flight: ComparedFlight) -> str:
    said: str = value_words.length(flight.near_s[i][1])
    return said


def facts_table(found: Comparison, how: Presentation) -> Table:
    """Return the facts as a table."""
    columns = tuple(Column(words.COLUMNS[key], key == "difference", key == "what")
                    for key in ("what", "A", "B", "difference"))
    return Table(words.FACTS_CAPTION, columns, tuple(facts(found, how)))


def _recording(flight: ComparedFlight) -> str:
    several = f", {flight.analysis.flight}" if flight.analysis.flight > 1 else ""
    return f"{flight.analysis.log.source.path.name}{several}"


def _keep(found: Comparison, how: Presentation) -> tuple[Section, ...]:
    said = notes(found, how)
    return (Section("keep", words.SECTIONS["keep"], (Bullets(tuple(said)),)),) if said else ()


def _steps(found: Comparison, how: Presentation) -> Table:
    known = np.flatnonzero(np.isfinite(found.difference_kt))
    chosen = known[np.unique(np.linspace(0, len(known) - 1, STEPS_SHOWN).round().astype(int))] if (
        len(known)) else known
    rows = [(words.place(found.by, float(found.steps[i]), how),
             *(words.side(float(flight.values["margin_kt"][i]), how) for flight in found.flights),
             words.signed(float(found.difference_kt[i]), how)) for i in chosen.tolist()]
    columns = tuple(Column(words.COLUMNS[key], key != "from", key == "from")
                    for key in ("from", "A", "B", "difference"))
    return Table(words.STEPS_CAPTION.format(count=len(rows)), columns, tuple(rows))


def _run_ins(found: Comparison, how: Presentation) -> Block:
    if all(flight.run_in is None for flight in found.flights):
        return Paragraph(words.NO_RUN_IN)
    rows = []
    for name, said in words.RUN_IN.items():
        lost = [float("nan") if flight.run_in is None else getattr(flight.run_in, name)
                for flight in found.flights]
        if all(value != value or abs(value) < 0.05 for value in lost):
            continue
        rows.append((said, *(words.signed(value, how) for value in lost),
                     words.signed(lost[1] - lost[0], how)))
    columns = tuple(Column(words.COLUMNS[key], key != "what", key == "what")
                    for key in ("what", "A", "B", "difference"))
    return Table(words.RUN_IN_CAPTION, columns, tuple(rows))

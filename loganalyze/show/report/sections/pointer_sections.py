"""Why the limit pointer moved: the picture, the numbers of this flight, and the crossover."""

from __future__ import annotations

from functools import partial

import numpy as np

from loganalyze.explain.pointer_movement import PointerMovement, pointer_movement
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.show.figures.envelope_track import track_figure
from loganalyze.show.report.crossover_handout import crossover_section
from loganalyze.show.report.report_blocks import (
    Block,
    Column,
    Paragraph,
    Picture,
    Section,
    Subheading,
    Table,
)
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.language import pointer_words as words
from loganalyze.text.language import report_labels as label


def pointer(subject: Subject) -> tuple[Section, ...]:
    """Make why the limit pointer moved: in words, in the picture of the track, and in tables."""
    if not np.isfinite(subject.analysis.columns["pressure_altitude_ft"]).any():
        return (Section("envelope", words.TITLE, (Paragraph(label.NO_TRACK),), on_paper=False),)
    found = pointer_movement(subject.analysis, subject.assessment, _decisive(subject))
    how = subject.how
    marks = ", ".join(f"{words.LETTERS[i]}, {words.INSTANTS[instant.code]}"
                      for i, instant in enumerate(found.instants))
    blocks: list[Block] = [Paragraph(said) for said in words.why_it_moved(found, how) if said]
    blocks.append(Picture(
        "track", partial(track_figure, subject.analysis, how, found),
        words.PICTURE_WORDS.format(marks=marks) if marks else label.TRACK_WORDS,
        words.PICTURE_CAPTION if marks else label.TRACK_CAPTION))
    if found.instants:
        blocks.append(_instants(found, subject))
    if found.cases:
        blocks += _cases(found, subject)
    return (Section("envelope", words.TITLE, tuple(blocks), new_page=True),)


def crossover(subject: Subject) -> tuple[Section, ...]:
    """Make the crossover of the sheet's limits worked out, a page each."""
    found = pointer_movement(subject.analysis)
    return tuple(crossover_section(subject.analysis.sheet, crossing, subject.how)
                 for crossing in found.crossings[:1] if crossing.above in found.mach_limits)


def _decisive(subject: Subject) -> int | None:
    """Return the exceedance of a speed that decides first, None where there is none."""
    found = subject.facts.exceedances
    return next((i for i in subject.worst_first if quantity_of(found[i].quantity).is_speed), None)


def _instants(found: PointerMovement, subject: Subject) -> Table:
    apart = any(
        abs(instant.pointer_kt - instant.limit_airspeed_kt) > 0.05 for instant in found.instants
    )
    names = ["mark", "instant", "when", "altitude", "governs", "limit",
             *(["pointer"] if apart else []), "flown"]
    columns = tuple(Column(words.COLUMNS[name], name in ("altitude", "limit", "pointer", "flown"),
                           name == "mark") for name in names)
    return Table(
        words.INSTANTS_CAPTION,
        columns,
        tuple(
            words.instant_row(i, instant, apart, subject.how)
            for i, instant in enumerate(found.instants)
        ),
    )


def _cases(found: PointerMovement, subject: Subject) -> list[Block]:
    at = found.instants[found.case_instant]
    limit = next(
        stated for stated in subject.analysis.sheet.limit if stated.name == found.case_limit
    )
    assert limit.constant is not None
    recorded = any(case.code == "recorded" for case in found.cases)
    caption = words.CASES_CAPTION if recorded else words.CASES_CAPTION_SHORT
    columns = tuple(Column(words.COLUMNS[name].format(limit=limit.name), name != "day",
                           name == "day")
                    for name in ("day", "temperature", "sound", "true", "mach", "cas"))
    blocks: list[Block] = [
        Subheading(words.CASES_TITLE), Paragraph(words.TEMPERATURE),
        Table(caption.format(limit=limit.name, altitude=subject.how.altitude(
            at.pressure_altitude_ft), letter=words.LETTERS[found.case_instant]), columns,
            tuple(words.case_row(case, limit.constant, subject.how) for case in found.cases))]
    return blocks if recorded else [*blocks, Paragraph(words.NO_TEMPERATURE, "note")]

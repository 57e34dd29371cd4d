"""The displays of the crew at an exceedance's worst instant."""

from __future__ import annotations

from functools import partial

from loganalyze.explain.dial_reading import dial_reading
from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.show.figures.speed_ruler import ruler_figure
from loganalyze.show.report.report_blocks import Block, Picture, Subheading
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.language import ruler_words as words


def crew_view(subject: Subject, i: int) -> list[Block]:
    """Make the ruler at the worst instant of exceedance `i`; nothing for limits of no speed."""
    exceedance, how = subject.analysis.exceedances[i], subject.how
    if none_of_a_speed(exceedance.quantity) or how.reader == "maintenance":
        return []
    found = dial_reading(subject.analysis, exceedance.worst_time_s)
    return [Subheading(words.TITLE), Picture(
        f"ruler-{i + 1}", partial(ruler_figure, found, how),
        " ".join(words.reading_lines(found, how)),
        words.CAPTION.format(instant=how.instant(exceedance.worst_time_s),
                             letters=words.LETTERS[found.basis]))]

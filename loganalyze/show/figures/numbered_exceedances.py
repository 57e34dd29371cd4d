"""Which exceedances a picture numbers, and the lines above and below a picture by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.results.assessment_results import PROVEN_OVER, Assessment
from loganalyze.results.decisive_exceedance import decisive_first, on_basis
from loganalyze.show.figures.figure_style import BODY_PT, HEADING_PT, WIDTH_IN, lines_of
from loganalyze.text.flight_account import flight_facts, smallest_facts
from loganalyze.text.language import (
    decision_text,
    report_sentences,
    severity_text,
    value_words,
    verdict_sentences,
)
from loganalyze.text.language import picture_labels as words
from loganalyze.text.presentation import Presentation

LABELLED = 8
"""How many exceedances carry a label, the worst first; more would hide each other."""

TEXT_IN = 0.86 * WIDTH_IN
"""Width of those lines [in]."""
BOLD = 1.15
"""Width of bold letters as a share of those that aren't."""


@dataclass(frozen=True)
class Numbered:
    """An exceedance with its number, and its outcome where that isn't proven over."""

    number: int
    exceedance: Exceedance
    outcome: str = ""
    severity: str = ""

    @property
    def excess(self) -> float:
        """The worst excess [kt], 0 where it isn't known."""
        return float(np.nan_to_num(self.exceedance.worst_excess_kt))


def numbered(analysis: Analysis, assessment: Assessment | None, how: Presentation
             ) -> list[Numbered]:
    """Return the exceedances that are numbered: those that decide, in the order of time."""
    found = analysis.exceedances
    assessed = assessment.exceedances if assessment else ()
    chosen = decisive_first(
        [exceedance.worst_excess_kt for exceedance in found], assessed, how.basis
    )
    marked = []
    for i in sorted(chosen[:LABELLED]):
        outcome = on_basis(assessed[i], how.basis).word if assessed else PROVEN_OVER
        rated = assessed[i].severity if assessed else None
        marked.append(Numbered(i + 1, found[i], "" if outcome == PROVEN_OVER else
                               decision_text.outcome(outcome),
                               severity_text.LEVELS[rated.level] if rated else ""))
    return marked


def heading_lines(analysis: Analysis, assessment: Assessment | None, how: Presentation
                  ) -> tuple[list[str], list[str]]:
    """Return what is written above, in lines: the flight's name, and the verdict.

    Where there are many exceedances it ends with which of them are numbered.
    """
    several = words.FLIGHT.format(number=analysis.flight) if analysis.flight > 1 else ""
    name = f"{analysis.sheet.aircraft}: {analysis.log.source.path.name}"
    more = len(analysis.exceedances) > LABELLED
    said = verdict_sentences.headline(flight_facts(assessment or analysis, how), how)
    said += words.WORST_NUMBERED.format(count=LABELLED) if more else ""
    name = words.NO_NAME if how.deidentified else name
    return lines_of(f"{name}{several}", TEXT_IN, BOLD * HEADING_PT), lines_of(
        said, TEXT_IN, BODY_PT)


def foot_lines(analysis: Analysis, marked: list[Numbered], how: Presentation) -> list[str]:
    """Return what is written below: a sentence an exceedance or the closest, and the cautions."""
    said = []
    for each in marked:
        exceedance = each.exceedance
        put = words.NOT_PROVEN if each.outcome else words.EXCEEDED
        text = put.format(
            number=each.number,
            limit=exceedance.limit,
            excess=how.exceeded_by(exceedance),
            outcome=each.outcome,
            start=how.instant(exceedance.start_s),
            end=how.instant(exceedance.end_s),
            span=value_words.length(exceedance.duration_s),
            over=value_words.length(exceedance.time_over_s),
        )
        text += words.SEVERITY.format(level=each.severity) if each.severity else ""
        said += lines_of(text, TEXT_IN, indent="    ")
    closest = analysis.smallest[0]
    if not marked and closest.margin_kt == closest.margin_kt:
        said += lines_of(report_sentences.closest_sentence(smallest_facts(analysis)[0], how),
                         TEXT_IN)
    return [*said, *lines_of(" ".join(verdict_sentences.CAUTIONS_IN_SHORT), TEXT_IN)]

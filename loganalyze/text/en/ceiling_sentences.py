"""What is said of the ceilings that a school or an operator sets itself.

None of the words of a limit stands here: nobody exceeds a ceiling.
"""

from __future__ import annotations

from collections.abc import Sequence

from loganalyze.text.en.number_format import count, duration, sentence_case
from loganalyze.text.en.value_words import channel_words
from loganalyze.text.facts import AboveFacts, CeilingFacts
from loganalyze.text.presentation import Presentation

NOTE = ("A ceiling is not a limit of the flight manual. The verdict, the limit airspeed, the "
        "severity and all else in this report would be the same without it.")
CAPTION = "The flight beside each ceiling"
STRETCHES_CAPTION = "Stretches above a ceiling, in order of time"
WORST_CAPTION = ("The {shown} of {all} stretches that went farthest above a ceiling, in order of "
                 "time; ceilings.csv has all")
HIDDEN = "the operator"
"""Whose ceiling it is, in a de-identified report."""

COLUMNS: dict[str, str] = {
    "ceiling": "Ceiling", "set_by": "Set by", "time": "Time above", "measured": "Of",
    "stretches": "Stretches", "most": "Most above", "when": "When", "altitude":
    "Pressure altitude", "from": "From", "to": "To", "value": "Flown", "stated": "Ceiling then",
}


def whose(facts: CeilingFacts, how: Presentation) -> str:
    """Return who set a ceiling: "the school"."""
    return HIDDEN if how.deidentified else facts.set_by


def possessive(whom: str) -> str:
    """Return the possessive of a name: "the school's", "Invented Airways'"."""
    return f"{whom}'" if whom.endswith("s") else f"{whom}'s"


def title(found: Sequence[CeilingFacts], how: Presentation) -> str:
    """Return the title of the section."""
    names = list(dict.fromkeys(whose(facts, how) for facts in found))
    said = ", ".join(names[:-1]) + " and " + names[-1] if len(names) > 1 else names[0]
    return f"Ceilings set by {said}"


def name(ceiling_name: str) -> str:
    """Return a ceiling's name as the legend of a picture holds it."""
    return f"own ceiling: {ceiling_name}"


def most(stretch: AboveFacts, facts: CeilingFacts, how: Presentation) -> str:
    """Return how far above a ceiling a stretch went: "4.2 kt", "Mach .012"."""
    return how.published_band(stretch.most, facts.quantity)


def ceiling(facts: CeilingFacts, how: Presentation) -> str:
    """Return what a flight was beside one ceiling, as a sentence."""
    subject = f'{possessive(whose(facts, how))} ceiling "{facts.name}"'
    if facts.lacking:
        lost = ", ".join(channel_words(channel) for channel in facts.lacking)
        return f"{sentence_case(subject)} could not be measured: the log does not hold {lost}."
    worst = facts.worst
    if worst is None:
        if facts.measured_s <= 0:
            return f"{sentence_case(subject)} applied at no time at which the flight could be " \
                   "measured."
        return f"{sentence_case(subject)}: at no time above it."
    at = how.instant(worst.worst_time_s)
    where = ("" if worst.worst_pressure_altitude_ft is None
             else f", {how.altitude(worst.worst_pressure_altitude_ft)}")
    return (
        f"Above {subject} for {duration(facts.time_above_s)} in "
        f"{count(len(facts.stretches), 'stretch', 'stretches')}; most {most(worst, facts, how)} "
        f"above {how.published(worst.ceiling_value, facts.quantity)}, at {at}{where}."
    )

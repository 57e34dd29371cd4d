"""The school's own words for a segment, each with all that its rule asks for.

A rule counts where nothing that it asks for was surely missed: a number within its uncertainty of
what was asked is in doubt, and doubt counts for the trainee. Nothing is added up to a score.
"""

from __future__ import annotations

import math

from loganalyze.sheets.lesson.schedule_file import GradeRule, Schedule
from loganalyze.training.segments.segment_measures import SURE
from loganalyze.training.segments.segment_results import (
    Criterion,
    CriterionCode,
    Grade,
    Measured,
    Segment,
)


def graded(segment: Segment, schedule: Schedule) -> Grade | None:
    """Return the school's word for a segment; None where the school has no rule for it."""
    tried: list[tuple[str, tuple[Criterion, ...]]] = []
    for rule in schedule.grade:
        if rule.segments and segment.kind not in rule.segments:
            continue
        criteria = tuple(_criterion(key, asked, segment) for key, asked in _asked(rule, segment))
        tried.append((rule.name, criteria))
        if criteria and all(criterion.code in ("met", "in doubt") for criterion in criteria):
            return Grade(rule.name, tuple(tried))
    return Grade("", tuple(tried)) if tried else None


def _asked(rule: GradeRule, segment: Segment) -> list[tuple[str, float]]:
    """Leave out what is asked for in the unit that the segment isn't flown in."""
    other = "_mach" if segment.unit == "kt" else "_kt"
    return [(key, value) for key, value in rule.criteria.items() if not key.endswith(other)]


def _criterion(key: str, asked: float, segment: Segment) -> Criterion:
    flown = _flown(key, segment)
    at_least = key.startswith("least_")
    code: CriterionCode = "not measured"
    if key == "settled_after_s" and segment.settled == "not settled":
        code = "not met"
    elif math.isfinite(flown.value):
        beyond = asked - flown.value if at_least else flown.value - asked
        u = flown.u if math.isfinite(flown.u) else 0.0
        code = "met" if beyond <= 0 else ("in doubt" if beyond <= SURE * u else "not met")
    return Criterion(key, asked, flown.value, flown.u, code)


def _flown(key: str, segment: Segment) -> Measured:
    if key == "least_within_pct":
        return Measured(100.0 * segment.within.value, 100.0 * segment.within.u)
    if key == "settled_after_s":
        return Measured(0.0, 0.0) if segment.settled == "no change" else segment.settling_s
    if key.startswith("overshoot_"):
        return Measured(0.0, 0.0) if segment.settled == "no change" else segment.overshoot
    if not segment.has_tolerance:
        return Measured()
    departure = segment.longest if key == "longest_outside_s" else segment.furthest
    if departure is None:  # only departures that are sure are asked, and there is none
        return Measured(0.0, 0.0)
    return (Measured(departure.seconds, departure.seconds_u) if key == "longest_outside_s"
            else Measured(departure.furthest, departure.furthest_u))

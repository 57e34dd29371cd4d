"""``segments``: a row a part of a flight that a schedule says something about."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from loganalyze.show.tables.table_columns import Column, Kind
from loganalyze.text.plain_values import rounded
from loganalyze.training import KeptMargin, Lesson

_NUMBER: Kind = "number"

SEGMENT_COLUMNS = (
    Column("flight", "integer", "", "flight of the log, from 1", True),
    Column("lesson", "string", "", "name of the lesson, as the schedule has it", True),
    Column("kind", "string", "", "which part of the schedule", True,
           ("climb", "cruise", "descent", "configuration", "steep_turn")),
    Column("part", "string", "", "which of its speeds", True,
           ("airspeed", "lower airspeed", "mach")),
    Column("name", "string", "", "of a speed by configuration; blank for others"),
    Column("unit", "string", "", "of the speeds below: kt CAS or Mach", True, ("kt", "mach")),
    Column("target", _NUMBER, "kt or 1", "the briefed speed", True),
    Column("slower_tolerance", _NUMBER, "kt or 1", "how much slower still counts; blank for any"),
    Column("faster_tolerance", _NUMBER, "kt or 1", "how much faster still counts; blank for any"),
    Column("tolerance_source", "string", "", "whose tolerance; blank where there is none"),
    Column("start_s", _NUMBER, "s", "beginning, from the log's first sample", True),
    Column("end_s", _NUMBER, "s", "end", True),
    Column("start_ft", _NUMBER, "ft", "pressure altitude at the beginning"),
    Column("end_ft", _NUMBER, "ft", "pressure altitude at the end"),
    Column("counted_s", _NUMBER, "s", "time after the speed had settled, without gaps"),
    Column("mean_error", _NUMBER, "kt or 1", "mean of flown less briefed"),
    Column("mean_error_u", _NUMBER, "kt or 1", "its standard uncertainty"),
    Column("rms_error", _NUMBER, "kt or 1", "root mean square error, freed of noise"),
    Column("rms_error_u", _NUMBER, "kt or 1", "its standard uncertainty"),
    Column("largest_error", _NUMBER, "kt or 1", "error farthest from 0"),
    Column("largest_error_u", _NUMBER, "kt or 1", "its standard uncertainty"),
    Column("largest_error_s", _NUMBER, "s", "when"),
    Column("within_share", _NUMBER, "1", "share of the counted time within the tolerance"),
    Column("within_share_u", _NUMBER, "1", "its standard uncertainty"),
    Column("sure_outside_share", _NUMBER, "1", "share surely outside it"),
    Column("in_doubt_share", _NUMBER, "1", "share too close to its edge to tell"),
    Column("departures", "integer", "", "departures that are sure", True),
    Column("longest_outside_s", _NUMBER, "s", "the longest of them"),
    Column("furthest_outside", _NUMBER, "kt or 1", "the farthest, beyond the tolerance's edge"),
    Column("settled", "string", "", "whether the speed came to the briefed one", True,
           ("no change", "settled", "not settled")),
    Column("step", _NUMBER, "kt or 1", "by how much the speed had to change"),
    Column("settling_s", _NUMBER, "s", "how long that took"),
    Column("settling_u_s", _NUMBER, "s", "its standard uncertainty"),
    Column("overshoot", _NUMBER, "kt or 1", "how far it went past the briefed speed"),
    Column("overshoot_u", _NUMBER, "kt or 1", "its standard uncertainty"),
    Column("unsteadiness", _NUMBER, "kt or 1", "root mean square change of the error over lag_s, "
           "freed of noise"),
    Column("unsteadiness_u", _NUMBER, "kt or 1", "its standard uncertainty"),
    Column("lag_s", _NUMBER, "s", "the time over which that change was taken"),
    Column("smallest_airspeed_margin_kt", _NUMBER, "kt", "smallest margin to an airspeed limit "
           "without conditions"),
    Column("smallest_mach_margin", _NUMBER, "1", "smallest margin to a Mach limit without "
           "conditions"),
    Column("near_share", _NUMBER, "1", "greatest share of the time near one of these limits"),
    Column("grade", "string", "", "the school's word; blank where it has none that fits"),
    Column("log", "string", "", "file name of the log; blank where de-identified"),
)
"""Departures, criteria of grades and each limit's margin are in lesson.json."""


def segment_rows(lesson: Lesson, log: str) -> Iterator[tuple[Any, ...]]:
    """Yield a row a segment, as `SEGMENT_COLUMNS` say; ``log`` : the log's name, or blank."""
    for segment in lesson.segments:
        longest, furthest = segment.longest, segment.furthest
        by_speed = [margin for margin in segment.margins if not margin.in_mach]
        by_mach = [margin for margin in segment.margins if margin.in_mach]
        yield (
            lesson.assessment.analysis.flight,
            lesson.schedule.lesson,
            segment.kind,
            segment.part,
            segment.name or None,
            segment.unit,
            segment.target,
            segment.slower,
            segment.faster,
            segment.tolerance_source or None,
            rounded(segment.start_s),
            rounded(segment.end_s),
            rounded(segment.start_ft),
            rounded(segment.end_ft),
            rounded(segment.counted_s),
            *(
                rounded(number)
                for measure in (segment.mean, segment.rms, segment.largest)
                for number in (measure.value, measure.u)
            ),
            rounded(segment.largest_s),
            rounded(segment.within.value),
            rounded(segment.within.u),
            rounded(segment.sure_outside),
            rounded(segment.in_doubt),
            len(segment.sure_departures),
            None if longest is None else rounded(longest.seconds),
            None if furthest is None else rounded(furthest.furthest),
            segment.settled,
            rounded(segment.step),
            *(
                rounded(number)
                for measure in (segment.settling_s, segment.overshoot, segment.unsteadiness)
                for number in (measure.value, measure.u)
            ),
            rounded(segment.lag_s),
            _least(by_speed),
            _least(by_mach),
            rounded(max((margin.near_share for margin in segment.margins), default=float("nan"))),
            (segment.grade.name or None) if segment.grade is not None else None,
            log or None,
        )


def _least(margins: list[KeptMargin]) -> float | None:
    return rounded(min((margin.smallest for margin in margins), default=float("nan")))

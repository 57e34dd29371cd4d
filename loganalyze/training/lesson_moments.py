"""The moments of a lesson that are worth looking at together, each with its cause.

At most `MOST` are chosen: the smallest margin where it was small, the departure farthest outside
the tolerance in each segment, the change at the crossover where it was surely not when due, and the
farthest stretch above each of the school's ceilings. What made the speed leave the tolerance is
split as the loss of a margin is (`explain.margin_contributions`): height traded for speed, energy
gained or lost, the air's temperature; for a margin also the limit that moved and configuration.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from loganalyze.explain.margin_contributions import worsening
from loganalyze.results.assessment_results import Assessment, Contributions
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.segment_measures import SURE
from loganalyze.training.segments.segment_results import Change, Departure, Segment

MomentKind = Literal["margin", "departure", "change", "ceiling"]
Cause = Literal["limit moved", "configuration", "height trade", "energy", "air temperature",
                "speed change", "not known"]

MOST = 6
LATE_S = 15.0
"""[s] A change less late or early than this isn't worth a look."""
BEFORE_SHARE = 0.25
"""A departure is followed back to where the error was less than this share of its greatest."""

_PARTS: tuple[tuple[Cause, str], ...] = (
    ("limit moved", "limit_moved_kt"), ("configuration", "configuration_kt"),
    ("height trade", "height_trade_kt"), ("energy", "energy_kt"),
    ("air temperature", "air_temperature_kt"))


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment.

    ``time_s`` : when [s]; ``start_s`` : from when on it came about; ``size``, in ``unit`` ("kt",
    "mach" or "s") : the margin left, how far outside, how late (negative: early), how far above the
    ceiling; ``name`` : of the limit or the ceiling; ``segment`` : number from 0, None where outside
    any; ``faster`` : on which side; ``cause``, ``cause_kt`` : the greatest part of what brought it
    about [kt CAS]; ``split`` : all parts, None where they aren't known.
    """

    kind: MomentKind
    time_s: float
    start_s: float
    altitude_ft: float
    size: float
    unit: str
    name: str = ""
    segment: int | None = None
    faster: bool = True
    cause: Cause = "not known"
    cause_kt: float = float("nan")
    split: Contributions | None = None


def moments_of(
    assessment: Assessment, segments: tuple[Segment, ...], changes: tuple[Change, ...],
    speeds: FlownSpeeds, near_kt: float,
) -> tuple[Moment, ...]:
    """Return the moments worth a look, by time.

    Parameters
    ----------
    assessment : Assessment
    segments, changes
        As measured.
    speeds : FlownSpeeds
    near_kt : float
        A margin less than this is small [kt].
    """
    found = [*_margin(assessment, near_kt), *_ceilings(assessment), *_changes(changes)]
    outside = sorted(
        ((_relative(departure, each), i, departure) for i, each in enumerate(segments)
         if (departure := each.furthest) is not None), key=lambda row: -row[0])
    for _, i, departure in outside[:max(MOST - len(found), 1)]:
        found.append(_departure(assessment, segments[i], i, departure, speeds))
    return tuple(sorted(found[:MOST], key=lambda one: one.time_s))


def _relative(departure: Departure, segment: Segment) -> float:
    edge = segment.faster if departure.faster else segment.slower
    return departure.furthest / edge if edge else 0.0


def _margin(assessment: Assessment, near_kt: float) -> list[Moment]:
    least = assessment.measures[0] if assessment.measures else None
    if least is None or not least.smallest_margin_kt < near_kt:
        return []
    split = least.contributions
    cause, size = _greatest(split, 1.0, _PARTS)
    analysis = assessment.analysis
    nearest = min(
        (measure for measure in assessment.measures[1:] if measure.time_s == least.time_s),
        key=lambda one: one.smallest_margin_kt,
        default=least,
    )
    row = int(np.searchsorted(analysis.time, least.time_s).clip(0, len(analysis.time) - 1))
    return [Moment(
        "margin", least.time_s, split.start_s if split else least.time_s,
        float(analysis.columns["pressure_altitude_ft"][row]), least.smallest_margin_kt, "kt",
        nearest.limit, cause=cause, cause_kt=size, split=split)]


def _ceilings(assessment: Assessment) -> list[Moment]:
    found = []
    for measure in assessment.analysis.ceilings:
        worst = measure.worst
        if worst is not None:
            found.append(Moment(
                "ceiling", worst.worst_time_s, worst.start_s, worst.worst_pressure_altitude_ft,
                worst.most, "mach" if measure.quantity.endswith("mach") else "kt", measure.name))
    return found


def _changes(changes: tuple[Change, ...]) -> list[Moment]:
    found = []
    for change in changes:
        late = change.late_s
        if change.code == "made" and abs(late.value) > max(LATE_S, SURE * late.u):
            found.append(
                Moment(
                    "change",
                    change.made_s,
                    min(change.due_s, change.made_s),
                    change.made_ft,
                    late.value,
                    "s",
                    change.first,
                )
            )
    return found


def _departure(assessment: Assessment, segment: Segment, number: int, departure: Departure,
               speeds: FlownSpeeds) -> Moment:
    inside = (speeds.time >= segment.start_s) & (speeds.time <= departure.furthest_s)
    cells = np.flatnonzero(inside)
    errors = speeds.speed(segment.unit)[cells] - segment.target
    errors = errors if departure.faster else -errors
    known = np.isfinite(errors)
    small = np.flatnonzero(known & (errors <= BEFORE_SHARE * errors[known].max()))
    first = int(cells[small[-1]]) if len(small) else int(cells[0])
    rows = speeds.rows[first], speeds.rows[cells[-1]]
    split = _split(assessment, int(rows[0]), int(rows[1]))
    cause, size = _greatest(split, 1.0 if departure.faster else -1.0, _PARTS[2:])
    altitude = speeds.altitude_ft[cells[-1]]
    return Moment(
        "departure",
        departure.furthest_s,
        float(speeds.time[first]),
        float(altitude),
        departure.furthest,
        segment.unit,
        "",
        number,
        departure.faster,
        cause,
        size,
        split,
    )


def _split(assessment: Assessment, first: int, last: int) -> Contributions | None:
    """Split the change of speed between two rows; the margin is to a limit in CAS or in Mach."""
    analysis = assessment.analysis
    for i, limit in enumerate(analysis.sheet.limit):
        if not limit.conditions and limit.kind.is_speed and i not in analysis.evaluation.lacking:
            return worsening(analysis, first, last, i)
    return None


def _greatest(split: Contributions | None, sign: float, parts: tuple[tuple[Cause, str], ...]
              ) -> tuple[Cause, float]:
    """Return the part that did most in the direction `sign`, and how much it did [kt]."""
    if split is None:
        return "not known", float("nan")
    if not split.split:
        return "speed change", sign * split.speed_change_kt
    values = [(sign * float(getattr(split, name)), cause) for cause, name in parts]
    most, cause = max((value for value in values if np.isfinite(value[0])),
                      default=(float("nan"), "not known"))
    if not most > 0:
        return "not known", float("nan")
    return cause, most

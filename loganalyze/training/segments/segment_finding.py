"""The parts of a flight that a schedule says something about: where each begins and ends.

Climbs, levels and descents come from the detection of flight phases; take-off, initial climb,
manoeuvring, holding, approach and landing are none of a schedule's climb, cruise or descent. A
speed by configuration goes before those of the phase. Climb and descent are divided at the
altitudes at which the briefed speed changes, the crossover among them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states, configuration_transit
from loganalyze.events.analysis import Analysis
from loganalyze.phases.enroute_phases import trends
from loganalyze.phases.flight_profile import profiles
from loganalyze.phases.phase_definitions import (
    CLIMB,
    CRUISE,
    DESCENT,
    EMERGENCY_DESCENT,
    LEVEL_CHANGE,
    ON_GROUND,
    PHASES,
    STANDING,
    TAKE_OFF,
    TAXI,
    UNKNOWN,
    PhaseSettings,
)
from loganalyze.record.arrays import Floats, Mask, Rows
from loganalyze.sheets.lesson.schedule_file import Profile, Schedule, SegmentKind
from loganalyze.sheets.lesson.speed_tolerances import Tolerance
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.level_offs import level_offs
from loganalyze.training.segments.segment_results import LevelOff, Part, Unit

SHORTEST_S = 20.0
"""[s] A shorter part isn't measured: little more than the time in which a speed changes."""
END_S = 15.0
"""[s] The last of a climb, a level or a descent belongs to the change to the next: its end is known
from a slope over so long."""
GAP_S = 60.0
"""[s] A gap longer than this divides a part."""

_EN_ROUTE = (CLIMB, LEVEL_CHANGE, DESCENT, EMERGENCY_DESCENT, CRUISE, UNKNOWN)
_GROUND = (STANDING, TAXI, ON_GROUND, TAKE_OFF)


@dataclass(frozen=True, eq=False)
class Found:
    """One part of a flight and its briefed speed; ``cells`` : of `FlownSpeeds`, rising.

    ``at_once`` : whether the moment at which the briefed speed changed is known to a sample, as
    with flaps, and not from the flight path.
    """

    kind: SegmentKind
    part: Part
    name: str
    unit: Unit
    target: float
    tolerance: Tolerance
    cells: Rows
    at_once: bool = False


@dataclass(frozen=True, eq=False)
class Leg:
    """One whole climb or descent, before it is divided by speed.

    ``bounds`` : (part, time [s] from which on it is due) pairs by time.
    """

    kind: SegmentKind
    profile: Profile
    cells: Rows
    bounds: tuple[tuple[Part, float], ...]


@dataclass(frozen=True, eq=False)
class Finding:
    """What was found: the ``parts`` by time, the climbs and descents, ``lacking`` : speeds by
    configuration that the log has no channel for, by name, and the levels within climbs and
    descents, by time.
    """

    parts: tuple[Found, ...]
    legs: tuple[Leg, ...]
    lacking: tuple[str, ...]
    level_offs: tuple[LevelOff, ...]


def find_parts(
    analysis: Analysis, phases: NDArray[np.uint8], speeds: FlownSpeeds, schedule: Schedule
) -> Finding:
    """Find the parts of a flight that a schedule says something about.

    Parameters
    ----------
    analysis : Analysis
    phases : uint8[n]
        Phase code of each row of the log.
    speeds : FlownSpeeds
    schedule : Schedule
    """
    code = phases[speeds.rows]
    which, lacking = _configured(analysis, speeds, schedule, code)
    sign = _signs(analysis, speeds)
    free = (which < 0) & np.isin(code, _EN_ROUTE)
    found: list[Found] = []
    for i, speed in enumerate(schedule.speed):
        for cells in _runs(speeds, which == i):
            found.append(Found("configuration", "airspeed", speed.name, "kt", speed.airspeed_kt,
                               speed.tolerance or schedule.tolerance_of("configuration"), cells,
                               at_once=True))
    interrupted = level_offs(speeds, sign, free)
    if schedule.cruise is not None:
        level = free & (sign == 0) & (code == CRUISE)
        for off in interrupted:
            level &= (speeds.time < off.start_s) | (speeds.time > off.end_s)
        above = schedule.cruise.above_ft
        if above is not None:
            level &= speeds.altitude_ft >= above
        kt, mach = schedule.cruise.airspeed_kt, schedule.cruise.mach
        for cells in _ended(speeds, level):
            found.append(Found("cruise", "airspeed", "", "kt", kt, schedule.tolerance_of("cruise"),
                               cells) if kt is not None else
                         Found("cruise", "mach", "", "mach", mach or 0.0,
                               schedule.tolerance_of("cruise"), cells))
    legs: list[Leg] = []
    profiles_by: tuple[tuple[SegmentKind, Profile | None, int], ...] = (
        ("climb", schedule.climb, 1), ("descent", schedule.descent, -1))
    for kind, profile, way in profiles_by:
        if profile is None:
            continue
        moving = free & (sign == way)
        if profile.above_ft is not None:
            moving &= speeds.altitude_ft >= profile.above_ft
        for cells in _ended(speeds, moving):
            leg = Leg(kind, profile, cells, _bounds(speeds, cells, profile, way))
            legs.append(leg)
            found += _divided(speeds, leg, schedule)
    found.sort(key=lambda one: float(speeds.time[one.cells[0]]))
    return Finding(tuple(found), tuple(legs), lacking, interrupted)


def _configured(
    analysis: Analysis, speeds: FlownSpeeds, schedule: Schedule, code: NDArray[np.uint8]
) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """Return which speed by configuration holds in each cell (-1: none), and those that can't."""
    evaluation, log = analysis.evaluation, analysis.log
    which = np.full(len(speeds.time), -1)
    lacking = []
    for i, speed in enumerate(schedule.speed):
        if not all(configuration_transit.is_available(condition.channel, log, evaluation.declared)
                   for condition in speed.conditions):
            lacking.append(speed.name)
            continue
        wanted = condition_states.recorded(
            speed.conditions, evaluation.cleaned, evaluation.declared
        )
        answer = np.empty(len(log), dtype=np.uint8)
        condition_states.hold(wanted, log.time, slice(None), answer)
        holds = answer[speeds.rows] == condition_states.YES
        phase = (np.isin(code, [PHASES.index(name) for name in speed.phases]) if speed.phases
                 else ~np.isin(code, _GROUND))
        which[holds & (which < 0) & phase] = i
    return which, tuple(lacking)


def _signs(analysis: Analysis, speeds: FlownSpeeds) -> NDArray[np.int64]:
    """Return 1 in climbs, -1 in descents and 0 in levels by cell; 9 where nothing is known."""
    settings = PhaseSettings()
    sign = np.full(len(speeds.time), 9)
    for profile in profiles(analysis, settings):
        for trend in trends(profile, 0, len(profile), settings):
            inside = (speeds.time >= profile.edge(trend.first)) & (
                speeds.time < profile.edge(trend.stop))
            sign[inside] = trend.sign
    return sign


def _runs(speeds: FlownSpeeds, mask: Mask) -> Iterator[Rows]:
    """Yield runs of neighbouring cells that last long enough and aren't divided by a long gap."""
    cells = np.flatnonzero(mask)
    if not len(cells):
        return
    apart = (np.diff(cells) > 1) | (np.diff(speeds.time[cells]) > GAP_S)
    for run in np.split(cells, np.flatnonzero(apart) + 1):
        if speeds.time[run[-1]] - speeds.time[run[0]] >= SHORTEST_S:
            yield run


def _ended(speeds: FlownSpeeds, mask: Mask) -> Iterator[Rows]:
    """Yield runs without their last seconds, unless they end with the log."""
    for run in _runs(speeds, mask):
        end = speeds.time[run[-1]]
        kept = run if run[-1] == len(speeds.time) - 1 else run[speeds.time[run] <= end - END_S]
        if len(kept) and speeds.time[kept[-1]] - speeds.time[kept[0]] >= SHORTEST_S:
            yield kept


def _bounds(speeds: FlownSpeeds, cells: Rows, profile: Profile, way: int
            ) -> tuple[tuple[Part, float], ...]:
    """Return the parts of a climb or a descent, and from when on each is due [s]."""
    altitudes: list[tuple[Part, float]] = []  # each part and the altitude above which it holds
    if profile.lower_airspeed_kt is not None:
        altitudes.append(("lower airspeed", -np.inf))
    if profile.airspeed_kt is not None:
        altitudes.append(("airspeed", profile.lower_below_ft or -np.inf))
    crossover = profile.crossover_ft
    if profile.mach is not None:
        altitudes.append(("mach", -np.inf if crossover is None else crossover))
    time, altitude = speeds.time[cells], speeds.altitude_ft[cells]
    known = np.isfinite(altitude)
    time, altitude = time[known], altitude[known]
    if not len(time):
        return ()
    start = float(time[0])
    if way > 0:
        due = [(part, start if above == -np.inf else _passed(time, altitude, above))
               for part, above in altitudes]
    else:
        ends = [above for _, above in altitudes[1:]] + [np.inf]
        due = [(part, _passed(time, -altitude, -top) if np.isfinite(top) else start)
               for (part, _), top in zip(altitudes, ends, strict=True)][::-1]
    return tuple(due)


def _passed(time: Floats, altitude: Floats, level: float) -> float:
    """Return when a rising altitude first passed a level [s]; its first instant where it begins
    above, infinity where it stays below.
    """
    highest = np.maximum.accumulate(altitude)
    after = int(np.searchsorted(highest, level))
    if after == len(time):
        return float("inf")
    if after == 0:
        return float(time[0])
    share = (level - highest[after - 1]) / max(highest[after] - highest[after - 1], 1e-9)
    return float(time[after - 1] + share * (time[after] - time[after - 1]))


def _divided(speeds: FlownSpeeds, leg: Leg, schedule: Schedule) -> Iterator[Found]:
    time = speeds.time[leg.cells]
    ends = [due for _, due in leg.bounds[1:]] + [np.inf]
    for (part, due), end in zip(leg.bounds, ends, strict=True):
        cells = leg.cells[(time >= due) & (time < end)]
        if not len(cells) or speeds.time[cells[-1]] - speeds.time[cells[0]] < SHORTEST_S:
            continue
        profile = leg.profile
        target = {"airspeed": profile.airspeed_kt, "mach": profile.mach,
                  "lower airspeed": profile.lower_airspeed_kt}[part]
        assert target is not None
        yield Found(leg.kind, part, "", "mach" if part == "mach" else "kt", target,
                    schedule.tolerance_of(leg.kind), cells)

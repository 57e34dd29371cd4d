"""Steep turns, stalls and circuits: the manoeuvres that the phases of flight know, as exercises.

What is one is decided in `loganalyze.phases.manoeuvres` and `loganalyze.phases.ground_legs`; here
each gets its edges, its measures, and the features that say how clear it is.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from loganalyze.phases.ground_legs import roll_begins, roll_ends, runs
from loganalyze.phases.manoeuvres import bank, stalls, steep_turns
from loganalyze.record.arrays import Floats
from loganalyze.training.detection.candidates import Airborne, Candidate, cell_noise
from loganalyze.training.detection.edge_fitting import knee
from loganalyze.training.exercises import CIRCUIT, STALL, STEEP_TURN, ExerciseMeasure

ROLLED_IN = 0.2
"""A turn begins and ends where the bank is this share of its usual one ..."""
ROLLED_IN_BY_HEADING = 0.5
"""... or this share, where the bank is that of the heading's change over 8 s: the change is
spread over the window, and is at half height where the turn begins."""
GO_AROUND_FT = 500.0
"""[ft] A low point below this height above the ground parts one circuit from the next."""
CLIMBING_FPM = 300.0
"""[ft/min] A recovery that doesn't climb faster than this within half a minute of its lowest point
ends there."""
LEVEL_OFF_S = 6.0
"""[s] The rate of descent has gone so long after the straight lines of descent and level meet."""
LEAST_CIRCUIT_S = 90.0
"""[s] No circuit takes less: it is a bounce."""


def steep_turn_candidates(flown: Airborne) -> Iterator[Candidate]:
    """Yield the steep turns of a flight; none where neither roll nor heading was recorded."""
    profile, banked = flown.profile, bank(flown.profile)
    if banked is None:
        return
    roll = profile.more.get("roll")
    by_roll = roll is not None and not np.isnan(roll).all()
    share = ROLLED_IN if by_roll else ROLLED_IN_BY_HEADING
    size = np.nan_to_num(banked)
    for first, stop in steep_turns(profile, flown.first, flown.stop, flown.settings):
        usual = float(np.median(size[first:stop]))
        start, end = _outwards(size, first, stop, share * usual)
        inner = slice(first, stop)
        height, speed = profile.height[inner], profile.airspeed[inner]
        entry = slice(max(flown.first, round(start) - profile.cells(8.0)), max(1, round(start)))
        entry = entry if entry.stop > entry.start else slice(first, first + 1)
        entry_ft = float(np.median(profile.height[entry]))
        entry_kt = float(np.median(profile.airspeed[entry]))
        altitude_error = float(np.abs(height - entry_ft).max())
        rate = abs(float(height[-1] - height[0])) / max((stop - first) * flown.step_s, 1.0) * 60.0
        turned = _turned(flown, first, stop)
        seconds = (end - start) * flown.step_s
        yield Candidate(
            STEEP_TURN, flown.time(start), flown.time(end),
            {"bank": usual - 40.0, "seconds": np.log(max(seconds, 1.0) / 25.0),
             "level": rate / 600.0, "by_heading": float(not by_roll)},
            (("bank_deg", usual), ("turned_deg", turned), ("altitude_error_ft", altitude_error)),
            (ExerciseMeasure("bank_deg", usual, _mean_error(size[inner])),
             ExerciseMeasure("bank_sd_deg", float(np.std(size[inner])), _sd_error(size[inner])),
             ExerciseMeasure("turned_deg", turned),
             ExerciseMeasure("altitude_error_ft", altitude_error, cell_noise(profile.altitude)),
             ExerciseMeasure("speed_error_kt", float(np.abs(speed - entry_kt).max()),
                             cell_noise(profile.airspeed)),
             ExerciseMeasure("duration_s", seconds, flown.step_s)))


def _outwards(size: Floats, first: int, stop: int, least: float) -> tuple[float, float]:
    """Return the cells, with fractions, at which a size about a run passes a lesser threshold."""
    low, high = first, stop - 1
    while low > 0 and size[low - 1] > least:
        low -= 1
    while high < len(size) - 1 and size[high + 1] > least:
        high += 1
    start, end = float(low), float(high)
    if low > 0:
        start = low - (size[low] - least) / max(size[low] - size[low - 1], 1e-9)
    if high < len(size) - 1:
        end = high + (size[high] - least) / max(size[high] - size[high + 1], 1e-9)
    return start, end


def _turned(flown: Airborne, first: int, stop: int) -> float:
    heading = flown.profile.more.get("heading")
    if heading is None or np.isnan(heading[first:stop]).any():
        return float("nan")
    return float(abs(heading[stop - 1] - heading[first]))


def _mean_error(values: Floats) -> float:
    """Standard uncertainty of a mean, values taken as independent after each ten."""
    return float(np.std(values) / np.sqrt(max(len(values) / 10.0, 1.0)))


def _sd_error(values: Floats) -> float:
    """Standard uncertainty of a standard deviation, values taken as independent after each ten."""
    return float(np.std(values) / np.sqrt(2.0 * max(len(values) / 10.0, 1.0)))


def stall_candidates(flown: Airborne) -> Iterator[Candidate]:
    """Yield the stalls of a flight, from the entry's slowing down to the end of the recovery."""
    profile = flown.profile
    speed, height = profile.airspeed, profile.height
    for first, stop in stalls(profile, flown.leg, flown.first, flown.stop, flown.settings):
        slowest = first + int(speed[first:stop].argmin())
        bottom = slowest + int(height[slowest:stop].argmin())
        begin, end = _entry(flown, first, slowest), _recovery(flown, slowest, bottom, stop)
        first, stop = round(begin), round(end)
        lost = float(height[slowest] - height[bottom])
        entry_s = max((slowest - first) * flown.step_s, flown.step_s)
        rate = float(speed[first] - speed[slowest]) / entry_s
        share = float(speed[slowest] / max(speed[first], 1.0))
        yield Candidate(
            STALL, flown.time(begin), flown.time(end),
            {"slowed": (0.65 - share) * 10.0, "lost": np.log(max(lost, 1.0) / 300.0),
             "rate": np.log(max(rate, 0.05))},
            (("lowest_airspeed_kt", float(speed[slowest])), ("altitude_lost_ft", lost),
             ("deceleration_kt_s", rate)),
            (ExerciseMeasure("lowest_airspeed_kt", float(speed[slowest]),
                             cell_noise(profile.airspeed)),
             ExerciseMeasure("deceleration_kt_s", rate,
                             cell_noise(profile.airspeed) * np.sqrt(2.0) / entry_s),
             ExerciseMeasure("altitude_lost_ft", lost, cell_noise(height) * np.sqrt(2.0)),
             ExerciseMeasure("entry_altitude_range_ft", float(np.ptp(height[first:slowest + 1])),
                             cell_noise(height) * np.sqrt(2.0)),
             ExerciseMeasure("recovery_s", (stop - slowest) * flown.step_s, flown.step_s)))


def _entry(flown: Airborne, first: int, slowest: int) -> float:
    """Return the cell, with a fraction, at which the slowing down to a stall begins."""
    speed, cells = flown.profile.airspeed, flown.profile.cells
    drop = float(speed[first] - speed[slowest])
    part = speed[first : slowest + 1] - speed[slowest]
    half, little = (int(np.flatnonzero(part >= share * drop)[-1]) + first for share in (0.5, 0.15))
    if little <= half:
        return first
    guess = half - round((little - half) * 0.5 / 0.35)
    return knee(speed, max(guess - cells(25.0), flown.first), little + 1, level_first=True).cell


def _recovery(flown: Airborne, slowest: int, bottom: int, stop: int) -> float:
    """Return the cell at which the recovery from a stall ends, with a fraction: level again, or
    climbed back.
    """
    cells, height = flown.profile.cells, flown.profile.height
    # A level after the descent is as low as its lowest sample, but for noise.
    bottom = slowest + int(np.argmax(height[slowest : bottom + 1] < height[bottom] + 40.0))
    climbing = np.flatnonzero(flown.profile.vertical[bottom:stop] > CLIMBING_FPM)
    if not len(climbing) or climbing[0] > cells(30.0):
        level = knee(flown.profile.altitude, slowest + cells(4.0), bottom + cells(15.0),
                     level_first=False).cell
        return max(level + cells(LEVEL_OFF_S), slowest + 1.0)
    reach = min(cells(30.0), max((stop - bottom) // 2, 2))
    return knee(flown.profile.altitude, stop - reach, min(stop + reach, flown.stop),
                level_first=False).cell


def circuit_candidates(flown: Airborne) -> Iterator[Candidate]:
    """Yield the circuits of a flight: from ground, or a low point over it, to the next.

    None where no ground was recorded.
    """
    profile, settings, ground = flown.profile, flown.settings, flown.ground_ft
    if np.isnan(ground):
        return
    above = profile.height - ground
    ups = [(flown.first + first, flown.first + stop)
           for first, stop in runs(above[flown.first : flown.stop] > GO_AROUND_FT)]
    # Flickering about the height doesn't part.
    ups = [span for span in ups if (span[1] - span[0]) * flown.step_s >= LEAST_CIRCUIT_S / 3]
    for i, (first, stop) in enumerate(ups):
        start = _low(flown, ups[i - 1][1], first) if i else _beginning(flown)
        end = _low(flown, stop, ups[i + 1][0]) if i + 1 < len(ups) else _ending(flown)
        highest = float(above[first:stop].max())
        if start is None or end is None or highest > settings.circuit_ft:
            continue
        seconds = (end - start) * flown.step_s
        if not LEAST_CIRCUIT_S <= seconds <= settings.circuit_s:
            continue
        turned = _turned(flown, first, stop)
        pattern = above[first:stop][above[first:stop] >= highest * 0.8]
        yield Candidate(
            CIRCUIT, flown.time(start), flown.time(end),
            {"seconds": abs(np.log(seconds / 330.0)), "height": max(highest - 1500.0, 0.0) / 500.0,
             "not_round": 0.0 if np.isnan(turned) else abs(turned - 360.0) / 90.0},
            (("pattern_height_ft", float(np.median(pattern))), ("turned_deg", turned)),
            (ExerciseMeasure("pattern_height_ft", float(np.median(pattern)), cell_noise(above)),
             ExerciseMeasure("pattern_height_sd_ft", float(np.std(pattern)), _sd_error(pattern)),
             ExerciseMeasure("duration_s", seconds, flown.step_s)))


def _low(flown: Airborne, first: int, stop: int) -> float | None:
    """Return the lowest cell between two climbs above the height of a go-around."""
    if stop <= first:
        return None
    return float(first + int(flown.profile.height[first:stop].argmin()))


def _beginning(flown: Airborne) -> float | None:
    """Return where the take-off roll began, None where the log begins in the air."""
    if np.isnan(flown.leg.departure_ft):
        return None
    if flown.from_touch:
        return float(flown.first)
    return max(roll_begins(flown.profile, flown.leg, flown.settings), 0.0)


def _ending(flown: Airborne) -> float | None:
    """Return where the landing ended, None where the log ends in the air."""
    if np.isnan(flown.leg.arrival_ft):
        return None
    if flown.to_touch:
        return float(flown.stop)
    return min(roll_ends(flown.profile, flown.leg, flown.settings), len(flown.profile) - 1.0)

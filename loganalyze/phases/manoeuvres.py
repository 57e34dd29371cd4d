"""Manoeuvring: reversals between climb and descent, steep turns, and stalls.

Each is found by its own signature in altitude and airspeed, or in bank or heading where these are
recorded; what lies between two of them with no longer rest than the definitions allow belongs to
the same stretch of manoeuvring.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.atmosphere import G0, density_ratio, temperature
from loganalyze.phases.flight_profile import Profile
from loganalyze.phases.ground_legs import Leg, runs
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.record.arrays import Floats
from loganalyze.record.units import FOOT, KNOT

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Trend:
    """Cells `first` to `stop` (half-open) that climb (+1), descend (-1) or stay level (0)."""

    sign: int
    first: int
    stop: int


def manoeuvring(
    profile: Profile, leg: Leg, first: int, stop: int, found: Sequence[Trend],
    settings: PhaseSettings,
) -> list[Span]:
    """Return the first and stop (half-open) of each stretch of manoeuvring, by time.

    Parameters
    ----------
    profile : Profile
    leg : Leg
        The flight that the cells belong to; its ground prevents approaches from being detected
        as stalls.
    first, stop : int
        The airborne cells that are looked at, half-open.
    found : sequence of Trend
        The flight's climbs, levels and descents.
    settings : PhaseSettings

    Returns
    -------
    list of (int, int)
    """
    sure = [*stalls(profile, leg, first, stop, settings), *reversals(profile, found, settings),
            *_banked_twice(profile, first, stop, settings)]
    # A single steep turn isn't manoeuvring.
    found_all = sorted([(*span, 2) for span in sure] + [
        (*span, 1) for span in steep_turns(profile, first, stop, settings)])
    rest = profile.cells(settings.swing_rest_s)
    merged: list[tuple[int, int, int]] = []
    for start, end, weight in found_all:
        if merged and start - merged[-1][1] <= rest:
            before = merged[-1]
            merged[-1] = (before[0], max(before[1], end), before[2] + weight)
        else:
            merged.append((start, end, weight))
    return [(start, end) for start, end, weight in merged if weight >= 2]


def reversals(
    profile: Profile, found: Sequence[Trend], settings: PhaseSettings
) -> list[Span]:
    """Return the first and stop of each run of quick reversals between climb and descent."""
    longest, pause = profile.cells(settings.swing_s), profile.cells(settings.swing_pause_s)
    rest = profile.cells(settings.swing_rest_s)
    swings = [trend for trend in found if trend.sign]
    spans: list[tuple[int, int, int]] = []
    for earlier, later in pairwise(swings):
        if (earlier.sign == later.sign or later.first - earlier.stop > pause
                or max(earlier.stop - earlier.first, later.stop - later.first) > longest):
            continue
        if spans and earlier.first - spans[-1][1] <= rest:
            spans[-1] = (spans[-1][0], later.stop, spans[-1][2] + 1)
        else:
            spans.append((earlier.first, later.stop, 1))
    return [(first, stop) for first, stop, count in spans if count >= settings.reversals]


def _banked_twice(profile: Profile, first: int, stop: int, settings: PhaseSettings) -> list[Span]:
    """Return the stretches with banks steeper than any turn's in quick succession."""
    roll = profile.more.get("roll")
    if roll is None:
        return []
    within = profile.cells(settings.steep_s)
    spans: list[tuple[int, int, int]] = []
    for start, end in runs(np.abs(roll[first:stop]) > settings.steep_deg):
        if spans and start - spans[-1][1] <= within:
            spans[-1] = (spans[-1][0], end, spans[-1][2] + 1)
        else:
            spans.append((start, end, 1))
    return [(first + start, first + end) for start, end, count in spans if count >= 2]


def bank(profile: Profile) -> Floats | None:
    """Return the size of the bank angle [deg] at each cell, None where unknown.

    As recorded; else that of a level turn at the rate at which the heading changes, tan(bank) =
    rate V / g, with the true airspeed of a standard atmosphere for V.
    """
    roll = profile.more.get("roll")
    if roll is not None and not np.isnan(roll).all():
        return np.abs(roll)
    rate = turn_rate(profile)
    if rate is None:
        return None
    height = np.clip(np.nan_to_num(profile.height), -2000.0, 60000.0) * FOOT
    thinner = np.sqrt(density_ratio(height, temperature(height)))
    return np.degrees(np.arctan(np.radians(rate) * profile.airspeed / thinner * KNOT / G0))


def turn_rate(profile: Profile) -> Floats | None:
    """Return how fast the heading changes [deg/s, unsigned] over some 8 s about each cell."""
    heading = profile.more.get("heading")
    if heading is None or np.isnan(heading).all():
        return None
    half = max(1, round(4.0 / profile.step_s))
    padded = np.concatenate([np.full(half, heading[0]), heading, np.full(half, heading[-1])])
    return np.asarray(np.abs(padded[2 * half :] - padded[: -2 * half]) / (2 * half
                                                                         * profile.step_s))


def steep_turns(profile: Profile, first: int, stop: int, settings: PhaseSettings) -> list[Span]:
    """Return the first and stop of each steep turn: steeply banked through half a circle or more.

    Without a heading the time for half a circle at that bank is what counts.
    """
    banked = bank(profile)
    if banked is None:
        return []
    heading = profile.more.get("heading")
    found = []
    for start, end in runs(banked[first:stop] > settings.steep_turn_deg):
        cells = slice(first + start, first + end)
        if heading is not None and not np.isnan(heading[cells]).any():
            turned = float(np.abs(heading[cells][-1] - heading[cells][0]))
        else:
            speed = np.maximum(profile.airspeed[cells] * KNOT, 1.0)
            rate = np.degrees(G0 * np.tan(np.radians(np.minimum(banked[cells], 80.0))) / speed)
            turned = float(rate.sum() * profile.step_s)
        if turned >= settings.steep_turn_through_deg and (
                (end - start) * profile.step_s >= settings.steep_turn_s):
            found.append((first + start, first + end))
    return found


def stalls(
    profile: Profile, leg: Leg, first: int, stop: int, settings: PhaseSettings
) -> list[Span]:
    """Return the first and stop of each stall, from the entry's slowing down to the recovery.

    A level deceleration to less than ``settings.stall_share`` of the speed before, then height
    lost while the speed comes back, then a level or a climb; away from the ground.
    """
    # Where no ground was recorded the lowest height doesn't show its elevation.
    base = np.fmax(np.fmax(leg.departure_ft, leg.arrival_ft), -np.inf)
    lead, after = profile.cells(settings.stall_entry_s), profile.cells(settings.stall_recovery_s)
    speed, height = profile.airspeed, profile.height
    slow = _slow(speed[first:stop], lead, settings.stall_share)
    found: list[Span] = []
    for start, end in runs(slow):
        low = first + start + int(speed[first + start : first + end].argmin())
        begin = max(first, low - lead)
        fast = begin + int(speed[begin : low + 1].argmax())
        drop = speed[fast] - speed[low]
        until = min(low + after, stop)
        if until - low < 3 or height[low] < base + settings.stall_least_ft:
            continue
        bottom = low + int(height[low:until].argmin())
        lost = height[low] - height[bottom]
        back = speed[low:until].max() >= speed[low] + settings.stall_regained * drop
        level = np.ptp(height[fast : low + 1]) <= settings.stall_wander_ft
        if not (settings.stall_lost_ft <= lost <= settings.stall_most_ft and back and level
                and bottom < until - 1):
            continue
        entry = np.flatnonzero(speed[fast : low + 1] >= speed[low] + 0.9 * drop)
        found.append((fast + int(entry[-1]), _recovered(profile, bottom, stop, height[low],
                                                        settings)))
    return found


def _slow(speed: Floats, lead: int, share: float) -> NDArray[np.bool_]:
    """Return where the speed is below a share of the greatest of the cells before."""
    if len(speed) < 2:
        return np.zeros(len(speed), dtype=bool)
    greatest, cells = np.concatenate([np.full(lead, -np.inf), speed]), 1
    while cells <= lead:  # The greatest of twice as many cells at each turn, up to them all.
        more = min(cells, lead + 1 - cells)
        greatest, cells = np.maximum(greatest[more:], greatest[:-more]), cells + more
    return np.asarray(speed < share * greatest)


def _recovered(profile: Profile, bottom: int, stop: int, entry_ft: float,
               settings: PhaseSettings) -> int:
    """Return the cell at which the climb back from a stall ends."""
    until = min(bottom + profile.cells(settings.stall_climb_s), stop)
    climbing = profile.vertical[bottom:until] > settings.level_fpm
    there = profile.height[bottom:until] >= entry_ft - settings.flicker_ft
    # The climb begins some seconds after the bottom: the slope is that of a window.
    begun = np.flatnonzero(climbing)
    if not len(begun):
        return min(bottom + profile.cells(settings.slope_s), stop)
    over = np.flatnonzero((~climbing | there)[begun[0] :])
    return bottom + int(begun[0] + over[0]) if len(over) else until

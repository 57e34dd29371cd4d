"""The flight's legs: where it was on the ground, and when it took off and landed.

Heights are measured only above a pressure altitude that was recorded on the ground: that before
the take-off for the climb, that after the landing for the approach.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from loganalyze.phases.flight_profile import Profile
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.record.arrays import Mask

LegKind = Literal["ground", "rejected", "airborne"]
GROUND: Final = "ground"
REJECTED: Final = "rejected"
AIRBORNE: Final = "airborne"


@dataclass(frozen=True, slots=True)
class Leg:
    """Cells `first` to `stop` (half-open) of a profile: on the ground, or one flight.

    ``kind`` : GROUND, REJECTED (a take-off that was given up) or AIRBORNE. ``departure_ft`` and
    ``arrival_ft`` [ft] : pressure altitude recorded on the ground before and after it, NaN
    where none was.
    """

    kind: LegKind
    first: int
    stop: int
    departure_ft: float = float("nan")
    arrival_ft: float = float("nan")


def runs(true: Mask) -> list[tuple[int, int]]:
    """Return the first and the stop (half-open) of each run of true cells."""
    if not len(true):
        return []
    edges = [0] if true[0] else []
    edges += (np.flatnonzero(true[1:] != true[:-1]) + 1).tolist()
    if true[-1]:
        edges.append(len(true))
    return list(zip(edges[::2], edges[1::2], strict=True))


def legs(profile: Profile, settings: PhaseSettings) -> list[Leg]:
    """Split a profile into stretches on the ground and flights."""
    n = len(profile)
    slow = slow_cells(profile, settings)
    grounds = [(first, stop) for first, stop in runs(slow)
               if _steady(profile, first, stop, settings)]
    found: list[Leg] = []
    at = 0
    for first, stop in [*grounds, (n, n)]:
        if first > at:
            found += _between(profile, at, first, found, stop, settings)
        if stop > first:
            found.append(Leg(GROUND, first, stop))
        at = stop
    return found


def slow_cells(profile: Profile, settings: PhaseSettings) -> Mask:
    """Return where the aircraft is too slow to fly, or its wheels carry it at taxiing speed."""
    speed = profile.airspeed
    threshold = max(settings.slow_kt, _floor(profile, settings) + 1.0)
    slow = speed < threshold
    over_ground = profile.more.get("ground_speed")
    if over_ground is not None:
        # A strong headwind on the ground isn't flight, nor is one that stops it in the air.
        slow = np.where(np.isnan(over_ground), slow, slow & (over_ground < 2 * threshold))
    wheels = profile.more.get("weight_on_wheels")
    if wheels is not None:
        slow = np.where(np.isnan(wheels), slow, slow & (wheels > 0.5))
    return np.asarray(slow, dtype=bool)


def _floor(profile: Profile, settings: PhaseSettings) -> float:
    """The least airspeed that the air data computer shows [kt], 0 where it has no such floor."""
    if not len(profile):
        return 0.0
    lowest = float(profile.airspeed.min())
    if lowest >= settings.floor_kt:
        return 0.0
    longest = max((stop - first for first, stop in runs(profile.airspeed == lowest)), default=0)
    return lowest if longest * profile.step_s >= settings.floor_s else 0.0


def _steady(profile: Profile, first: int, stop: int, settings: PhaseSettings) -> bool:
    """Whether a slow stretch is on the ground: it lasts, and its altitude doesn't move."""
    if (stop - first) * profile.step_s < settings.ground_s:
        return False
    height = profile.height[first:stop]
    minute = profile.cells(60.0)
    parts = np.split(height, np.arange(minute, len(height), minute))
    return all(float(np.ptp(part)) <= settings.ground_range_ft for part in parts if len(part))


def _between(
    profile: Profile, first: int, stop: int, before: list[Leg], after: int,
    settings: PhaseSettings,
) -> list[Leg]:
    """What lies between two stretches on the ground, or between one and the end of the log."""
    minute = profile.cells(60.0)
    departure = arrival = float("nan")
    if before and before[-1].kind == GROUND and before[-1].stop == first:
        departure = float(np.median(profile.height[max(first - minute, before[-1].first) : first]))
    if after > stop:
        arrival = float(np.median(profile.height[stop : min(stop + minute, after)]))
    rolling = _rolling(profile, first, stop)
    if np.isnan(departure) and not rolling.all() and rolling[:3].all():
        # The log begins on the runway.
        departure = float(np.median(profile.height[first : first + int(rolling.argmin())]))
    if np.isnan(arrival) and not rolling.all() and rolling[-3:].all():
        arrival = float(np.median(profile.height[stop - int(rolling[::-1].argmin()) : stop]))
    height = profile.height[first:stop]
    above = np.fmin(departure, arrival)
    if not np.isnan(above) and float(height.max()) < above + settings.airborne_ft:
        fast = float(profile.airspeed[first:stop].max()) >= settings.rejected_kt
        return [Leg(REJECTED if fast and not np.isnan(departure) else GROUND, first, stop)]
    return _touches(profile, Leg(AIRBORNE, first, stop, departure, arrival), settings)


def _rolling(profile: Profile, first: int, stop: int) -> Mask:
    """Return where the wheels are known to be on the ground."""
    wheels = profile.more.get("weight_on_wheels")
    if wheels is None:
        return np.zeros(stop - first, dtype=bool)
    return np.asarray(wheels[first:stop] > 0.5)


def _touches(profile: Profile, leg: Leg, settings: PhaseSettings) -> list[Leg]:
    """Cut a flight where it touched the ground of its departure or arrival and went on."""
    height = profile.height[leg.first : leg.stop]
    wheels = profile.more.get("weight_on_wheels")
    ground = leg.arrival_ft if np.isnan(leg.departure_ft) else leg.departure_ft
    if wheels is not None and not np.isnan(wheels[leg.first : leg.stop]).any():
        low = wheels[leg.first : leg.stop] > 0.5
    elif np.isnan(ground) or abs(leg.arrival_ft - leg.departure_ft) > settings.ground_range_ft:
        return [leg]
    else:
        low = height < ground + settings.screen_ft
    base = float(height.min()) if np.isnan(ground) else ground
    high = np.flatnonzero(height > base + settings.airborne_ft)
    if not len(high):
        return [leg]
    low[: high[0]] = False
    low[high[-1] :] = False
    flights = []
    rest = leg
    for first, stop in runs(low):
        if (stop - first) * profile.step_s < 3.0:
            continue
        # Landing lasts until power is applied again, which is where the airspeed is least.
        speed = profile.airspeed[leg.first + first : leg.first + stop]
        turn = leg.first + first + int(speed.argmin())
        touched = float(np.median(height[first:stop]))
        flights.append(replace(rest, stop=turn, arrival_ft=touched))
        rest = replace(rest, first=turn, departure_ft=touched)
    return [*flights, rest]


def is_circuit(profile: Profile, leg: Leg, settings: PhaseSettings) -> bool:
    """Whether a flight is a traffic circuit, or several separated by low go-arounds.

    It leaves the ground and comes back to the same, never rises above ``settings.circuit_ft``
    over it, and is never above ``settings.circuit_low_ft`` for longer than ``circuit_s``.
    """
    if not abs(leg.arrival_ft - leg.departure_ft) <= settings.ground_range_ft:
        return False
    above = profile.height[leg.first : leg.stop] - min(leg.arrival_ft, leg.departure_ft)
    return float(above.max()) <= settings.circuit_ft and all(
        (stop - first) * profile.step_s <= settings.circuit_s
        for first, stop in runs(above > settings.circuit_low_ft))


def _roll_cells(profile: Profile) -> int:
    """How many cells of a roll a straight line goes through: 10 s; none where that is too few."""
    cells = max(profile.cells(10.0), 3)
    return cells if cells * profile.step_s <= 15.0 else 0


def roll_begins(profile: Profile, leg: Leg, settings: PhaseSettings) -> float:
    """When the take-off roll began [cells], from the acceleration after the airspeed came alive.

    The straight line through the 10 s after `slow_kt` is carried back to a standstill.
    """
    some = np.arange(leg.first, min(leg.first + _roll_cells(profile), leg.stop))
    if len(some) < 3:
        return float(leg.first)
    rate, start = np.polyfit(some - leg.first, profile.airspeed[some], 1)
    if rate / profile.step_s < 0.5:
        return float(leg.first)
    back = min(max(float(start / rate), 0.0), 30.0 / profile.step_s)
    return leg.first - back


def roll_ends(profile: Profile, leg: Leg, settings: PhaseSettings) -> float:
    """When the landing roll ended [cells]: slowed to the speed of leaving the runway."""
    some = np.arange(max(leg.stop - _roll_cells(profile), leg.first), leg.stop)
    if len(some) < 3:
        return float(leg.stop)
    rate, end = np.polyfit(some - leg.stop, profile.airspeed[some], 1)
    if -rate / profile.step_s < 0.5:
        return float(leg.stop)
    on = min(max(float((end - settings.vacated_kt) / -rate), 0.0), 30.0 / profile.step_s)
    return leg.stop + on

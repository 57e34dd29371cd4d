"""The phases between the take-off and the landing, from a flight's climbs, levels and descents."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loganalyze.phases.flight_profile import Profile
from loganalyze.phases.ground_legs import Leg, runs
from loganalyze.phases.manoeuvres import Trend, bank, manoeuvring, turn_rate
from loganalyze.phases.phase_definitions import (
    CLIMB,
    CRUISE,
    DESCENT,
    EMERGENCY_DESCENT,
    HOLDING,
    LEVEL_CHANGE,
    MANOEUVRING,
    UNKNOWN,
    PhaseSettings,
)
from loganalyze.record.arrays import Floats

Codes = NDArray[np.uint8]


def trends(profile: Profile, first: int, stop: int, settings: PhaseSettings) -> list[Trend]:
    """Split cells into climbs and descents of at least `change_ft`, and levels between them."""
    vertical = profile.vertical[first:stop]
    sign = (vertical > settings.level_fpm).astype(np.int8) - (vertical < -settings.level_fpm)
    starts = np.append(0, np.flatnonzero(sign[1:] != sign[:-1]) + 1)
    stops = np.append(starts[1:], stop - first)
    found = [Trend(int(sign[a]), first + a, first + b)
             for a, b in zip(starts.tolist(), stops.tolist(), strict=True)]
    found = _flattened(profile, found, settings.flicker_ft)
    found = _closed(found, profile.cells(settings.flicker_s))
    return _flattened(profile, found, settings.change_ft)


def rise(profile: Profile, trend: Trend) -> float:
    """Change of height over a trend [ft]."""
    return float(profile.height[min(trend.stop, len(profile) - 1)] - profile.height[trend.first])


def _flattened(profile: Profile, found: Sequence[Trend], least: float) -> list[Trend]:
    """Make levels of the climbs and descents that change the height by less than `least`."""
    level = [trend if not trend.sign or abs(rise(profile, trend)) >= least
             else Trend(0, trend.first, trend.stop) for trend in found]
    return _joined(level)


def _joined(found: Sequence[Trend]) -> list[Trend]:
    """Join neighbours of one sign."""
    joined: list[Trend] = []
    for trend in found:
        if joined and joined[-1].sign == trend.sign:
            joined[-1] = Trend(trend.sign, joined[-1].first, trend.stop)
        else:
            joined.append(trend)
    return joined


def _closed(found: Sequence[Trend], longest: int) -> list[Trend]:
    """Close pauses of up to `longest` cells between two climbs or two descents."""
    closed = list(found)
    for i in range(1, len(closed) - 1):
        before, trend, after = closed[i - 1 : i + 2]
        if not trend.sign and before.sign == after.sign and trend.stop - trend.first <= longest:
            closed[i] = Trend(before.sign, trend.first, trend.stop)
    return _joined(closed)


def en_route(
    profile: Profile, leg: Leg, first: int, stop: int, settings: PhaseSettings
) -> Codes:
    """Return the phase of each cell from `first` to `stop` of a flight, uint8[stop - first]."""
    found = trends(profile, first, stop, settings)
    swinging = manoeuvring(profile, leg, first, stop, found, settings)
    steady = _without(found, swinging)
    held = _held(profile, first, steady, settings)
    cruise = _cruise_levels(profile, leg, steady, held, settings)
    codes = np.empty(stop - first, dtype=np.uint8)
    for trend, code in zip(steady, _en_route_codes(profile, leg, steady, cruise), strict=True):
        codes[trend.first - first : trend.stop - first] = code
    for start, end in _holding(profile, steady, held, settings):
        codes[start - first : end - first] = HOLDING
    for start, end in swinging:
        codes[start - first : end - first] = MANOEUVRING
    for start, end in _emergencies(profile, first, stop, settings):
        codes[start - first : end - first] = EMERGENCY_DESCENT
    return codes


def _without(found: Sequence[Trend], spans: Sequence[tuple[int, int]]) -> list[Trend]:
    """Level out the climbs and descents that lie mostly in a span of manoeuvring."""
    def inside(trend: Trend) -> bool:
        shared = sum(max(0, min(stop, trend.stop) - max(first, trend.first))
                     for first, stop in spans)
        return 2 * shared > trend.stop - trend.first

    return _joined([Trend(0, trend.first, trend.stop) if trend.sign and inside(trend) else trend
                    for trend in found])


def _cruise_levels(
    profile: Profile, leg: Leg, found: Sequence[Trend], held: Sequence[bool],
    settings: PhaseSettings,
) -> list[int]:
    """Which trends are cruise levels."""
    levels = [float(np.median(profile.height[trend.first : trend.stop])) for trend in found]
    ends = [profile.height[trend.first] for trend in found if trend.sign]
    top = max([*levels, *ends])
    base = min((ground for ground in (leg.departure_ft, leg.arrival_ft) if ground == ground),
               default=0.0)
    cruise = []
    for i, (trend, level) in enumerate(zip(found, levels, strict=True)):
        seconds = (trend.stop - trend.first) * profile.step_s
        if trend.sign or held[i]:
            continue
        high = level - base >= settings.cruise_share * (top - base)
        if (seconds >= settings.low_cruise_s
                or (high and seconds >= settings.cruise_s)
                or (level >= top - settings.top_ft and seconds >= settings.top_s)):
            cruise.append(i)
    return cruise


def _en_route_codes(
    profile: Profile, leg: Leg, found: Sequence[Trend], cruise: Sequence[int]
) -> list[int]:
    """Code each trend by its place before, between or after the cruise levels."""
    bounds = leg.departure_ft, leg.arrival_ft
    if not cruise and np.isnan(bounds).all() and not any(trend.sign for trend in found):
        # The phase of a short level without anything before or after it is unknown.
        return [UNKNOWN] * len(found)
    if cruise:
        begins, ends = cruise[0], cruise[-1]
    else:
        heights = [profile.height[trend.stop - 1] for trend in found]
        # Without a cruise level the climb ends where the highest trend does.
        begins = ends = int(np.argmax(heights)) + 1
    codes = []
    for i, trend in enumerate(found):
        if i in cruise:
            codes.append(CRUISE)
        elif cruise and begins < i < ends:
            codes.append(LEVEL_CHANGE)
        elif i < begins:
            codes.append(DESCENT if trend.sign < 0 else CLIMB)
        else:
            following = next((entry.sign for entry in found[i:] if entry.sign), -1)
            codes.append(CLIMB if trend.sign > 0 or (not trend.sign and following > 0)
                         else DESCENT)
    return codes


def _held(
    profile: Profile, origin: int, found: Sequence[Trend], settings: PhaseSettings
) -> list[bool]:
    """Return which levels are holding patterns."""
    held: list[bool] = []
    entered = origin
    for i, trend in enumerate(found):
        # The next level of a stack is entered as slow as the one before was flown.
        stacked = i >= 2 and held[i - 2] and _stacked(profile, found[i - 1], settings)
        if not trend.sign and not stacked:
            entered = trend.first
        before = max(origin, entered - profile.cells(settings.holding_before_s))
        held.append(_holds(profile, trend, before, entered, settings))
    return held


def _holds(
    profile: Profile, trend: Trend, before: int, entered: int, settings: PhaseSettings
) -> bool:
    """Whether a level is a holding pattern; cells `before` to `entered` came before it."""
    seconds = (trend.stop - trend.first) * profile.step_s
    if trend.sign or seconds < settings.holding_s:
        return False
    cells = slice(trend.first, trend.stop)
    banked, rate = bank(profile), turn_rate(profile)
    steep = np.zeros(trend.stop - trend.first, dtype=bool)
    if banked is not None:
        steep = banked[cells] > settings.holding_most_bank_deg
    if rate is not None and not np.isnan(rate[cells]).any():
        # Turns flown steeper than a holding's are an exercise, not a pattern.
        turned = np.where(steep, 0.0, rate[cells]) * profile.step_s
        return _in_each(turned, profile.cells(240.0), 360.0 * settings.holding_turn)
    roll = profile.more.get("roll")
    if roll is not None and not np.isnan(roll[cells]).any():
        turning = (np.abs(roll[cells]) > settings.holding_bank_deg) & ~steep
        return _in_each(turning.astype(np.float64), profile.cells(240.0),
                        settings.holding_banked * profile.cells(240.0))
    speed = profile.airspeed[cells]
    usual = float(np.median(speed))
    level = float(np.median(profile.height[cells]))
    greatest = next(kt for altitude, kt in settings.holding_kt if level <= altitude)
    # The aircraft may still be slowing down in the level's first half.
    settled = speed[len(speed) // 2 :]
    earlier = profile.airspeed[before:entered]
    # A recorder that has lost its input repeats the last value.
    if not (np.ptp(settled) or np.ptp(profile.altitude[trend.stop - len(settled) : trend.stop])):
        return False
    return (len(earlier) > 1 and usual <= greatest
            and float(settled.std()) <= settings.holding_steady_kt
            and usual <= settings.holding_slower * float(np.median(earlier)))


def _in_each(values: Floats, window: int, least: float) -> bool:
    """Whether the values of each window, and of the whole in proportion, come to `least`."""
    if values.sum() < least * len(values) / window:
        return False
    running = np.concatenate([[0.0], np.cumsum(values)])
    # Half of what a pattern needs, because its turns may be unevenly spread over the window.
    return len(values) <= window or bool(
        (running[window:] - running[:-window]).min() >= least / 2)


def _stacked(profile: Profile, step: Trend, settings: PhaseSettings) -> bool:
    """Whether a descent is short enough to be one from hold to hold."""
    return (abs(rise(profile, step)) <= settings.holding_step_ft
            and (step.stop - step.first) * profile.step_s <= settings.holding_step_s)


def _holding(
    profile: Profile, found: Sequence[Trend], held: Sequence[bool], settings: PhaseSettings
) -> list[tuple[int, int]]:
    """First and stop of each hold; short descents between two belong to them."""
    spans: list[tuple[int, int]] = []
    for i, trend in enumerate(found):
        if not held[i]:
            continue
        if i >= 2 and held[i - 2] and _stacked(profile, found[i - 1], settings):
            spans[-1] = (spans[-1][0], trend.stop)
        else:
            spans.append((trend.first, trend.stop))
    return spans


def _emergencies(
    profile: Profile, first: int, stop: int, settings: PhaseSettings
) -> list[tuple[int, int]]:
    """First and stop of each descent at an emergency's rate."""
    width = profile.cells(settings.emergency_s)
    height = profile.height[first:stop]
    rate = (height[width:] - height[:-width]) / (width * profile.step_s) * 60.0
    down = runs(profile.vertical[first:stop] < -settings.level_fpm)
    # The gradual transitions at its start and end belong to it.
    ease = profile.cells(settings.slope_s)
    spans = []
    for start, end in runs(profile.vertical[first:stop] < -settings.emergency_edge_fpm):
        # A run as long as the width that ends with the leg holds no whole width.
        steepest = rate[start : end - width + 1]
        if end - start < width or not len(steepest) or (
                float(steepest.min()) > -settings.emergency_fpm):
            continue
        begins, ends = next(run for run in down if run[0] <= start and end <= run[1])
        spans.append((first + (begins if start - begins <= ease else start),
                      first + (ends if ends - end <= ease else end)))
    return spans

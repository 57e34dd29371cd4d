"""Phases of flight: where in the flight a thing happened.

The names are those of the CICTT common taxonomy (phase of flight definitions, version 1.3);
what each means in numbers is ours, since the taxonomy goes by what the crew does. All that is
needed is pressure altitude and airspeed; a vertical speed is used where recorded, and weight on
wheels, ground speed, gear, flap, roll and heading improve the detection of some phases. Every
threshold is in `phase_definitions.PhaseSettings` with its reason.

On the ground (slower than 40 kt, or than the least airspeed that the recorder shows, at a level
altitude for 8 s; with weight on wheels only while that is recorded):

- standing, taxi: separated by ground speed alone; without it "standing or taxi".
- take-off: from where the acceleration, carried back, began, to 35 ft above the recorded
  ground. A run over 60 kt that doesn't leave the ground is a rejected take-off, and one too.

In the air, with heights only above a pressure altitude that was recorded on the ground before
the take-off, or after the landing:

- initial climb: to 1,000 ft above the ground of the take-off.
- climb: until the first cruise level; level-offs belong to it. Also after the last one.
- cruise: a level (less than 200 ft/min, or wandering by less than 400 ft) of at least 5 min in
  the upper third of the flight's range of heights, or at its top for at least 1 min, or
  anywhere for at least 10 min.
- change of cruise level: all between the first and the last cruise level that is neither.
- descent: after the last cruise level; level-offs belong to it.
- holding: a level of nearly 4 min or more with a turn for each pattern (heading or roll), or,
  where neither is recorded, flown steadily no faster than holding speeds (ICAO Doc 8168) and
  12 % slower than the 5 min before. A stack's short descents belong to it. Without turns that
  is an inference: a long level at reduced speed looks the same.
- approach: below 3,000 ft above the ground of the landing, in the last 25 min; a go-around
  below 6,000 ft belongs to it. Where that ground wasn't recorded: from gear down (or, without
  gear, half flap) in the descent.
- approach, too, is all of a traffic circuit from the pattern's height to the flare, as the
  taxonomy has it: a flight that comes back to its ground within 15 min, or to below 500 ft for a
  go-around, and never rises above 2,000 ft. Its initial climb ends at the pattern.
- landing: from 50 ft above the ground to 20 kt, carried on from the deceleration above 40 kt.
- manoeuvring: a climb and a descent of 400 ft or more, each within 90 s, turning about three
  times or more; steep turns (with roll or heading, banked by more than 36 deg through half a
  circle, or by more than 50 deg twice in quick succession); stalls (a level deceleration, height
  lost while the speed comes back); and what lies between with no more than 4 min of rest.
- emergency descent: 4,000 ft/min or more for 1 min, and what of that descent is faster than
  1,500 ft/min. Numbers can't separate an emergency from its practice.
- unknown: gaps, stretches without altitude or airspeed, and a level too short for cruise in a
  log that shows neither a climb, a descent nor the ground.

Take-off, initial climb, approach and landing go before the others, then emergency descent,
manoeuvring and holding. A log that begins or ends in the air has none of the phases that rest
on the ground it lacks.
"""

from __future__ import annotations

from itertools import pairwise
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.phases.enroute_phases import en_route
from loganalyze.phases.flight_profile import Profile, profiles
from loganalyze.phases.ground_legs import (
    GROUND,
    Leg,
    is_circuit,
    legs,
    roll_begins,
    roll_ends,
    runs,
)
from loganalyze.phases.phase_definitions import (
    APPROACH,
    DESCENT,
    INITIAL_CLIMB,
    LANDING,
    ON_GROUND,
    PHASES,
    STANDING,
    TAKE_OFF,
    TAXI,
    UNKNOWN,
    PhaseSettings,
)
from loganalyze.record.arrays import Floats
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.results.assessment_results import PhaseStretch

__all__ = ["PHASES", "PhaseSettings", "phases_of"]

Codes = NDArray[np.uint8]
Span = tuple[float, float, int]
"""Start and end [s], and the phase's code."""


def phases_of(
    analysis: Analysis, settings: PhaseSettings | None = None
) -> tuple[Codes, tuple[PhaseStretch, ...]]:
    """Detect the phase of flight at every row, and the sequence of the flight's phases.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    settings : PhaseSettings, optional
        Thresholds of the detection.

    Returns
    -------
    codes : uint8[n]
        Index into `PHASES` for each row of the log; 0 (unknown) where altitude or airspeed is
        missing for long.
    stretches : tuple of PhaseStretch
        From the first sample to the end of the last, without a break; a gap of the recording
        longer than ``settings.told_gap_s`` is a stretch of its own, unknown.

    References
    ----------
    CICTT, Phase of Flight: Definitions and Usage Notes, version 1.3.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> codes, stretches = la.phases_of(flight)
    >>> len(codes) == len(flight.log), stretches[0].phase
    (True, 'standing or taxi')
    """
    settings = settings or PhaseSettings()
    time = analysis.time
    if not len(time):
        return np.zeros(0, dtype=np.uint8), ()
    end = float(time[0]) + analysis.recorded_s
    spans: list[Span] = []
    for profile in profiles(analysis, settings):
        codes = _coded(profile, settings)
        changes = np.flatnonzero(codes[1:] != codes[:-1]) + 1
        for first, stop in pairwise([0, *changes.tolist(), len(codes)]):
            # The last cell stands for what is left of its samples.
            until = profile.edge(stop) if stop < len(codes) else profile.edge(stop + 0.5)
            spans.append((profile.edge(first), until, int(codes[first])))
    spans = _laid_out(spans, analysis, settings, end)
    rows = np.searchsorted(time, [start for start, _, _ in spans])
    found = np.repeat(np.array([code for _, _, code in spans], dtype=np.uint8),
                      np.diff(rows, append=len(time)))
    return found, tuple(PhaseStretch(PHASES[code], start, stop)
                        for start, stop, code in spans if stop > start)


def _laid_out(
    spans: list[Span], analysis: Analysis, settings: PhaseSettings, end: float
) -> list[Span]:
    """Lay the spans end to end over the whole log, with unknown ones in gaps and between."""
    start = float(analysis.time[0])
    laid: list[Span] = []

    def lay(until: float, code: int) -> None:
        at = laid[-1][1] if laid else start
        until = min(until, end)
        if until <= at:
            return
        if laid and laid[-1][2] == code:
            laid[-1] = (laid[-1][0], until, code)
        else:
            laid.append((at, until, code))

    for first, stop, code in spans:
        # Half a step before the first sample and after the last is no gap.
        if first - (laid[-1][1] if laid else start) > settings.step_s:
            lay(first, UNKNOWN)
        lay(stop, code)
    slack = HELD_INTERVALS * max(settings.step_s, analysis.log.interval_s)
    if laid and end - laid[-1][1] <= slack:
        laid[-1] = (laid[-1][0], end, laid[-1][2])
    lay(end, UNKNOWN)
    if not laid:
        return [(start, end, UNKNOWN)]
    gaps = [gap for gap in analysis.gaps if gap[1] - gap[0] > settings.told_gap_s]
    return _cut(laid, gaps) if gaps else laid


def _cut(laid: list[Span], gaps: list[tuple[float, float]]) -> list[Span]:
    """Put unknown in place of what lies in the gaps."""
    cut: list[Span] = []
    edges = sorted({*(edge for span in laid for edge in span[:2]),
                    *(edge for gap in gaps for edge in gap)})
    which = hole = 0
    for first, stop in pairwise(edges):
        while laid[which][1] <= first:
            which += 1
        while hole < len(gaps) and gaps[hole][1] <= first:
            hole += 1
        inside = hole < len(gaps) and gaps[hole][0] <= first
        code = UNKNOWN if inside else laid[which][2]
        if cut and cut[-1][2] == code:
            cut[-1] = (cut[-1][0], stop, code)
        else:
            cut.append((first, stop, code))
    return cut


def _coded(profile: Profile, settings: PhaseSettings) -> Codes:
    """Return the phase of each cell of a profile."""
    codes = np.full(len(profile), UNKNOWN, dtype=np.uint8)
    found = legs(profile, settings)
    for leg in found:
        if leg.kind == GROUND:
            codes[leg.first : leg.stop] = _on_ground(profile, leg, settings)
    # Rolls reach into the ground on either side, so they are written after it.
    for leg in found:
        match leg.kind:
            case "airborne":
                _fly(profile, leg, codes, settings)
            case "rejected":
                begin = round(max(roll_begins(profile, leg, settings), 0))
                end = round(min(roll_ends(profile, leg, settings), len(profile)))
                codes[begin:end] = TAKE_OFF
            case "ground":
                pass
            case _:
                assert_never(leg.kind)
    return codes


def _on_ground(profile: Profile, leg: Leg, settings: PhaseSettings) -> Codes:
    speed = profile.more.get("ground_speed")
    if speed is None:
        return np.full(leg.stop - leg.first, ON_GROUND, dtype=np.uint8)
    here = speed[leg.first : leg.stop]
    codes = np.where(np.isnan(here), ON_GROUND, TAXI).astype(np.uint8)
    for first, stop in runs(here < settings.standing_kt):
        if (stop - first) * profile.step_s >= settings.ground_s:
            codes[first:stop] = STANDING
    return codes


def _fly(profile: Profile, leg: Leg, codes: Codes, settings: PhaseSettings) -> None:
    """Return the phases of a flight, including its take-off and landing rolls."""
    first, stop = leg.first, leg.stop
    # As recorded: a running mean would round the rotation and the flare off.
    height = profile.altitude
    circuit = is_circuit(profile, leg, settings)
    if not np.isnan(leg.departure_ft):
        screen = _leaves(height, first, stop, leg.departure_ft + settings.screen_ft,
                         leg.departure_ft + settings.initial_climb_ft / 4)
        begin = roll_begins(profile, leg, settings)
        if first and codes[first - 1] == LANDING:
            begin = first
        codes[max(round(begin), 0) : screen] = TAKE_OFF
        climb = settings.initial_climb_ft
        if circuit:
            pattern = _pattern_ft(profile, leg, settings)
            climb = min(climb, max(pattern - settings.circuit_entry_ft, 0.0))
        first = _leaves(height, screen, stop, leg.departure_ft + climb,
                        leg.departure_ft + (1.0 if circuit else 1.25) * climb)
        codes[screen:first] = INITIAL_CLIMB
    landing = stop
    if not np.isnan(leg.arrival_ft):
        landing = _comes_below(height, first, stop, leg.arrival_ft + settings.flare_ft,
                               leg.arrival_ft + 5 * settings.flare_ft)
        end = roll_ends(profile, leg, settings)
        codes[landing : min(round(end), len(profile))] = LANDING
    if landing <= first:
        return
    if circuit:
        codes[first:landing] = APPROACH
        return
    codes[first:landing] = en_route(profile, leg, first, landing, settings)
    for start, end in _approaches(profile, leg, first, landing, codes, settings):
        codes[start:end] = APPROACH


def _pattern_ft(profile: Profile, leg: Leg, settings: PhaseSettings) -> float:
    """Return the height above the ground at which the circuit is flown: of its upper half."""
    height = profile.height[leg.first : leg.stop] - leg.departure_ft
    highest = float(height.max())
    return float(np.median(height[height >= highest - abs(highest) / 2]))


def _leaves(height: Floats, first: int, stop: int, low: float, high: float) -> int:
    """Return the cell at which the height passes `low` on its way to `high`.

    That is as many cells after the first as lie below: noise about `low` moves it neither way.
    """
    if first >= stop:
        return stop
    above = np.flatnonzero(height[first:stop] >= high)
    until = first + int(above[0]) if len(above) else first + int(height[first:stop].argmax())
    return first + int(np.count_nonzero(height[first:until] < low))


def _comes_below(height: Floats, first: int, stop: int, low: float, high: float) -> int:
    """Return the cell at which the height passes `low` on its way down from `high`."""
    above = np.flatnonzero(height[first:stop] >= high)
    start = first + int(above[-1]) if len(above) else first
    return start + int(np.count_nonzero(height[start:stop] >= low))


def _approaches(
    profile: Profile, leg: Leg, first: int, stop: int, codes: Codes, settings: PhaseSettings
) -> list[tuple[int, int]]:
    """First and stop of the approaches of a flight whose airborne cells are `first` to `stop`."""
    if np.isnan(leg.arrival_ft):
        return _configured(profile, first, stop, codes, settings)
    height = profile.height[first:stop]
    low = height < leg.arrival_ft + settings.approach_ft
    if low.all():
        # Never above: the approach is the last descent from the flight's own height.
        level = np.flatnonzero(codes[first:stop] != DESCENT)
        return [(first + int(level[-1]) + 1 if len(level) else first, stop)]
    climbed = int(np.flatnonzero(~low)[0])
    low[:climbed] = False
    earliest = max(0, stop - first - profile.cells(settings.approach_s))
    found: list[tuple[int, int]] = []
    for start, end in runs(low):
        start = max(start, earliest)
        if start >= end:
            continue
        if found and height[found[-1][1] : start].max(initial=-np.inf) < (
                leg.arrival_ft + settings.go_around_ft):
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return [(first + start, first + end) for start, end in found]


def _configured(
    profile: Profile, first: int, stop: int, codes: Codes, settings: PhaseSettings
) -> list[tuple[int, int]]:
    """The approach by gear, or else flap, where the ground of the landing wasn't recorded."""
    gear, flap = profile.more.get("gear_down"), profile.more.get("flap")
    if gear is not None:
        out = gear[first:stop] > 0.5
    elif flap is not None and np.nanmax(flap, initial=0.0) > 10.0:
        out = np.nan_to_num(flap[first:stop]) >= np.nanmax(flap) / 2
    else:
        return []
    descending = np.flatnonzero(codes[first:stop] == DESCENT)
    out &= np.arange(stop - first) >= (descending[0] if len(descending) else stop - first)
    return [(first + start, first + end) for start, end in runs(out)]

"""Level accelerations and series of speed changes, in level flight."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from loganalyze.phases.ground_legs import runs
from loganalyze.training.detection.candidates import Airborne, Candidate, cell_noise
from loganalyze.training.detection.confidence import confidence
from loganalyze.training.detection.edge_fitting import Ramp, ramp, slopes
from loganalyze.training.exercises import LEVEL_ACCELERATION, SPEED_CHANGE, ExerciseMeasure

THIRD = 4 / 3
"""A level acceleration gains a third of the speed or more; less is a speed change (the program's
own definition)."""
LEAST_CHANGE, LEAST_CHANGE_KT = 0.05, 8.0
"""A smaller change is how a speed is held."""
SLOPE_KT_S, SLOPE_S = 0.2, 13.0
"""[kt/s] Faster is a change of speed, by the straight line through so many seconds."""
CLEAR = 6.0
"""A change is at least so many times the scatter about it: less is rough air."""
STEEPEST_KT_S = 4.0
"""[kt/s] No change of power or drag in level flight is faster (engineering judgement)."""
JOINED_S = 8.0
"""[s] A pause shorter than this within a change of speed is none."""
SLOWED_S = 14.0
"""[s] A slow change falls below the slope at times, by the pilot's own wander; within so long it is
one change where the speed goes on at six tenths of the slope."""
LEAD_S, REACH_S = 30.0, 12.0
"""[s] So much of the steady speed before and after is used for the edges, which are looked for
within so far of where the slope is steep."""
SERIES_S = 170.0
"""[s] Speed changes further apart than this make no series (the program's own definition) ..."""
SERIES = 3
"""... and nor do fewer than this: two are an order to slow down and its end."""
MEMBER = 0.4
"""A change less sure than this doesn't make a series of others."""
SAME_LEVEL_FT = 300.0
"""[ft] All changes of a series are flown within this."""


@dataclass(frozen=True, slots=True)
class Change:
    """A change of speed in level flight: its edges [cells] and the steady time before it [s]."""

    fit: Ramp
    steady_s: float
    after_s: float
    height_ft: float
    wander_ft: float

    @property
    def kt(self) -> float:
        """The change [kt], with its sign."""
        return self.fit.after - self.fit.before

    @property
    def ratio(self) -> float:
        """The faster speed by the slower one."""
        slow, fast = sorted((self.fit.before, self.fit.after))
        return fast / max(slow, 1.0)


def level_changes(flown: Airborne) -> list[Change]:
    """Return every change of speed in level flight, by time."""
    return [change for trend in flown.trends if not trend.sign
            for change in _changes(flown, trend.first, trend.stop)]


def acceleration_candidates(flown: Airborne, changes: Sequence[Change]) -> Iterator[Candidate]:
    """Yield the level accelerations among the changes of speed of a flight."""
    for change in changes:
        if change.kt > 0 and change.ratio >= THIRD - 0.06:
            yield _acceleration(flown, change)


def speed_change_candidates(
    flown: Airborne, changes: Sequence[Change], named: Sequence[Candidate]
) -> Iterator[Candidate]:
    """Yield the speed changes of a flight that belong to a series.

    Parameters
    ----------
    flown : Airborne
    changes : sequence of Change
        All of the flight's, by time.
    named : sequence of Candidate
        Exercises that are named already: a change within one is part of it, and what comes
        before and after it are not one series.
    """
    series: list[Change] = []
    last: Change | None = None
    for change in changes:
        start, end = flown.time(change.fit.start), flown.time(change.fit.end)
        taken = any(min(end, other.end_s) - max(start, other.start_s) > 0.3 * (end - start)
                    for other in named)
        since = flown.time(last.fit.end) if last else -np.inf
        between = any(other.start_s < start and other.end_s > since for other in named)
        if taken or between or change.ratio > THIRD or (last and (
                start - since > SERIES_S
                or abs(change.height_ft - last.height_ft) > SAME_LEVEL_FT)):
            yield from _of_series(flown, series)
            series = []
        if taken or change.ratio > THIRD:
            last = None
        else:
            series.append(change)
            last = change
    yield from _of_series(flown, series)


def _changes(flown: Airborne, first: int, stop: int) -> list[Change]:
    """Return the changes of speed within a level, by time."""
    profile = flown.profile
    speed = profile.airspeed
    cells = profile.cells
    if stop - first < cells(40.0):
        return []
    slope = slopes(speed[first:stop], cells(SLOPE_S)) / flown.step_s
    # Slow aircraft change their speed as quickly by the second, heavy ones by the share.
    spans: list[tuple[int, int]] = []
    for sign in (1.0, -1.0):
        joined: list[tuple[int, int]] = []
        for start, end in runs(sign * slope > SLOPE_KT_S):
            if joined and _goes_on(sign * (speed[first + start] - speed[first + joined[-1][1] - 1]),
                                   (start - joined[-1][1]) * flown.step_s):
                joined[-1] = (joined[-1][0], end)
            else:
                joined.append((start, end))
        spans += [span for span in joined
                  if abs(speed[first + span[1] - 1] - speed[first + span[0]])
                  >= 0.6 * max(LEAST_CHANGE_KT, LEAST_CHANGE * speed[first + span[0]])]
    spans.sort()
    found: list[Change] = []
    for i, (start, end) in enumerate(spans):
        before = min(spans[i - 1][1], start) if i else 0
        after = max(spans[i + 1][0], end) if i + 1 < len(spans) else stop - first
        low, high = first + before, first + after
        fit = ramp(speed[low:high], first + start - low, first + end - 1 - low,
                   cells(REACH_S), cells(LEAD_S))
        fit = Ramp(fit.start + low, fit.end + low, fit.before, fit.after, fit.scatter)
        inner = profile.height[first + start : first + end]
        change, least = fit.after - fit.before, max(LEAST_CHANGE_KT, LEAST_CHANGE * fit.before)
        left, right = (min(max(round(edge), low), high - 1) for edge in (fit.start, fit.end))
        stays = (np.median(speed[right : min(right + cells(LEAD_S), high)])
                 - np.median(speed[max(left - cells(LEAD_S), low) : left + 1]))
        # A gust is as steep, steeper than any change of power makes it, or doesn't stay.
        if (abs(change) < max(least, CLEAR * fit.scatter) or stays * np.sign(change) < 0.7 * least
                or abs(change) > STEEPEST_KT_S * max(right - left, 1) * flown.step_s):
            continue
        found.append(Change(fit, (fit.start - low) * flown.step_s,
                            (high - fit.end) * flown.step_s, float(np.median(inner)),
                            float(np.ptp(inner))))
    return found


def _goes_on(gained_kt: float, pause_s: float) -> bool:
    """Whether a change of speed goes on through a pause, in which it gained so much."""
    return pause_s <= JOINED_S or (
        pause_s <= SLOWED_S and gained_kt >= 0.6 * SLOPE_KT_S * pause_s)


def _acceleration(flown: Airborne, change: Change) -> Candidate:
    fit = change.fit
    seconds = (fit.end - fit.start) * flown.step_s
    noise = cell_noise(flown.profile.airspeed)
    return Candidate(
        LEVEL_ACCELERATION, flown.time(fit.start), flown.time(fit.end),
        {"gain": min((change.ratio - THIRD) / 0.05, 2.0),
         "unsteady": float(np.clip((25.0 - change.steady_s) / 10.0, -1.0, 1.5)),
         "brief_after": max(0.0, 1.0 - change.after_s / 20.0), "wander": change.wander_ft / 200.0},
        _evidence(change), _measures(change, seconds, noise, flown))


def _of_series(flown: Airborne, series: Sequence[Change]) -> Iterator[Candidate]:
    """Yield the changes of a series that holds without those that rough air may have made."""
    made = _members(flown, series)
    if not made:
        return
    clear = [change for change, sure in zip(series, map(confidence, made), strict=True)
             if sure >= MEMBER]
    gaps = [flown.time(late.fit.start) - flown.time(early.fit.end)
            for early, late in pairwise(clear)]
    if len(clear) < len(series) and all(gap <= SERIES_S for gap in gaps):
        made = _members(flown, clear)
    elif len(clear) < len(series):
        return
    yield from made


def _members(flown: Airborne, series: Sequence[Change]) -> list[Candidate]:
    ups = sum(change.kt > 0 for change in series)
    if len(series) < SERIES - 1 or not 0 < ups < len(series):
        # All the same way: slowing down for an approach, or speeding up after it.
        return []
    noise = cell_noise(flown.profile.airspeed)
    made = []
    for change in series:
        fit = change.fit
        seconds = (fit.end - fit.start) * flown.step_s
        made.append(Candidate(
            SPEED_CHANGE, flown.time(fit.start), flown.time(fit.end),
            {"two": float(len(series) < SERIES), "many": float(len(series) > SERIES),
             "unsteady": max(0.0, 1.0 - change.steady_s / 20.0),
             "small": max(0.0, 1.0 - abs(change.kt) / max(2 * LEAST_CHANGE_KT, 6 * fit.scatter)),
             "rough": fit.scatter / abs(change.kt),
             "wander": change.wander_ft / 200.0},
            (*_evidence(change), ("changes_in_series", float(len(series)))),
            _measures(change, seconds, noise, flown)))
    return made


def _evidence(change: Change) -> tuple[tuple[str, float], ...]:
    return (("from_kt", change.fit.before), ("to_kt", change.fit.after),
            ("steady_before_s", change.steady_s), ("altitude_range_ft", change.wander_ft))


def _measures(change: Change, seconds: float, noise: float, flown: Airborne
              ) -> tuple[ExerciseMeasure, ...]:
    speed = flown.profile.airspeed
    after = slice(round(change.fit.end), round(change.fit.end) + flown.profile.cells(60.0))
    past = np.sign(change.kt) * (speed[after] - change.fit.after)
    over = float(np.max(past, initial=0.0))
    rate_u = noise * np.sqrt(2.0) / max(seconds, 1.0)
    return (
        ExerciseMeasure("change_kt", change.kt, noise),
        ExerciseMeasure("rate_kt_s", change.kt / max(seconds, 1.0), rate_u),
        ExerciseMeasure("overshoot_kt", over, noise),
        ExerciseMeasure("altitude_range_ft", change.wander_ft,
                        cell_noise(flown.profile.altitude)),
        ExerciseMeasure("duration_s", seconds, flown.step_s))

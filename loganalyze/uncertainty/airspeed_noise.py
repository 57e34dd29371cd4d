"""Noise and gusts in the scatter of the recorded airspeed, and what separates them.

White noise is estimated from the samples alone (`screening.noise_estimation`). Scatter that is
correlated over some seconds may be real gusts or noise that a filter has smoothed. It is told apart

1. by the limits sheet, where it states the noise (`airspeed_noise`);
2. by another recorded channel that the airspeed follows from: what both share is taken for real,
   and the airspeed's part in what they differ by is noise. (Two channels of one computer share
   its sensors' noise as well, which then counts as real: on the safe side.)
3. not at all else: at most it is what the flight's quieter stretches show too, since noise is
   there all the time and gusts come and go. Both readings are then given.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.screening import spectra
from loganalyze.screening.noise_estimation import (
    MOST,
    Filtered,
    Fit,
    despiked,
    shared_wander,
    unbroken,
)
from loganalyze.screening.redundant_sources import ways_to_the_airspeed
from loganalyze.uncertainty.error_budget import Budget

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

STATED, OTHER_CHANNEL, NOT_TOLD, NONE = "stated", "other channel", "not told apart", ""
"""What separates noise from gusts; NONE: there is nothing to separate."""

AROUND_S = 120.0
"""Another channel is compared over so long to either side [s]."""
COMPARED = 60
"""The fewest samples that are compared."""
LAGS_S, LONGEST_S = (0.5, 3.0), 20.0
"""The lags at which a difference is compared with itself, its longest correlation time [s]."""
CORRELATED = 0.25
"""A difference whose correlation at the first lag is less than this counts as white."""
FAST_S = 25.0
"""What the two differ by is shared out by what happens within this [s]."""
STRETCHES, STRETCH_S, EVERY_S = 4, 120.0, 0.5
"""The quieter three quarters are sought among so many stretches, so long [s], averaged over
this [s]."""
MOTION_S, MOTION_KT = 8.0, 0.1
"""In less time than this an aircraft doesn't change its speed to and fro by more [s], [kt]
(engineering judgement: its inertia)."""
SHORTEST_S = 45.0
"""Shorter runs without a gap aren't looked at [s]."""


@dataclass(frozen=True, eq=False)
class AirspeedNoise:
    """Tells noise of one flight's airspeed from gusts."""

    analysis: Analysis
    budget: Budget

    def near(self, row: int) -> tuple[Filtered | None, str]:
        """Return the correlated noise [kt CAS] near a row, and its source.

        None: all that is correlated is real, or there is nothing that is.
        """
        stated = self.budget.airspeed_noise
        if stated is not None:
            return self._felt(stated.standard, stated.correlation_s), STATED
        for at in self._others:
            found = self._shared(at, row)
            if found is not None:
                return self._felt(*found), OTHER_CHANNEL
        return (None, NONE) if self.quieter is None else (self.quieter, NOT_TOLD)

    def _felt(self, standard: float, seconds: float) -> Filtered | None:
        """Noise that the samples alone don't show."""
        if not standard > 0 or not seconds > 0.5 * self.analysis.log.interval_s:
            return None
        return Filtered(standard, seconds)

    @cached_property
    def quieter(self) -> Filtered | None:
        """What the quieter stretches have in common [kt CAS]; None where they show none."""
        speed = self.analysis.columns["calibrated_airspeed_kt"]
        interval = self.analysis.log.interval_s
        known = np.flatnonzero(~np.isnan(self.analysis.columns["margin_kt"]))
        if not interval > 0 or not len(known):
            return None
        # On the ground nothing blows.
        known = known[speed[known] > 0.5 * float(speed[known].max())]
        length = round(STRETCH_S / interval)
        starts = np.unique(np.linspace(0, max(len(known) - length, 0), STRETCHES).astype(np.intp))
        runs = []
        for start in starts:
            rows = known[start : start + length]
            first, stop, _ = unbroken(self.analysis.time[rows], speed[rows])
            if (stop - first) * interval >= SHORTEST_S:
                runs.append(despiked(speed[rows[first:stop]].astype(np.float64), 0.0))
        if not runs:
            return None
        group = max(1, round(EVERY_S / interval))
        count = min(len(run) for run in runs) // group
        fits = [Fit.of(run[: count * group].reshape(-1, group).mean(axis=1), interval * group,
                       self._rounding / group**0.5, group=group)
                for run in runs] if count >= COMPARED else []
        # Noise is there all the time, gusts come and go.
        fits.sort(key=lambda one: float(
            one.weight @ (one.scale * (1.0 + one.parts.wanders.sum(axis=1)))))
        quiet = fits[: -(-3 * len(fits) // 4)]
        return self._felt(*shared_wander(quiet, MOTION_S, MOTION_KT)) if quiet else None

    @property
    def _rounding(self) -> float:
        """Standard deviation of the recorded airspeed's rounding [kt]."""
        names = self.analysis.evaluation.air.airspeed_sources
        step = self.analysis.log.channels[names[0]].resolution / KNOT if len(names) == 1 else 0.0
        return step / math.sqrt(12.0) if step > 0 else 0.0

    @cached_property
    def _others(self) -> tuple[Callable[[Rows], Floats], ...]:
        """Other ways to the airspeed [m/s] that were recorded as often as it."""
        log, air = self.analysis.log, self.analysis.evaluation.air
        often = HELD_INTERVALS * log.interval_s
        ways = [at for name, at in ways_to_the_airspeed(log, air).items()
                if not log.channels[name].interval_s > often]
        if "true_airspeed" in log and not log.channels["true_airspeed"].interval_s > often:
            true = log.aligned("true_airspeed")
            # Density moves slowly: as a share of itself it scatters as the airspeed does.
            ways.append(lambda rows: air.calibrated_airspeed[rows].mean()
                        * np.log(np.maximum(true[rows], 1.0)))
        return tuple(ways)

    def _shared(self, at: Callable[[Rows], Floats], row: int) -> tuple[float, float] | None:
        """Standard deviation [kt] and correlation time [s] of what isn't shared with a channel."""
        time, air = self.analysis.time, self.analysis.evaluation.air
        low, high = np.searchsorted(time, (time[row] - AROUND_S, time[row] + AROUND_S))
        rows = np.arange(max(low, row - MOST // 2), min(high, row + MOST // 2))
        own = air.calibrated_airspeed[rows]
        differ = (own - at(rows)) / KNOT
        first, stop, usual = unbroken(time[rows], differ)
        if stop - first < COMPARED:
            return None
        values = despiked(differ[first:stop], 0.0)
        values -= values.mean()
        lags = [max(k, round(seconds / usual)) for k, seconds in zip((1, 2), LAGS_S, strict=True)]
        near, far = (float(values[:-lag] @ values[lag:]) / (len(values) - lag) for lag in lags)
        # The difference holds no motion of the aircraft: all that is correlated is noise.
        if near < CORRELATED * float(values @ values) / len(values):
            return 0.0, 0.0
        decay = math.log(near / far) if 0 < far < near else 0.0
        seconds = (lags[1] - lags[0]) * usual / decay if decay > 0 else LONGEST_S
        seconds = min(max(seconds, usual), LONGEST_S)
        size = min(near * math.exp(lags[0] * usual / seconds), float(values @ values) / len(values))
        # The mean took its share of the slowest.
        size /= max(1 - 2 * seconds / (usual * len(values)), 0.5)
        fast = int(2 * (stop - first) * usual / FAST_S) + 1
        own_fast, differ_fast = (
            spectra.cosines(values - values.mean())[fast:]
            for values in (own[first:stop] / KNOT, differ[first:stop]))
        # What the airspeed has of the difference: the rest is the other channel's own noise.
        share = float(own_fast @ differ_fast) / max(float(differ_fast @ differ_fast), 1e-12)
        return math.sqrt(size * min(max(share, 0.0), 1.0)), seconds

"""Noise and gusts in the scatter of the recorded airspeed, and what separates them.

White noise is estimated from the samples alone (`screening.noise_estimation`). Scatter that is
correlated over some seconds may be real gusts or noise that a filter has smoothed. It is told apart

1. by the limits sheet, where it states the noise (`airspeed_noise`);
2. by another recorded channel that the airspeed follows from: what both share is taken for real,
   and the airspeed's part in what they differ by is noise (`screening.unshared_noise`). The
   difference gives not only the noise's size but a part of the noise itself. (Two channels of one
   computer share its sensors' noise as well, which then counts as real: on the safe side.)
3. not at all else: at most it is what the flight's quieter stretches show too, since noise is
   there all the time and gusts come and go. Both readings are then given.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.screening.noise_estimation import (
    Filtered,
    Fit,
    despiked,
    shared_wander,
    unbroken,
)
from loganalyze.screening.redundant_sources import ways_to_the_airspeed
from loganalyze.screening.unshared_noise import Unshared, unshared
from loganalyze.uncertainty.error_budget import Budget

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

STATED, OTHER_CHANNEL, NOT_SEPARABLE, NONE = "stated", "other channel", "not separable", ""
"""What separates noise from gusts; NONE: there is nothing to separate."""

AROUND_S, AROUND_TRUE_S, MOST = 600.0, 120.0, 8192
"""Another channel is compared over so long to either side, the true airspeed, whose ratio to the
airspeed wanders, for less long [s], and over so many samples."""
COMPARED = 60
"""The fewest samples that are compared."""
STRETCHES, STRETCH_S, EVERY_S = 4, 120.0, 0.5
"""The quieter three quarters are sought among so many stretches, so long [s], averaged over
this [s]."""
MOTION_S, MOTION_KT = 8.0, 0.1
"""In less time than this an aircraft doesn't change its speed to and fro by more [s], [kt]
(engineering judgement: its inertia)."""
MOST_NOISE_KT, MOST_DEVIATIONS = 3.0, 5.0
"""What two channels differ by is no noise where it is greater than this [kt, standard deviation],
or at one sample than so many standard deviations: one of them is damaged or doesn't follow the
airspeed at all, and which one it is the difference doesn't say (engineering judgement)."""
SHORTEST_S = 45.0
"""Shorter runs without a gap aren't looked at [s]."""


@dataclass(frozen=True, eq=False)
class NearNoise:
    """Correlated noise [kt CAS] near a row.

    ``noise`` : None where all that is correlated is real, or nothing is; ``known_by`` : its source;
    ``first``, ``expected`` : of the rows from ``first`` on, what the noise is by another channel,
    float64[m], ``left`` : the noise without that, and ``slow`` : the standard deviation of what is
    left and too slow to show in a stretch [kt].
    """

    noise: Filtered | None
    known_by: str
    first: int = 0
    expected: Floats = field(default_factory=lambda: np.zeros(0))
    left: Filtered | None = None
    slow: float = 0.0

    def of_rows(self, first: int, stop: int) -> Floats | None:
        """What is expected of the noise of these rows; None where that isn't known."""
        if first < self.first or stop > self.first + len(self.expected):
            return None
        return self.expected[first - self.first : stop - self.first]


@dataclass(frozen=True, eq=False)
class AirspeedNoise:
    """Tells noise of one flight's airspeed from gusts."""

    analysis: Analysis
    budget: Budget

    def near(self, row: int) -> NearNoise:
        """Return the correlated noise near a row."""
        stated = self.budget.airspeed_noise
        if stated is not None:
            return NearNoise(self._felt(stated.standard, stated.correlation_s), STATED)
        for at in self._others:
            found = self._compared(at, row, AROUND_S)
            if found is not None:
                first, other = found
                if other.noise is None:
                    return NearNoise(None, OTHER_CHANNEL)
                return NearNoise(
                    other.noise, OTHER_CHANNEL, first, other.expected, other.left, other.slow)
        if self._as_true_airspeed is not None:
            found = self._compared(self._as_true_airspeed, row, AROUND_TRUE_S)
            if found is not None:
                return NearNoise(found[1].noise, OTHER_CHANNEL)
        return NearNoise(self.quieter, NONE if self.quieter is None else NOT_SEPARABLE)

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
        fits.sort(key=lambda fit: float(
            fit.weight @ (fit.scale * (1.0 + fit.parts.wander))))
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
        return tuple(at for name, at in ways_to_the_airspeed(log, air).items()
                     if not log.channels[name].interval_s > often)

    @cached_property
    def _as_true_airspeed(self) -> Callable[[Rows], Floats] | None:
        """What scatters as the airspeed does by the true airspeed [m/s], recorded as often."""
        log, air = self.analysis.log, self.analysis.evaluation.air
        if ("true_airspeed" not in log
                or log.channels["true_airspeed"].interval_s > HELD_INTERVALS * log.interval_s):
            return None
        true = log.aligned("true_airspeed")
        # Density moves slowly: as a share of itself it scatters as the airspeed does.
        return lambda rows: np.asarray(air.calibrated_airspeed[rows].mean()
                                       * np.log(np.maximum(true[rows], 1.0)))

    def _compared(self, at: Callable[[Rows], Floats], row: int, around_s: float
                  ) -> tuple[int, Unshared] | None:
        """Return the noise [kt] that isn't shared with a channel, and from which row on.

        None where too little is recorded, where the channel stands still, and where what they
        differ by can't be noise.
        """
        time, air = self.analysis.time, self.analysis.evaluation.air
        low, high = np.searchsorted(time, (time[row] - around_s, time[row] + around_s))
        low, high = max(int(low), row - MOST // 2), min(int(high), row + MOST // 2)
        rows = np.arange(low, high)
        own = air.calibrated_airspeed[rows] / KNOT
        differ = own - at(rows) / KNOT
        first, stop, usual = unbroken(time[rows], differ, row - low)
        if stop - first < COMPARED:
            first, stop, usual = unbroken(time[rows], differ)
        if stop - first < COMPARED:
            return None
        own = despiked(own[first:stop], 0.0)
        other = own - despiked(differ[first:stop], 0.0)
        if not np.ptp(other) > 0:
            return None
        found = unshared(own, other, usual)
        if found.noise is not None and (
                found.noise.standard > MOST_NOISE_KT
                or float(np.abs(found.expected).max()) > MOST_DEVIATIONS * found.noise.standard):
            return None
        return low + first, found

"""A flight's speeds on cells of about a second: what the measures of a lesson are taken from."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import sensitivity
from loganalyze.events.analysis import Analysis
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening.quantization import step_of
from loganalyze.training.segments.segment_results import Unit
from loganalyze.uncertainty.error_budget import AIRSPEED, ALTITUDE, budget_of

CELL_S = 1.0
"""[s] An aircraft's speed changes little in it; averaging over it takes noise off fast logs."""
KNOWN_SHARE = 0.5
"""Share of a cell's samples that must have been judged."""


@dataclass(frozen=True, eq=False)
class FlownSpeeds:
    """Mean values of cells of `CELL_S`, or of the log's interval where that is longer.

    All float64[n], NaN where not known or rejected by screening: ``time`` [s], ``altitude_ft``,
    ``cas_kt``, ``mach`` and the standard uncertainties ``cas_u_kt``, ``mach_u`` as displayed: by
    how much the recording may differ from what the pilot saw. The error of the airspeed system is
    in both, and nobody can fly it out. ``rows`` : the row of the log in the middle of each cell;
    ``interval_s`` : of the cells; ``step_kt`` : the recorder's step of the airspeed, 0 where not
    known.
    """

    time: Floats
    altitude_ft: Floats
    cas_kt: Floats
    mach: Floats
    cas_u_kt: Floats
    mach_u: Floats
    rows: Rows
    interval_s: float
    step_kt: float

    def speed(self, unit: Unit) -> Floats:
        """Return the speed in a unit, float64[n]."""
        return self.cas_kt if unit == "kt" else self.mach

    def uncertainty(self, unit: Unit) -> Floats:
        """Return the speed's standard uncertainty in a unit, float64[n]."""
        return self.cas_u_kt if unit == "kt" else self.mach_u

    def step(self, unit: Unit, cells: Rows) -> float:
        """Return the recorder's step in a unit at some cells."""
        if unit == "kt" or not self.step_kt:
            return self.step_kt
        share = self.mach[cells] / self.cas_kt[cells]
        known = share[np.isfinite(share)]
        return self.step_kt * float(np.median(known)) if len(known) else 0.0

    @property
    def held_s(self) -> Floats:
        """Return the time that each cell stands for [s], float64[n]."""
        return np.minimum(np.diff(self.time, append=self.time[-1] + self.interval_s),
                          HELD_INTERVALS * self.interval_s)

    def unbroken(self, cells: Rows, unit: Unit) -> Iterator[Rows]:
        """Yield the runs of cells, rising, without a gap or an unknown speed."""
        known = cells[np.isfinite(self.speed(unit)[cells])]
        if len(known):
            broken = np.diff(self.time[known]) > HELD_INTERVALS * self.interval_s
            yield from np.split(known, np.flatnonzero(broken) + 1)


def flown_speeds(analysis: Analysis) -> FlownSpeeds:
    """Return a flight's speeds by cells; samples that were screened out count as missing."""
    time, interval = analysis.time, max(analysis.log.interval_s, 0.0)
    cell = max(CELL_S, interval)
    if interval >= CELL_S:
        starts = np.arange(len(time))
    else:
        starts = np.flatnonzero(np.diff(((time - time[0]) / cell + 1e-6).astype(np.int64),
                                        prepend=-1))

    def mean(values: NDArray[Any]) -> Floats:
        known = np.isfinite(values)
        count = np.add.reduceat(known, starts, dtype=np.int64)
        size = np.diff(starts, append=len(values))
        total = np.add.reduceat(np.where(known, values, 0.0), starts, dtype=np.float64)
        return np.asarray(np.where(count >= KNOWN_SHARE * size, total / np.maximum(count, 1),
                                   np.nan))

    own = analysis.columns
    sources = analysis.evaluation.air.airspeed_sources
    step = math.nan
    if len(sources) == 1:
        channel = analysis.log.channels[sources[0]]
        step = step_of(channel.values, channel.resolution) / KNOT
    altitude, cas = mean(own["pressure_altitude_ft"]), mean(own["calibrated_airspeed_kt"])
    return FlownSpeeds(
        mean(time), altitude, cas, mean(own["mach"]), *_as_displayed(analysis, cas, altitude),
        starts + (np.diff(starts, append=len(time)) - 1) // 2, cell, step if step > 0 else 0.0)


def _as_displayed(analysis: Analysis, cas_kt: Floats, altitude_ft: Floats
                  ) -> tuple[Floats, Floats]:
    """Return by how much the recorded CAS [kt] and Mach number may differ from those displayed."""
    budget = budget_of(analysis.log, analysis.sheet, analysis.evaluation.air)
    speed = (budget.variance(AIRSPEED, cas_kt, flown=False, common=True)
             + budget.quantum_kt**2 / 12.0)
    height = budget.variance(ALTITUDE, altitude_ft, flown=False, common=True)
    by_speed, by_height = (
        skip_nan(slope, cas_kt * KNOT, altitude_ft * FOOT)
        for slope in (sensitivity.mach_by_cas, sensitivity.mach_by_altitude))
    return np.sqrt(speed), np.sqrt((by_speed * KNOT) ** 2 * speed
                                   + (by_height * FOOT) ** 2 * height)

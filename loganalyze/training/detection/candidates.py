"""What the search for exercises starts from, and what it hands on: candidates with their features.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from loganalyze.air import airspeed
from loganalyze.events.analysis import Analysis
from loganalyze.phases.enroute_phases import trends
from loganalyze.phases.flight_profile import Profile
from loganalyze.phases.ground_legs import Leg
from loganalyze.phases.manoeuvres import Trend
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.record.arrays import Floats
from loganalyze.record.units import FOOT, KNOT
from loganalyze.training.exercises import ExerciseKind, ExerciseMeasure


@dataclass(frozen=True, slots=True)
class Candidate:
    """What may be an exercise.

    ``features`` : numbers that speak for or against it, by name, each about 0 where it is as
    clear as usual; ``evidence``, ``measures`` : as of an `Exercise`.
    """

    kind: ExerciseKind
    start_s: float
    end_s: float
    features: Mapping[str, float]
    evidence: tuple[tuple[str, float], ...] = ()
    measures: tuple[ExerciseMeasure, ...] = field(default=())


@dataclass(frozen=True, eq=False)
class Airborne:
    """One flight of a log, from its take-off to its landing, on the grid of its profile.

    ``first``, ``stop`` : its cells, half-open; ``from_touch``, ``to_touch`` : whether it begins,
    and ends, with a touch-and-go.
    """

    analysis: Analysis
    profile: Profile
    leg: Leg
    settings: PhaseSettings
    from_touch: bool = False
    to_touch: bool = False

    @property
    def first(self) -> int:
        """The first cell in the air."""
        return self.leg.first

    @property
    def stop(self) -> int:
        """The cell after the last one in the air."""
        return self.leg.stop

    @property
    def step_s(self) -> float:
        """The width of a cell [s]."""
        return self.profile.step_s

    def time(self, cell: float) -> float:
        """Return the instant of a cell [s]."""
        return self.profile.start_s + cell * self.profile.step_s

    @cached_property
    def trends(self) -> list[Trend]:
        """The climbs, levels and descents, by time."""
        return trends(self.profile, self.first, self.stop, self.settings)

    @cached_property
    def mach(self) -> Floats:
        """Mach number at each cell of the profile, float64[n], from airspeed and altitude."""
        speed, height = self.profile.airspeed, self.profile.height
        found = np.full(len(speed), np.nan)
        known = np.isfinite(speed) & np.isfinite(height) & (speed >= 0)
        found[known] = airspeed.mach_from_cas(speed[known] * KNOT, height[known] * FOOT)
        return found

    @cached_property
    def ground_ft(self) -> float:
        """The lower ground of take-off and landing [ft], NaN where none was recorded."""
        return float(np.fmin(self.leg.departure_ft, self.leg.arrival_ft))


def cell_noise(values: Floats) -> float:
    """Return the standard deviation of white noise from cell to cell.

    From the median of the absolute second differences, which a straight line doesn't move:
    their standard deviation is sqrt(6) that of the noise. NaN for fewer than five values.
    """
    known = values[np.isfinite(values)]
    if len(known) < 5:
        return float("nan")
    return float(1.4826 * np.median(np.abs(np.diff(known, 2))) / np.sqrt(6.0))

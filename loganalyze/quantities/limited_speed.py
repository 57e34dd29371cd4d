"""Base classes of the limited airspeeds and of the limited Mach numbers."""

from __future__ import annotations

from abc import abstractmethod

import numpy as np

from loganalyze.air import sensitivity
from loganalyze.quantities.limited_quantity import (
    AirDataAtRows,
    DisplaySteps,
    LimitedQuantity,
    PositionCorrection,
    Thresholds,
)
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.record.arrays import Floats
from loganalyze.record.units import KNOT, UNITS


class LimitedSpeed(LimitedQuantity):
    """A quantity that increases with calibrated airspeed, so that its limits have a CAS."""

    is_speed = True

    needs_altitude = True

    @abstractmethod
    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which a maximum lies."""

    def limit_slopes(self, own: Floats, cas: Floats, altitude: Floats) -> tuple[Floats, Floats]:
        """Return a limit's derivatives by pressure altitude, as CAS [m/s per m] and Mach [1/m].

        From its derivative as Mach number at constant temperature.
        """
        by_cas = skip_nan(sensitivity.mach_by_cas, cas, altitude)
        by_height = skip_nan(sensitivity.mach_by_altitude, cas, altitude)
        in_mach = self.mach_slope(own, cas, altitude)
        return (in_mach - by_height) / by_cas, in_mach

    def mach_slope(self, own: Floats, cas: Floats, altitude: Floats) -> Floats:
        """Return a limit's derivative by pressure altitude as a Mach number [1/m].

        NaN where it depends on more than the altitude.
        """
        return np.full(len(cas), np.nan)


class LimitedAirspeed(LimitedSpeed):
    """An airspeed, stated in knots."""

    unit = UNITS["kt"]
    suffix = "kt"
    display_step_code = "display_quantum"
    decimals = 1
    maximum_key = "maximum_kt"
    article_noun, row_unit = "an airspeed", "knots"
    example = 245
    lowest, highest = 20.0, 1200.0
    usual = (60.0, 400.0)

    def tolerance(self, settings: Thresholds) -> float:
        """Return the excess [kt] up to which a speed isn't over its limit."""
        return settings.tolerance_kt

    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [kt] up to which two stretches over the limit may be joined."""
        return settings.join_margin_kt

    def display_step(self, steps: DisplaySteps, per_kt: Floats) -> Floats:
        """Return the display's step [kt]."""
        return np.asarray(steps.quantum_kt * per_kt)

    def display_step_cas(self, steps: DisplaySteps, mach_by_cas: Floats) -> Floats:
        """Return the display's step as calibrated airspeed [m/s]."""
        return np.full(mach_by_cas.shape, steps.quantum_kt * KNOT)


class LimitedByAirspeedAlone(LimitedAirspeed):
    """An airspeed that doesn't depend on altitude."""

    needs_altitude = False

    def value_slopes(
        self, at: AirDataAtRows, recovery_factor: float
    ) -> tuple[Floats, Floats, Floats]:
        """Return 1 by calibrated airspeed; the slope of correction tables is neglected."""
        nothing = np.zeros(at.rows.shape)
        return np.full(at.rows.shape, 1.0), nothing, nothing

    def limit_slopes(self, own: Floats, cas: Floats, altitude: Floats) -> tuple[Floats, Floats]:
        """Return a limit's derivatives by pressure altitude, as CAS [m/s per m] and Mach [1/m].

        As CAS it is the slope of its table.
        """
        by_cas = skip_nan(sensitivity.mach_by_cas, cas, altitude)
        by_height = skip_nan(sensitivity.mach_by_altitude, cas, altitude)
        return own, by_cas * own + by_height


class LimitedMach(LimitedSpeed):
    """A Mach number."""

    unit = UNITS["Mach"]
    suffix = "mach"
    display_step_code = "display_quantum_mach"
    decimals = 3
    article_noun, row_unit = "a Mach number", "Mach"
    example = 0.48
    lowest, highest = 0.05, 3.0
    usual = (0.2, 1.0)

    def tolerance(self, settings: Thresholds) -> float:
        """Return the excess [Mach] up to which a Mach number isn't over its limit."""
        return settings.tolerance_mach

    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [Mach] up to which two stretches over the limit may be joined."""
        return settings.join_margin_mach

    def mach_slope(self, own: Floats, cas: Floats, altitude: Floats) -> Floats:
        """Return the slope of the limit's own table [1/m]."""
        return own

    def display_step(self, steps: DisplaySteps, per_kt: Floats) -> Floats:
        """Return the display's step [Mach]."""
        return np.asarray(steps.quantum_mach)

    def display_step_cas(self, steps: DisplaySteps, mach_by_cas: Floats) -> Floats:
        """Return the display's step as calibrated airspeed [m/s]."""
        return steps.quantum_mach / mach_by_cas

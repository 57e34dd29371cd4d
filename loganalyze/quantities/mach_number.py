"""Mach number as a limited quantity."""

from __future__ import annotations

import numpy as np

from loganalyze.air import sensitivity
from loganalyze.quantities.limited_quantity import AirDataAtRows, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.speed_relations import cas_at_mach, skip_nan
from loganalyze.record.arrays import Floats


class MachNumber(LimitedMach):
    """Mach number, free of instrument and position error."""

    name, noun = "mach", "Mach number"

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the Mach number."""
        return at.mach

    def value_slopes(
        self, at: AirDataAtRows, recovery_factor: float
    ) -> tuple[Floats, Floats, Floats]:
        """Return the derivatives by airspeed, altitude and probe temperature, float64[m]."""
        speed, height = at.calibrated_airspeed, at.pressure_altitude
        return (skip_nan(sensitivity.mach_by_cas, speed, height),
                skip_nan(sensitivity.mach_by_altitude, speed, height), np.zeros(at.rows.shape))

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which the maximum lies."""
        return cas_at_mach(maximum, at.pressure_altitude)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Return True."""
        return True

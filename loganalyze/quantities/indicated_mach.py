"""Indicated Mach number as a limited quantity."""

from __future__ import annotations

import numpy as np

from loganalyze.air import sensitivity
from loganalyze.quantities.limited_quantity import AirDataAtRows, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.speed_relations import cas_at_mach, mach_at_cas, skip_nan
from loganalyze.record.arrays import Floats


class IndicatedMach(LimitedMach):
    """Mach number of indicated airspeed and altitude, both without position correction."""

    name, noun = "indicated_mach", "indicated Mach number"
    as_indicated = True

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the indicated Mach number."""
        return mach_at_cas(at.indicated_airspeed, at.indicated_altitude)

    def value_slopes(
        self, at: AirDataAtRows, recovery_factor: float
    ) -> tuple[Floats, Floats, Floats]:
        """Return the derivatives by airspeed, altitude and probe temperature, float64[m]."""
        speed, height = at.indicated_airspeed, at.indicated_altitude
        return (skip_nan(sensitivity.mach_by_cas, speed, height),
                skip_nan(sensitivity.mach_by_altitude, speed, height), np.zeros(at.rows.shape))

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which the maximum lies."""
        return correction.calibrated_from_indicated(
            cas_at_mach(maximum, at.indicated_altitude), at.rows)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Return True unless airspeed or altitude was corrected."""
        return not corrected

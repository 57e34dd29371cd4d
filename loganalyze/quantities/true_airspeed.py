"""True airspeed as a limited quantity."""

from __future__ import annotations

from loganalyze.air import airspeed, atmosphere, sensitivity
from loganalyze.quantities.limited_quantity import AirDataAtRows, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedAirspeed
from loganalyze.quantities.speed_relations import cas_at_mach, skip_nan
from loganalyze.record.arrays import Floats


def tas_slopes(at: AirDataAtRows, recovery_factor: float) -> tuple[Floats, Floats]:
    """Return the derivatives of true airspeed by Mach [m/s] and by probe temperature [m/s/K]."""
    by_mach = skip_nan(lambda m, t: sensitivity.tas_by_mach(m, t, recovery_factor)[0],
                       at.mach, at.temperature)
    by_heat = skip_nan(lambda m, t: sensitivity.tas_by_mach(m, t, recovery_factor)[1],
                       at.mach, at.temperature)
    return by_mach, by_heat


class TrueAirspeed(LimitedAirspeed):
    """Speed through the air, which depends on the temperature."""

    name, noun = "true_airspeed", "true airspeed"
    needs_temperature = True

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the true airspeed [m/s]."""
        return skip_nan(airspeed.tas_from_mach, at.mach, at.temperature)

    def value_slopes(
        self, at: AirDataAtRows, recovery_factor: float
    ) -> tuple[Floats, Floats, Floats]:
        """Return the derivatives by airspeed, altitude and probe temperature, float64[m]."""
        speed, height = at.calibrated_airspeed, at.pressure_altitude
        by_speed = skip_nan(sensitivity.mach_by_cas, speed, height)
        by_height = skip_nan(sensitivity.mach_by_altitude, speed, height)
        by_mach, by_heat = tas_slopes(at, recovery_factor)
        return by_mach * by_speed, by_mach * by_height, by_heat

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] of the maximum at the recorded temperature."""
        sound = skip_nan(atmosphere.speed_of_sound, at.temperature)
        return cas_at_mach(maximum / sound, at.pressure_altitude)

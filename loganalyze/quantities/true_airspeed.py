"""True airspeed as a limited quantity."""

from __future__ import annotations

from loganalyze.air import airspeed, atmosphere
from loganalyze.quantities.limited_quantity import AirDataAtRows, Floats, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedAirspeed
from loganalyze.quantities.speed_relations import cas_at_mach, within


class TrueAirspeed(LimitedAirspeed):
    """Speed through the air; it takes the temperature to know it."""

    name, noun = "true_airspeed", "true airspeed"
    needs_altitude = True
    needs_temperature = True

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the true airspeed [m/s]."""
        return within(airspeed.tas_from_mach, at.mach, at.temperature)

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which the maximum lies in this air."""
        sound = within(atmosphere.speed_of_sound, at.temperature)
        return cas_at_mach(maximum / sound, at.pressure_altitude)

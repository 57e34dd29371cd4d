"""The known channels: name, dimension, edge unit (as read and shown), plausible range and rate.

Ranges and rates are in the edge unit. They separate sensor and recorder faults from flight:
wider than any aircraft in scope needs (up to Mach 3 and 20 km), tighter than the fill values
that recorders write. They are engineering judgement, not published figures.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from loganalyze.record.units import UNITS, Unit


@dataclass(frozen=True, slots=True)
class ChannelKind:
    """What a channel of this name means.

    ``lowest``, ``highest`` [edge unit] bound the plausible range; ``greatest_rate``
    [edge unit per second] is the greatest plausible rate of change (inf: none known);
    ``words`` is the channel's name in plain English.
    """

    name: str
    unit: Unit
    words: str
    lowest: float = -math.inf
    highest: float = math.inf
    greatest_rate: float = math.inf

    @property
    def dimension(self) -> str:
        """What the channel measures (speed, length, temperature, ...)."""
        return self.unit.dimension

    @property
    def bounds(self) -> tuple[float, float]:
        """The ends of the plausible range, in SI."""
        factor, offset = self.unit.factor, self.unit.offset
        return self.lowest * factor + offset, self.highest * factor + offset

    @property
    def discrete(self) -> bool:
        """Whether the channel holds states rather than a quantity."""
        return self.unit.dimension == "discrete"

    @property
    def smooth(self) -> bool:
        """Whether linear interpolation between two samples is a fair estimate.

        States and settings change in steps, and angles wrap at north: these are held instead.
        """
        return self.name not in _STEPWISE and not self.discrete


_STEPWISE = frozenset(("altimeter_setting", "heading", "track", "longitude", "flap_lever",
                       "speedbrake", "power_lever", "limit_pointer"))


def _kind(
    name: str,
    unit: str,
    words: str,
    lowest: float = -math.inf,
    highest: float = math.inf,
    rate: float = math.inf,
) -> tuple[str, ChannelKind]:
    return name, ChannelKind(name, UNITS[unit], words, lowest, highest, rate)


CHANNELS: dict[str, ChannelKind] = dict(
    (
        _kind("pressure_altitude", "ft", "pressure altitude", -2000, 65000, 600),
        _kind("indicated_altitude", "ft", "indicated (baro-corrected) altitude", -2000, 65000, 600),
        _kind("satellite_altitude", "ft", "satellite altitude", -3000, 66000, 600),
        _kind("indicated_airspeed", "kt", "indicated airspeed", 0, 1000, 40),
        _kind("calibrated_airspeed", "kt", "calibrated airspeed", 0, 1000, 40),
        _kind("true_airspeed", "kt", "true airspeed", 0, 1800, 60),
        _kind("mach", "1", "Mach number", 0, 3, 0.1),
        _kind("static_air_temperature", "degC", "static air temperature", -95, 60, 8),
        _kind("total_air_temperature", "degC", "total air temperature", -95, 120, 8),
        _kind("outside_air_temperature", "degC", "outside air temperature", -95, 120, 8),
        _kind("static_pressure", "hPa", "static pressure", 40, 1100, 20),
        _kind("total_pressure", "hPa", "total pressure", 40, 2000, 60),
        _kind("impact_pressure", "hPa", "impact pressure", -2, 1000, 60),
        _kind("altimeter_setting", "hPa", "altimeter setting", 850, 1100),
        _kind("ground_speed", "kt", "ground speed", 0, 2000, 60),
        _kind("vertical_speed", "ft/min", "vertical speed", -36000, 36000),
        _kind("heading", "deg", "heading", -360, 720),
        _kind("track", "deg", "track", -360, 720),
        _kind("pitch", "deg", "pitch attitude", -90, 90, 60),
        _kind("roll", "deg", "roll attitude", -180, 180, 200),
        _kind("load_factor", "g", "normal load factor", -5, 12),
        _kind("latitude", "deg", "latitude", -90, 90),
        _kind("longitude", "deg", "longitude", -180, 360),
        _kind("flap", "deg", "flap angle", -5, 90, 15),
        _kind("flap_lever", "deg", "flap lever", -5, 90),
        _kind("slat", "deg", "slat angle", -5, 90, 15),
        _kind("speedbrake", "deg", "speedbrake angle", -5, 100),
        _kind("gear_down", "discrete", "landing gear down"),
        _kind("weight_on_wheels", "discrete", "weight on wheels"),
        _kind("overspeed_warning", "discrete", "overspeed warning"),
        _kind("autopilot", "discrete", "autopilot engaged"),
        _kind("event_marker", "discrete", "event marker"),
        _kind("autothrottle", "discrete", "autothrottle engaged"),
        _kind("weight", "kg", "gross weight", 100, 700000),
        _kind("fuel", "kg", "fuel on board", 0, 400000),
        _kind("torque", "%", "engine torque", -20, 160),
        _kind("fan_speed", "%", "engine N1", 0, 130),
        _kind("power_lever", "deg", "power lever", -60, 120),
        _kind("limit_pointer", "kt", "recorded maximum allowable airspeed", 0, 1000),
    )
)
"""Every channel the program knows, by name."""


def kind(name: str) -> ChannelKind | None:
    """Return the kind of channel `name`, or None for a channel that is not in `CHANNELS`.

    A redundant source ends with its number (`mach_2`) and has the kind of the first one.
    """
    return CHANNELS.get(name) or CHANNELS.get(re.sub(r"_[2-9]$", "", name))

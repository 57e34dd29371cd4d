"""Units used in aviation records, each with its factor and offset to SI.

Exact by definition: 1 ft = 0.3048 m, 1 nautical mile = 1852 m, 1 statute mile = 1609.344 m,
1 lb = 0.45359237 kg (international yard and pound agreement of 1959; BIPM SI Brochure, 9th
ed., table 8). The conventional inch of mercury is 3386.389 Pa, the conventional millimetre of
mercury 133.3224 Pa (NIST SP 811, B.8). Standard gravity is 9.80665 m/s2 (ISO 2533:1975, 2.1).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

FOOT = 0.3048
KNOT = 1852.0 / 3600.0
POUND = 0.45359237
DEGREE = 0.017453292519943295
GRAVITY = 9.80665
ZERO_CELSIUS = 273.15
"""0 degrees Celsius [K], exact by definition (BIPM SI Brochure, 9th ed., 2.3.1)."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: ``si = value * factor + offset``.

    ``name`` is the spelling that this program prints, ``dimension`` what it measures.
    """

    name: str
    dimension: str
    factor: float
    offset: float = 0.0


_TABLE: tuple[tuple[str, str, float, float, tuple[str, ...]], ...] = (
    # name, dimension, factor, offset, other spellings (matched without case, blanks, dots)
    ("kt", "speed", KNOT, 0.0, ("kts", "knot", "knots", "knts", "kn", "kias", "kcas", "ktas",
                                "keas", "nm/h", "nmi/h", "nmph")),
    ("km/h", "speed", 1 / 3.6, 0.0, ("kmh", "kph", "kmph", "km/hr", "kmh-1", "km*h-1")),
    ("m/s", "speed", 1.0, 0.0, ("mps", "ms-1", "m*s-1", "m/sec", "metres/s", "meters/s")),
    ("mph", "speed", 0.44704, 0.0, ("mi/h", "miles/h")),
    ("ft/min", "speed", FOOT / 60, 0.0, ("fpm", "feet/min", "ft/mn", "ft/minute", "ftmin")),
    ("100 ft/min", "speed", 100 * FOOT / 60, 0.0, ("fpm x 100", "ft/min x 100", "x 100 fpm",
                                                   "x 100 ft/min", "100 fpm")),
    ("ft/s", "speed", FOOT, 0.0, ("fps", "ft/sec", "feet/s")),
    ("m/min", "speed", 1 / 60, 0.0, ("metres/min", "meters/min")),
    ("ft", "length", FOOT, 0.0, ("feet", "foot", "'", "fts")),
    ("m", "length", 1.0, 0.0, ("metre", "meter", "metres", "meters", "mtr")),
    ("km", "length", 1000.0, 0.0, ("kilometre", "kilometres", "kilometer", "kilometers")),
    ("FL", "length", 100 * FOOT, 0.0, ("flightlevel", "hft", "100ft", "ft x 100", "x 100 ft",
                                       "feet x 100", "hundreds of feet", "hundred feet")),
    ("1000 ft", "length", 1000 * FOOT, 0.0, ("kft", "ft x 1000", "x 1000 ft", "feet x 1000",
                                             "thousands of feet", "thousand feet")),
    ("degC", "temperature", 1.0, ZERO_CELSIUS, ("c", "°c", "celsius", "deg c", "degc", "degrees c",
                                          "º c", "ºc", "℃", "centigrade", "deg celsius",
                                          "degrees celsius", "°celsius", "cel")),
    ("degF", "temperature", 5 / 9, ZERO_CELSIUS - 32 * 5 / 9, (
        "f", "°f", "fahrenheit", "deg f", "ºf", "℉", "degrees f", "deg fahrenheit",
        "degrees fahrenheit")),
    ("K", "temperature", 1.0, 0.0, ("kelvin", "degk", "deg k", "°k", "kelvins")),
    ("hPa", "pressure", 100.0, 0.0, ("mbar", "mb", "mbars", "millibar", "millibars",
                                     "hectopascal", "hectopascals")),
    ("kPa", "pressure", 1000.0, 0.0, ("kilopascal", "kilopascals")),
    ("Pa", "pressure", 1.0, 0.0, ("pascal", "pascals", "n/m2", "n/m^2")),
    ("bar", "pressure", 1e5, 0.0, ("bars",)),
    ("inHg", "pressure", 3386.389, 0.0, ("in hg", "in.hg", "inches hg", '"hg', "inch hg",
                                         "inches of mercury", "in-hg", "in_hg")),
    ("mmHg", "pressure", 133.3224, 0.0, ("mm hg", "mm of mercury", "millimetres of mercury")),
    ("psi", "pressure", 6894.757293168361, 0.0, ("psia", "psid", "psig", "lbf/in2", "lb/in2",
                                                 "lbf/in^2")),
    ("psf", "pressure", 6894.757293168361 / 144, 0.0, ("lbf/ft2", "lb/ft2", "lbf/ft^2")),
    ("deg", "angle", DEGREE, 0.0, ("°", "degree", "degrees", "º", "degt", "degm", "deg true",
                                   "deg mag", "degs", "°t", "°m")),
    ("rad", "angle", 1.0, 0.0, ("radian", "radians", "rads")),
    ("kg", "mass", 1.0, 0.0, ("kgs", "kilogram", "kilograms")),
    ("lb", "mass", POUND, 0.0, ("lbs", "pound", "pounds", "lbm")),
    ("1000 lb", "mass", 1000 * POUND, 0.0, ("klb", "klbs", "lb x 1000", "lbs x 1000",
                                            "x 1000 lb", "x 1000 lbs")),
    ("t", "mass", 1000.0, 0.0, ("tonne", "tonnes", "metric ton", "metric tons", "kg x 1000",
                                "x 1000 kg", "1000 kg")),
    ("g", "load factor", 1.0, 0.0, ("g's", "gs", "gn", "g0")),
    ("m/s2", "load factor", 1 / GRAVITY, 0.0, ("m/s^2", "m/s²", "m/s/s", "ms-2", "m*s-2",
                                               "m/sec2", "m/sec^2")),
    ("ft/s2", "load factor", FOOT / GRAVITY, 0.0, ("ft/s^2", "ft/s²", "ft/s/s", "ft/sec2",
                                                   "ft/sec^2")),
    ("Mach", "ratio", 1.0, 0.0, ("m.no", "machno", "mach number", "ma")),
    ("1", "ratio", 1.0, 0.0, ("-", "ratio", "none", "number", "fraction", "frac", "unitless",
                              "dimensionless", "no unit", "[-]")),
    ("%", "ratio", 0.01, 0.0, ("percent", "per cent", "pct", "prcnt", "%rpm", "% rpm")),
    ("1/1000", "ratio", 0.001, 0.0, ("milli", "mmach", "millimach", "milli mach", "mach x 1000",
                                     "x 0.001", "0.001", "thousandths", "per mille", "‰")),
    ("s", "time", 1.0, 0.0, ("sec", "secs", "second", "seconds")),
    ("ms", "time", 1e-3, 0.0, ("msec", "msecs", "millisecond", "milliseconds")),
    ("us", "time", 1e-6, 0.0, ("microsecond", "microseconds", "µs", "μs", "usec")),
    ("ns", "time", 1e-9, 0.0, ("nanosecond", "nanoseconds", "nsec")),
    ("min", "time", 60.0, 0.0, ("minute", "minutes", "mins")),
    ("h", "time", 3600.0, 0.0, ("hour", "hours", "hr", "hrs")),
    ("d", "time", 86400.0, 0.0, ("day", "days")),
    ("discrete", "discrete", 1.0, 0.0, (
        "bool", "boolean", "state", "0/1", "0-1", "disc", "logical", "flag", "on/off",
        "off/on", "true/false", "yes/no", "bit", "status", "dsc")),
)


def _key(spelling: str) -> str:
    return "".join(spelling.casefold().replace("×", "x").split()).replace(".", "")


UNITS: dict[str, Unit] = {row[0]: Unit(row[0], row[1], row[2], row[3]) for row in _TABLE}
"""Every unit by its own spelling: `factor` and `offset` give SI as value * factor + offset."""
_BY_SPELLING: dict[str, Unit] = {
    _key(spelling): UNITS[name]
    for name, _, _, _, others in _TABLE
    for spelling in (name, *others)
}
_BY_DIMENSION: dict[tuple[str, str], Unit] = {
    # These spellings mean different units in different dimensions.
    ("m", "ratio"): UNITS["Mach"],
    ("n/a", "ratio"): UNITS["1"],
    ("n/a", "discrete"): UNITS["discrete"],
    ("-", "discrete"): UNITS["discrete"],
    ("none", "discrete"): UNITS["discrete"],
    ("1", "discrete"): UNITS["discrete"],
}


@lru_cache(maxsize=4096)
def find_unit(spelling: str, dimension: str = "") -> Unit | None:
    """Return the unit spelled `spelling`, or None if the spelling is unknown.

    Case, blanks and dots are ignored: "KTS", "kts" and "Kt" are the same unit. `dimension` : the
    dimension of the channel, where known: "M" is a metre, but beside a Mach number it is Mach.
    """
    key = _key(spelling)
    return _BY_DIMENSION.get((key, dimension)) or _BY_SPELLING.get(key)

"""Units of the trade, each as a factor and an offset to SI.

Exact by definition: 1 ft = 0.3048 m, 1 nautical mile = 1852 m, 1 statute mile = 1609.344 m,
1 lb = 0.45359237 kg (international yard and pound agreement of 1959; BIPM SI Brochure, 9th
ed., table 8). The conventional inch of mercury is 3386.389 Pa (NIST SP 811, B.8).
"""

from __future__ import annotations

from dataclasses import dataclass

FOOT = 0.3048
KNOT = 1852.0 / 3600.0
POUND = 0.45359237
DEGREE = 0.017453292519943295


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
    ("kt", "speed", KNOT, 0.0, ("kts", "knot", "knots", "kn", "kias", "kcas", "ktas", "keas",
                                "nm/h", "nmi/h")),
    ("km/h", "speed", 1 / 3.6, 0.0, ("kmh", "kph", "kmph")),
    ("m/s", "speed", 1.0, 0.0, ("mps", "ms-1", "m*s-1", "m/sec")),
    ("mph", "speed", 0.44704, 0.0, ("mi/h",)),
    ("ft/min", "speed", FOOT / 60, 0.0, ("fpm", "feet/min", "ft/mn")),
    ("ft/s", "speed", FOOT, 0.0, ("fps", "ft/sec")),
    ("ft", "length", FOOT, 0.0, ("feet", "foot", "'")),
    ("m", "length", 1.0, 0.0, ("metre", "meter", "metres", "meters", "mtr")),
    ("km", "length", 1000.0, 0.0, ()),
    ("FL", "length", 100 * FOOT, 0.0, ("flightlevel", "hft", "100ft")),
    ("degC", "temperature", 1.0, 273.15, ("c", "°c", "celsius", "deg c", "degc", "degrees c",
                                          "º c", "ºc")),
    ("degF", "temperature", 5 / 9, 273.15 - 32 * 5 / 9, ("f", "°f", "fahrenheit", "deg f", "ºf")),
    ("K", "temperature", 1.0, 0.0, ("kelvin", "degk", "deg k")),
    ("hPa", "pressure", 100.0, 0.0, ("mbar", "mb", "millibar")),
    ("kPa", "pressure", 1000.0, 0.0, ()),
    ("Pa", "pressure", 1.0, 0.0, ("pascal",)),
    ("inHg", "pressure", 3386.389, 0.0, ("in hg", "in.hg", "inches hg")),
    ("psi", "pressure", 6894.757293168361, 0.0, ("psia", "psid", "lbf/in2")),
    ("deg", "angle", DEGREE, 0.0, ("°", "degree", "degrees", "º", "degt", "degm")),
    ("rad", "angle", 1.0, 0.0, ("radian", "radians")),
    ("kg", "mass", 1.0, 0.0, ("kgs", "kilogram")),
    ("lb", "mass", POUND, 0.0, ("lbs", "pound", "pounds")),
    ("t", "mass", 1000.0, 0.0, ("tonne", "tonnes")),
    ("g", "load factor", 1.0, 0.0, ("g's", "gs")),
    ("Mach", "ratio", 1.0, 0.0, ("m.no", "machno")),
    ("1", "ratio", 1.0, 0.0, ("-", "ratio", "none", "number")),
    ("%", "ratio", 0.01, 0.0, ("percent", "per cent", "pct")),
    ("s", "time", 1.0, 0.0, ("sec", "secs", "second", "seconds")),
    ("ms", "time", 1e-3, 0.0, ("msec", "millisecond", "milliseconds")),
    ("us", "time", 1e-6, 0.0, ("microseconds", "µs")),
    ("ns", "time", 1e-9, 0.0, ("nanoseconds",)),
    ("min", "time", 60.0, 0.0, ("minute", "minutes")),
    ("h", "time", 3600.0, 0.0, ("hour", "hours", "hr")),
    ("discrete", "discrete", 1.0, 0.0, ("bool", "boolean", "state", "0/1")),
)


def _key(spelling: str) -> str:
    return "".join(spelling.casefold().split()).replace(".", "")


UNITS: dict[str, Unit] = {row[0]: Unit(row[0], row[1], row[2], row[3]) for row in _TABLE}
_BY_SPELLING: dict[str, Unit] = {
    _key(spelling): UNITS[name]
    for name, _, _, _, others in _TABLE
    for spelling in (name, *others)
}


def find_unit(spelling: str) -> Unit | None:
    """Return the unit that the trade writes as `spelling`, or None if it is none that is known.

    Case, blanks and dots don't count: "KTS", "kts" and "Kt" are one unit.
    """
    return _BY_SPELLING.get(_key(spelling))

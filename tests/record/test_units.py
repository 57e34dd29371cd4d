"""Units: exact by definition, with the source of each, and the spellings of the trade."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import UNITS, find_unit

FOOT, POUND = Fraction("0.3048"), Fraction("0.45359237")
STANDARD_GRAVITY = Fraction("9.80665")
DEFINED = {
    # International yard and pound agreement of 1959.
    "ft": FOOT, "ft/s": FOOT, "ft/min": FOOT / 60, "FL": 100 * FOOT, "lb": POUND,
    "mph": Fraction("1609.344") / 3600,
    # Pound-force per square inch: the pound under standard gravity on (0.0254 m)^2.
    "psi": POUND * STANDARD_GRAVITY / Fraction("0.0254") ** 2,
    # BIPM SI Brochure, 9th ed., table 8: the nautical mile is 1852 m, the tonne 1000 kg.
    "kt": Fraction(1852, 3600), "t": Fraction(1000),
    # BIPM SI Brochure, 9th ed., 2.3.4 and table 8: hours, minutes, and SI prefixes.
    "km/h": Fraction(1000, 3600), "m/s": Fraction(1), "m": Fraction(1), "km": Fraction(1000),
    "K": Fraction(1), "degC": Fraction(1), "degF": Fraction(5, 9),
    "hPa": Fraction(100), "kPa": Fraction(1000), "Pa": Fraction(1),
    "kg": Fraction(1), "s": Fraction(1), "ms": Fraction(1, 1000), "us": Fraction(1, 10**6),
    "ns": Fraction(1, 10**9), "min": Fraction(60), "h": Fraction(3600), "rad": Fraction(1),
    # NIST SP 811, B.8: the conventional inch of mercury.
    "inHg": Fraction("3386.389"),
    # Ratios and states.
    "Mach": Fraction(1), "1": Fraction(1), "%": Fraction(1, 100), "discrete": Fraction(1),
    "1/1000": Fraction(1, 1000),
    # ISO 2533:1975, 2.1: standard gravity.
    "g": Fraction(1), "m/s2": 1 / STANDARD_GRAVITY, "ft/s2": FOOT / STANDARD_GRAVITY,
    # Multiples of the above that recorders and displays write.
    "100 ft/min": 100 * FOOT / 60, "1000 ft": 1000 * FOOT, "1000 lb": 1000 * POUND,
    "m/min": Fraction(1, 60), "bar": Fraction(10**5), "d": Fraction(86400),
    "psf": POUND * STANDARD_GRAVITY / FOOT**2,
    # NIST SP 811, B.8: the conventional millimetre of mercury.
    "mmHg": Fraction("133.3224"),
}


def test_every_unit_has_its_definition_here():
    assert set(UNITS) == {*DEFINED, "deg"}


@pytest.mark.parametrize("name", DEFINED)
def test_factors(name):
    assert UNITS[name].factor == pytest.approx(float(DEFINED[name]), rel=1e-15)


def test_degrees():
    assert UNITS["deg"].factor == math.pi / 180


def test_offsets():
    # BIPM SI Brochure, 9th ed., 2.3.1: t/degC = T/K - 273.15.
    assert (UNITS["degC"].offset, UNITS["K"].offset) == (273.15, 0)
    fahrenheit = UNITS["degF"]
    assert 32 * fahrenheit.factor + fahrenheit.offset == pytest.approx(273.15, abs=1e-12)
    assert 212 * fahrenheit.factor + fahrenheit.offset == pytest.approx(373.15, abs=1e-12)
    assert all(unit.offset == 0 for name, unit in UNITS.items() if name not in ("degC", "degF"))


@pytest.mark.parametrize(("spelling", "name"), [
    ("kt", "kt"), ("KTS", "kt"), ("Knots", "kt"), ("KIAS", "kt"), ("km/h", "km/h"),
    ("KPH", "km/h"), ("m / s", "m/s"), ("fpm", "ft/min"), ("Feet", "ft"), ("FT", "ft"),
    ("FL", "FL"), ("°C", "degC"), ("deg C", "degC"), ("C", "degC"), ("°F", "degF"),
    ("mbar", "hPa"), ("HPA", "hPa"), ("in Hg", "inHg"), ("In.Hg", "inHg"), ("%", "%"),
    ("deg", "deg"), ("lbs", "lb"), ("kg", "kg"), ("sec", "s"), ("M", "m"), ("-", "1"),
    ("ft x 100", "FL"), ("X100FT", "FL"), ("lbs × 1000", "1000 lb"), ("m/s^2", "m/s2"),
    ("m/s²", "m/s2"), ("mmHg", "mmHg"), ("lbf/ft2", "psf"), ("thousandths", "1/1000"),
    ("G", "g"), ("MSEC", "ms"), ("ON/OFF", "discrete"),
])
def test_spellings(spelling, name):
    assert find_unit(spelling) is UNITS[name]


@pytest.mark.parametrize(("spelling", "dimension", "name"), [
    ("M", "ratio", "Mach"), ("M", "length", "m"), ("-", "discrete", "discrete"),
    ("-", "ratio", "1"), ("n/a", "discrete", "discrete"), ("kt", "ratio", "kt"),
])
def test_what_is_measured_settles_a_letter(spelling, dimension, name):
    assert find_unit(spelling, dimension) is UNITS[name]


@pytest.mark.parametrize("spelling", ["", "furlong", "k t s x", "knots per fortnight"])
def test_no_unit(spelling):
    assert find_unit(spelling) is None


@pytest.mark.parametrize("name", UNITS)
def test_each_unit_is_found_by_the_name_that_is_printed(name):
    assert find_unit(name) is UNITS[name]


@pytest.mark.parametrize("name", CHANNELS)
def test_channels_are_sane(name):
    kind = CHANNELS[name]
    assert kind.name == name
    assert name == name.lower()
    assert kind.words
    assert kind.unit is UNITS[kind.unit.name]
    assert kind.lowest < kind.highest
    assert kind.greatest_rate > 0
    assert kind.discrete == (kind.unit.name == "discrete")
    # Fill values that recorders write are no plausible readings of what the verdict rests on.
    if kind.dimension in ("speed", "length", "temperature") and name != "vertical_speed":
        for fill in (-9999, 99999, -99999):
            assert not kind.lowest <= fill <= kind.highest


def test_what_the_verdict_needs_has_a_range_and_a_rate():
    for name in ("pressure_altitude", "indicated_airspeed", "calibrated_airspeed",
                 "static_air_temperature", "total_air_temperature", "outside_air_temperature"):
        kind = CHANNELS[name]
        assert all(map(math.isfinite, (kind.lowest, kind.highest, kind.greatest_rate)))

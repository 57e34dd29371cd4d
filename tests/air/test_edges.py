"""Shapes, NaN and the ends of the valid ranges, for every public function alike."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from loganalyze.air import airspeed, atmosphere, probes, sensitivity

# function, arguments inside the range, and for each argument a value outside it
FUNCTIONS: list[tuple[Callable[..., np.ndarray], tuple[float, ...], tuple[float, ...]]] = [
    (atmosphere.pressure_ratio, (3000.0,), (32000.1,)),
    (atmosphere.temperature, (3000.0,), (-5000.1,)),
    (atmosphere.pressure_altitude, (7e4,), (867.0,)),
    (atmosphere.pressure_altitude_from_ratio, (0.7,), (1.76,)),
    (atmosphere.speed_of_sound, (270.0,), (15.0,)),
    (atmosphere.density_ratio, (3000.0, 270.0), (-5001.0, -10.0)),
    (atmosphere.density_altitude, (3000.0, 270.0), (33000.0, 401.0)),
    (atmosphere.isa_deviation, (3000.0, 270.0), (np.inf, 0.0)),
    (atmosphere.pressure_altitude_from_setting, (3000.0, 1e5), (40000.0, 1013.25)),
    (airspeed.impact_ratio_from_cas, (120.0,), (-1.0,)),
    (airspeed.cas_from_impact_ratio, (0.1,), (-0.1,)),
    (airspeed.impact_ratio_from_mach, (0.5,), (5.01,)),
    (airspeed.mach_from_impact_ratio, (0.1,), (31.7,)),
    (airspeed.mach_from_cas, (120.0, 3000.0), (-1.0, 33000.0)),
    (airspeed.cas_from_mach, (0.5, 3000.0), (-0.1, -6000.0)),
    (airspeed.mach_from_eas, (120.0, 3000.0), (-1.0, 33000.0)),
    (airspeed.eas_from_mach, (0.5, 3000.0), (5.1, 33000.0)),
    (airspeed.tas_from_mach, (0.5, 270.0), (-0.1, 15.0)),
    (airspeed.mach_from_tas, (150.0, 270.0), (2000.0, 15.0)),
    (airspeed.eas_from_cas, (120.0, 3000.0), (-1.0, 33000.0)),
    (airspeed.cas_from_eas, (120.0, 3000.0), (-1.0, 33000.0)),
    (airspeed.tas_from_cas, (120.0, 3000.0, 270.0), (-1.0, 33000.0, 15.0)),
    (airspeed.cas_from_tas, (120.0, 3000.0, 270.0), (-1.0, 33000.0, 15.0)),
    (airspeed.tas_from_eas, (120.0, 3000.0, 270.0), (-1.0, 33000.0, 15.0)),
    (airspeed.eas_from_tas, (120.0, 3000.0, 270.0), (-1.0, 33000.0, 15.0)),
    (airspeed.crossover_pressure_altitude, (150.0, 0.6), (-1.0, 6.0)),
    (probes.static_temperature, (270.0, 0.5, 0.9), (15.0, -0.1, 1.1)),
    (probes.total_temperature, (270.0, 0.5, 0.9), (15.0, 5.1, -0.1)),
    (probes.static_source_pressure_altitude, (120.0, 122.0, 3000.0), (-1.0, -1.0, 33000.0)),
    (sensitivity.impact_ratio_slope, (0.5,), (5.01,)),
    (sensitivity.relative_pressure_lapse, (3000.0,), (33000.0,)),
    (sensitivity.mach_by_cas, (120.0, 3000.0), (-1.0, 33000.0)),
    (sensitivity.mach_by_altitude, (120.0, 3000.0), (-1.0, 33000.0)),
    (sensitivity.altitude_by_static_source, (120.0, 3000.0), (-1.0, 33000.0)),
    (sensitivity.cas_at_mach_by_altitude, (120.0, 3000.0), (-1.0, 33000.0)),
]
NAMES = [function.__name__ for function, _, _ in FUNCTIONS]
every_function = pytest.mark.parametrize(("function", "inside", "outside"), FUNCTIONS, ids=NAMES)


@every_function
def test_a_scalar_gives_a_scalar(function, inside, outside) -> None:
    result = function(*inside)
    assert type(result) is np.float64
    assert np.isfinite(result)


@every_function
def test_any_shape_gives_that_shape(function, inside, outside) -> None:
    expected = function(*inside)
    for shape in ((1,), (7,), (2, 3), (0,), (2, 0, 3)):
        result = function(*(np.full(shape, value) for value in inside))
        assert result.shape == shape
        assert result.dtype == np.float64
        # NumPy's vectorised loops may round the last figure otherwise than its scalar ones.
        np.testing.assert_allclose(result, expected, rtol=1e-14)


@every_function
def test_arguments_broadcast(function, inside, outside) -> None:
    first, *others = inside
    result = function(np.full((3, 1), first), *(np.full(4, value) for value in others))
    assert result.shape == ((3, 4) if others else (3, 1))


@every_function
def test_integers_and_float32_are_computed_in_float64(function, inside, outside) -> None:
    for index, value in enumerate(inside):
        narrow = [np.float32(value) if i == index else v for i, v in enumerate(inside)]
        exact = [float(v) for v in narrow]
        assert function(*narrow) == function(*exact)
        assert function(*narrow).dtype == np.float64


@every_function
def test_nan_in_gives_nan_out_without_a_word(function, inside, outside) -> None:
    for index in range(len(inside)):
        arguments: list[float | np.ndarray] = list(inside)
        arguments[index] = np.nan
        assert np.isnan(function(*arguments))
        arguments[index] = np.array([inside[index], np.nan])
        assert list(np.isnan(function(*arguments))) == [False, True]


@every_function
def test_outside_the_range_is_refused(function, inside, outside) -> None:
    for index, value in enumerate(outside):
        for bad in (value, np.array([inside[index], value, np.nan]), np.inf, -np.inf):
            arguments: list[float | np.ndarray] = list(inside)
            arguments[index] = bad
            with pytest.raises(ValueError, match=r"outside|nowhere"):
                function(*arguments)


def test_supersonic_scalars_and_arrays() -> None:
    for function, value in (
        (airspeed.impact_ratio_from_mach, 1.7),
        (airspeed.mach_from_impact_ratio, 3.2),
    ):
        alone = function(value)
        assert type(alone) is np.float64
        mixed = function(np.array([[0.2, value], [np.nan, 0.1]]))
        assert mixed[0, 1] == pytest.approx(alone, rel=1e-15)
        assert np.isnan(mixed[1, 0])
        assert mixed[0, 0] == pytest.approx(function(0.2), rel=1e-15)


def test_the_ends_of_the_ranges_belong_to_them() -> None:
    ends = np.array([atmosphere.LOWEST, atmosphere.HIGHEST])
    ratio = atmosphere.pressure_ratio(ends)
    np.testing.assert_allclose(atmosphere.pressure_altitude_from_ratio(ratio), ends, rtol=1e-12)
    again = atmosphere.pressure_altitude(ratio * atmosphere.P0)
    assert np.isfinite(atmosphere.temperature(again)).all()
    kelvin = atmosphere.temperature(ends)
    np.testing.assert_allclose(atmosphere.density_altitude(ends, kelvin), ends, rtol=1e-12)
    assert airspeed.mach_from_cas(0.0, 12000.0) == 0.0
    assert airspeed.cas_from_mach(airspeed.HIGHEST_MACH, 0.0) == pytest.approx(airspeed.HIGHEST_CAS)
    assert airspeed.mach_from_cas(airspeed.HIGHEST_CAS, 0.0) == pytest.approx(5.0, rel=1e-14)


HIGHEST_RATIO = float(airspeed.impact_ratio_from_mach(5.0))
RANGES: dict[str, tuple[Callable[[float], object], float, float]] = {
    "altitude": (atmosphere.pressure_ratio, -5000.0, 32000.0),
    "static temperature": (atmosphere.speed_of_sound, 100.0, 400.0),
    "setting": (lambda pascal: atmosphere.pressure_altitude_from_setting(9000.0, pascal),
                50e3, 110e3),
    "Mach number": (airspeed.impact_ratio_from_mach, 0.0, 5.0),
    "Mach number of EAS": (lambda mach: airspeed.eas_from_mach(mach, 0.0), 0.0, 5.0),
    "Mach number of TAS": (lambda mach: airspeed.tas_from_mach(mach, 280.0), 0.0, 5.0),
    "impact ratio": (airspeed.mach_from_impact_ratio, 0.0, HIGHEST_RATIO),
    "CAS": (airspeed.impact_ratio_from_cas, 0.0, airspeed.HIGHEST_CAS),
    "ram rise": (lambda mach: probes.total_temperature(280.0, mach), 0.0, 5.0),
    "recovery": (lambda part: probes.static_temperature(280.0, 0.5, part), 0.0, 1.0),
    "temperature of a probe": (lambda kelvin: probes.static_temperature(kelvin, 0.5),
                               100.0, 2400.0),
    "temperature about a probe": (lambda kelvin: probes.total_temperature(kelvin, 0.5),
                                  100.0, 400.0),
    "slope by Mach": (sensitivity.impact_ratio_slope, 0.0, 5.0),
    "slope by the static source": (
        lambda cas: sensitivity.altitude_by_static_source(cas, 0.0), 0.0, airspeed.HIGHEST_CAS),
    "slope of TAS": (lambda mach: sensitivity.tas_by_mach(mach, 280.0), 0.0, 5.0),
    "slope of TAS by recovery": (lambda part: sensitivity.tas_by_mach(0.5, 280.0, part), 0.0, 1.0),
}


@pytest.mark.parametrize("quantity", RANGES)
def test_a_range_is_closed_and_ends_where_it_is_said_to(quantity) -> None:
    function, lowest, highest = RANGES[quantity]
    beyond = 1e-6 * (highest - lowest)
    for inside in (lowest, highest):
        assert np.isfinite(function(inside)).all()
    for outside in (lowest - beyond, highest + beyond):
        with pytest.raises(ValueError, match="outside"):
            function(outside)


def test_the_message_names_the_value_that_is_outside() -> None:
    with pytest.raises(ValueError, match="Mach number 6 is outside 0 to 5"):
        airspeed.impact_ratio_from_mach([0.0, 6.0])
    with pytest.raises(ValueError, match="Mach number -1 is outside 0 to 5"):
        airspeed.impact_ratio_from_mach([-1.0, 6.0])
    for slope in (sensitivity.altitude_by_static_source, airspeed.mach_from_cas):
        with pytest.raises(ValueError, match="calibrated airspeed"):
            slope(-0.5, 3000.0)


def test_what_is_taken_where_nothing_is_said() -> None:
    # A probe feels the whole ram rise; a Mach number stays what it is with altitude.
    for function in (probes.total_temperature, probes.static_temperature):
        assert function(270.0, 0.8) == function(270.0, 0.8, 1.0) != function(270.0, 0.8, 0.5)
    by_altitude = sensitivity.cas_at_mach_by_altitude(120.0, 3000.0)
    assert by_altitude == sensitivity.cas_at_mach_by_altitude(120.0, 3000.0, 0.0)
    by_mach, by_read = sensitivity.tas_by_mach(0.8, 250.0)
    assert (by_mach, by_read) == sensitivity.tas_by_mach(0.8, 250.0, 0.0)


@pytest.mark.parametrize(("pascal", "metres"), [
    (101325.0, 0.0), (22632.0, 11000.0), (5474.9, 20000.0)])
def test_pressure_altitude_of_a_pressure(pascal: float, metres: float) -> None:
    # ISO 2533:1975, table of pressures: at sea level and at the layers' boundaries.
    assert atmosphere.pressure_altitude(pascal) == pytest.approx(metres, abs=0.1)


def test_a_speed_of_zero_crosses_no_other() -> None:
    for cas, mach in ((0.0, 0.8), (150.0, 0.0), ([150.0, 0.0], 0.6), (150.0, [0.6, 0.0])):
        with pytest.raises(ValueError, match="zero"):
            airspeed.crossover_pressure_altitude(cas, mach)
    with pytest.raises(ValueError, match="0 m/s"):
        sensitivity.cas_at_mach_by_altitude([150.0, 0.0], 3000.0)


def test_a_mach_number_beyond_the_range_is_refused_when_it_comes_from_the_other_speeds() -> None:
    for speed in (airspeed.mach_from_cas, airspeed.mach_from_eas):
        with pytest.raises(ValueError, match="outside"):
            speed(600.0, 30000.0)


def test_what_never_crosses_is_refused() -> None:
    for cas, mach in ((30.0, 0.9), (400.0, 0.3), (0.0, 0.8), (150.0, 0.0)):
        with pytest.raises(ValueError, match="cross"):
            airspeed.crossover_pressure_altitude(cas, mach)


def test_a_density_that_the_standard_atmosphere_has_nowhere() -> None:
    for altitude, kelvin in ((-5000.0, 250.0), (31900.0, 300.0)):
        with pytest.raises(ValueError, match="density ratio"):
            atmosphere.density_altitude(altitude, kelvin)

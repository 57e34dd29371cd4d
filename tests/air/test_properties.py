"""What must hold whatever the numbers: round trips, monotony, continuity, invariances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from loganalyze.air import airspeed, atmosphere, probes

altitudes = st.floats(-5000.0, 32000.0)
machs = st.floats(1e-4, 3.0)
kelvins = st.floats(180.0, 330.0)

INVERSES = {
    "cas": (airspeed.cas_from_mach, airspeed.mach_from_cas),
    "eas": (airspeed.eas_from_mach, airspeed.mach_from_eas),
}


@pytest.mark.parametrize("speed", INVERSES)
@given(mach=machs, altitude=altitudes)
def test_mach_comes_back(speed: str, mach: float, altitude: float) -> None:
    there, back = INVERSES[speed]
    assert back(there(mach, altitude), altitude) == pytest.approx(mach, rel=1e-12)


@given(mach=machs, altitude=altitudes, kelvin=kelvins)
def test_every_way_round_closes(mach: float, altitude: float, kelvin: float) -> None:
    tas = airspeed.tas_from_mach(mach, kelvin)
    cas = airspeed.cas_from_tas(tas, altitude, kelvin)
    eas = airspeed.eas_from_cas(cas, altitude)
    assert airspeed.mach_from_tas(tas, kelvin) == pytest.approx(mach, rel=1e-12)
    assert airspeed.cas_from_eas(eas, altitude) == pytest.approx(cas, rel=1e-12)
    assert airspeed.tas_from_cas(cas, altitude, kelvin) == pytest.approx(tas, rel=1e-12)
    assert airspeed.tas_from_eas(eas, altitude, kelvin) == pytest.approx(tas, rel=1e-12)
    assert airspeed.eas_from_tas(tas, altitude, kelvin) == pytest.approx(eas, rel=1e-12)


@given(mach=machs, altitude=altitudes, kelvin=kelvins)
def test_eas_is_tas_by_the_root_of_the_density_ratio(
    mach: float, altitude: float, kelvin: float
) -> None:
    tas, eas = airspeed.tas_from_mach(mach, kelvin), airspeed.eas_from_mach(mach, altitude)
    sigma = atmosphere.density_ratio(altitude, kelvin)
    assert eas == pytest.approx(tas * np.sqrt(sigma), rel=1e-12)


@given(cas=st.floats(0.0, 1000.0))
def test_all_airspeeds_are_one_at_sea_level_on_a_standard_day(cas: float) -> None:
    assert airspeed.tas_from_cas(cas, 0.0, atmosphere.T0) == pytest.approx(cas, rel=1e-14)
    assert airspeed.eas_from_cas(cas, 0.0) == pytest.approx(cas, rel=1e-14)


@given(mach=st.floats(0.0, 2.9), more=st.floats(1e-9, 0.1), altitude=altitudes)
def test_every_speed_rises_with_mach(mach: float, more: float, altitude: float) -> None:
    assert airspeed.cas_from_mach(mach + more, altitude) > airspeed.cas_from_mach(mach, altitude)
    assert airspeed.impact_ratio_from_mach(mach + more) > airspeed.impact_ratio_from_mach(mach)


@given(cas=st.floats(5.0, 150.0), altitude=st.floats(-5000.0, 19000.0), more=st.floats(0.1, 1000.0))
def test_at_constant_cas_mach_rises_with_altitude(cas: float, altitude: float, more: float) -> None:
    assert airspeed.mach_from_cas(cas, altitude + more) > airspeed.mach_from_cas(cas, altitude)


@given(cas=st.floats(5.0, 200.0), altitude=st.floats(-5000.0, 15000.0))
def test_compressibility_only_takes_away_above_sea_level(cas: float, altitude: float) -> None:
    eas = airspeed.eas_from_cas(cas, altitude)
    assert (eas < cas) == (altitude > 0.0) or abs(eas - cas) < 1e-12 * cas


@given(cas=st.floats(5.0, 200.0), altitude=st.floats(-5000.0, 15000.0), kelvin=kelvins)
def test_temperature_moves_tas_but_not_mach(cas: float, altitude: float, kelvin: float) -> None:
    mach = airspeed.mach_from_cas(cas, altitude)
    tas = airspeed.tas_from_cas(cas, altitude, kelvin)
    assert tas / atmosphere.speed_of_sound(kelvin) == pytest.approx(mach, rel=1e-14)


@given(altitude=altitudes)
def test_altitude_comes_back_from_its_pressure(altitude: float) -> None:
    ratio = atmosphere.pressure_ratio(altitude)
    assert atmosphere.pressure_altitude_from_ratio(ratio) == pytest.approx(altitude, abs=1e-8)
    assert atmosphere.pressure_altitude(ratio * atmosphere.P0) == pytest.approx(altitude, abs=1e-8)


@given(altitude=altitudes)
def test_on_a_standard_day_density_altitude_is_pressure_altitude(altitude: float) -> None:
    kelvin = atmosphere.temperature(altitude)
    assert atmosphere.density_altitude(altitude, kelvin) == pytest.approx(altitude, abs=1e-8)
    assert atmosphere.isa_deviation(altitude, kelvin) == 0.0
    assert atmosphere.isa_deviation(altitude, kelvin + 10.0) == pytest.approx(10.0, abs=1e-12)


@given(altitude=st.floats(-4000.0, 28000.0), kelvin=kelvins)
def test_density_altitude_has_the_density_met(altitude: float, kelvin: float) -> None:
    sigma = atmosphere.density_ratio(altitude, kelvin)
    isa = atmosphere.density_ratio(
        np.array([-5000.0, 32000.0]), atmosphere.temperature(np.array([-5000.0, 32000.0]))
    )
    assume(isa[1] < sigma < isa[0])
    density_altitude = atmosphere.density_altitude(altitude, kelvin)
    assert atmosphere.density_ratio(
        density_altitude, atmosphere.temperature(density_altitude)
    ) == pytest.approx(sigma, rel=1e-12)


@given(altitude=st.floats(-4999.0, 31999.0), step=st.floats(1e-3, 1.0))
def test_pressure_falls_with_altitude(altitude: float, step: float) -> None:
    assert atmosphere.pressure_ratio(altitude + step) < atmosphere.pressure_ratio(altitude)


@pytest.mark.parametrize("boundary", [0.0, 11000.0, 20000.0])
def test_layers_meet(boundary: float) -> None:
    below, at, above = (boundary - 1e-6, boundary, boundary + 1e-6)
    for function, slope in (
        (atmosphere.pressure_ratio, 1.2e-4),
        (atmosphere.temperature, 6.5e-3),
    ):
        assert abs(function(above) - function(at)) <= 1.01e-6 * slope
        assert abs(function(below) - function(at)) <= 1.01e-6 * slope
    for altitude in (below, at, above):
        ratio = atmosphere.pressure_ratio(altitude)
        assert atmosphere.pressure_altitude_from_ratio(ratio) == pytest.approx(altitude, abs=1e-8)


@given(mach=st.floats(0.2, 1.5), altitude=altitudes)
def test_the_crossover_is_where_both_are_one_speed(mach: float, altitude: float) -> None:
    cas = airspeed.cas_from_mach(mach, altitude)
    assert airspeed.crossover_pressure_altitude(cas, mach) == pytest.approx(altitude, abs=1e-7)


@given(kelvin=kelvins, mach=st.floats(0.0, 3.0), recovery_factor=st.floats(0.0, 1.0))
def test_the_static_temperature_comes_back(
    kelvin: float, mach: float, recovery_factor: float
) -> None:
    read = probes.total_temperature(kelvin, mach, recovery_factor)
    assert kelvin <= read <= probes.total_temperature(kelvin, mach, 1.0)
    back = probes.static_temperature(read, mach, recovery_factor)
    assert back == pytest.approx(kelvin, rel=1e-14)


@given(altitude=st.floats(-1000.0, 15000.0), setting=st.floats(95000.0, 105000.0))
def test_an_altimeter_set_to_its_own_pressure_altitude(altitude: float, setting: float) -> None:
    # On the surface whose pressure is the setting, the altimeter reads zero.
    surface = atmosphere.pressure_altitude(setting)
    assert atmosphere.pressure_altitude_from_setting(0.0, setting) == surface
    shifted = atmosphere.pressure_altitude_from_setting(altitude, setting)
    assert shifted - altitude == pytest.approx(surface, abs=1e-9)


@given(
    speed=st.floats(40.0, 150.0), error=st.floats(-5.0, 5.0), altitude=st.floats(-1000.0, 15000.0)
)
def test_a_static_source_error_leaves_the_total_pressure(
    speed: float, error: float, altitude: float
) -> None:
    true = probes.static_source_pressure_altitude(speed, speed + error, altitude)
    total = atmosphere.pressure_ratio(altitude) + airspeed.impact_ratio_from_cas(speed)
    again = atmosphere.pressure_ratio(true) + airspeed.impact_ratio_from_cas(speed + error)
    assert again == pytest.approx(total, rel=1e-13)

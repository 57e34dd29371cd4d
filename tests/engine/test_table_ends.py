"""Where a table of the fast path ends, the plain physics' answer stands."""

import numpy as np
import pytest

from loganalyze import analyze
from loganalyze.air import atmosphere
from loganalyze.record.units import FOOT

UNKNOWN = 2


@pytest.mark.parametrize("which", ["arrays", "compiled"])
def test_density_altitude_of_dense_air_down_to_minus_five_kilometres(
        which, log, sheet, vmo, choose_engine):
    choose_engine(which)
    altitude = np.full(60, -900.0)
    warm = np.linspace(-92.0, 15.0, 60)
    flight = log(np.arange(60.0), calibrated_airspeed=200.0, pressure_altitude=altitude,
                 static_air_temperature=warm)
    found = analyze(flight, sheet(vmo, temperature={"outside_air": "static"}))
    ratio = atmosphere.pressure_ratio(altitude * FOOT) * atmosphere.T0 / (warm + 273.15)
    densest = atmosphere.density_ratio(-5000.0, atmosphere.temperature(-5000.0))
    above = ratio < densest
    assert np.count_nonzero(above & (ratio > 1.5)) > 3
    assert np.count_nonzero(~above) > 0
    given = found.columns["density_altitude_ft"]
    assert given[above] == pytest.approx(
        atmosphere.altitude_from_density_ratio(ratio[above]) / FOOT, abs=0.5)
    assert np.isnan(given[~above]).all()


@pytest.mark.parametrize("speed", [
    np.full(60, 150.0), np.linspace(20.0, 150.0, 60), np.linspace(150.0, 20.0, 60)],
    ids=["at one speed", "slow at first", "slow at last"])
@pytest.mark.parametrize("which", ["arrays", "compiled"])
def test_density_altitude_of_air_too_thin_for_the_table(which, speed, log, sheet, vmo,
                                                        choose_engine):
    # The Mach number of a slow sample is computed exactly, and all columns about it once more.
    choose_engine(which)
    warm = np.linspace(-40.0, 60.0, 60)
    flight = log(np.arange(60.0), calibrated_airspeed=speed, pressure_altitude=64000.0,
                 static_air_temperature=warm)
    found = analyze(flight, sheet(vmo, temperature={"outside_air": "static"}))
    ratio = atmosphere.pressure_ratio(64000.0 * FOOT) * atmosphere.T0 / (warm + 273.15)
    thinnest = atmosphere.density_ratio(20000.0, atmosphere.temperature(20000.0))
    assert np.count_nonzero(ratio < thinnest) > 50
    assert found.columns["density_altitude_ft"] == pytest.approx(
        atmosphere.altitude_from_density_ratio(ratio) / FOOT, abs=0.5)


@pytest.mark.parametrize("which", ["arrays", "compiled"])
def test_an_altitude_that_a_correction_moves_beyond_the_table_is_unknown(
        which, log, sheet, mmo, choose_engine):
    """The recorded altitude is plausible, the corrected one below the lowest that is."""
    choose_engine(which)
    speed = np.linspace(170.0, 220.0, 60)
    flight = log(np.arange(60.0), indicated_airspeed=speed, pressure_altitude=-900.0)
    limits = sheet(mmo, recorded="indicated",
                   altimeter_correction=[[50, 0], [190, 0], [191, -2500], [400, -2500]])
    found = analyze(flight, limits)
    lost, kept = speed > 191.5, speed < 190
    assert np.isnan(found.columns["mach"][lost]).all()
    assert np.isfinite(found.columns["mach"][kept]).all()
    assert (found.columns["state"][lost] == UNKNOWN).all()


@pytest.mark.parametrize("which", ["arrays", "compiled"])
def test_a_log_that_is_over_its_limit_from_end_to_end(which, log, sheet, vmo, choose_engine):
    choose_engine(which)
    flight = log(np.arange(5000.0), calibrated_airspeed=260.0, pressure_altitude=5000.0)
    found = analyze(flight, sheet(vmo))
    assert [(one.start_s, one.end_s) for one in found.exceedances] == [(0.0, 5000.0)]
    assert found.exceedances[0].time_over_s == pytest.approx(5000.0)


@pytest.mark.parametrize("which", ["arrays", "compiled"])
def test_a_limit_that_applies_throughout_hides_no_other(which, log, sheet, choose_engine):
    choose_engine(which)
    limits = [{"name": name, "quantity": "calibrated_airspeed", "maximum_kt": kt, "when": when}
              for name, kt, when in (("VFE", 180.0, {"flap_deg": {"above": 1}}),
                                     ("VLE", 160.0, {"gear_down": {"is": True}}))]
    gear = np.repeat([0.0, 1.0], 100)
    flight = log(np.arange(200.0), calibrated_airspeed=170.0, pressure_altitude=5000.0,
                 flap=10.0, gear_down=gear)
    found = analyze(flight, sheet(*limits))
    assert [(one.limit, one.start_s, one.end_s) for one in found.exceedances] == [
        ("VLE", 100.0, 200.0)]
    assert found.columns["margin_kt"] == pytest.approx(np.where(gear == 1.0, -10.0, 10.0))

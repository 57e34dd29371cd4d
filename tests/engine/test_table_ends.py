"""Where a table of the fast path ends, the plain physics' answer stands."""

import numpy as np
import pytest

from loganalyze import analyze
from loganalyze.air import atmosphere
from loganalyze.record.units import FOOT


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

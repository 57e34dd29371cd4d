"""A dive in which power adds energy: both parts take margin, and each is known by itself."""

import numpy as np
import pytest

from loganalyze import analyze
from loganalyze.air import airspeed, atmosphere
from loganalyze.explain.margin_contributions import contributions
from loganalyze.record.units import FOOT, KNOT

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0}
G0 = 9.80665


def by_hand(height, tas):
    """Height and energy parts [kt CAS] in standard air, each the mean of its two orders."""
    def cas(at, energy):
        swift = np.sqrt(2 * (energy - G0 * at))
        return airspeed.cas_from_tas(swift, at, atmosphere.temperature(at)) / KNOT

    energies = tas**2 / 2 + G0 * height
    trade = energy = 0.0
    for i in range(len(height) - 1):
        h, k, e, f = height[i], height[i + 1], energies[i], energies[i + 1]
        trade += (cas(k, e) - cas(h, e) + cas(k, f) - cas(h, f)) / 2
        energy += (cas(h, f) - cas(h, e) + cas(k, f) - cas(k, e)) / 2
    return trade, energy


def test_a_dive_with_energy_rising(log, sheet):
    time = np.arange(0, 40, 1.0)
    altitude = 15000 - 60 * time
    # What the fall alone gives, and .4 m/s every second from the engines.
    height = altitude * FOOT
    tas = np.sqrt((180 * KNOT) ** 2 + 2 * G0 * (height[0] - height)) + 0.4 * time
    warm = atmosphere.temperature(height)
    speed = airspeed.cas_from_tas(tas, height, warm) / KNOT
    flight = log(time, calibrated_airspeed=speed, pressure_altitude=altitude,
                 static_air_temperature=warm - 273.15)
    one = contributions(analyze(flight, sheet(VMO)), len(time) - 1)
    assert one.start_s == 0.0
    trade, energy = by_hand(height, tas)
    assert trade > 10
    assert energy > 10
    assert one.height_trade_kt == pytest.approx(trade, abs=1e-6)
    assert one.energy_kt == pytest.approx(energy, abs=1e-6)
    assert one.gross_height_trade_kt == one.height_trade_kt
    assert one.gross_energy_kt == one.energy_kt
    assert one.height_trade_kt + one.energy_kt == pytest.approx(one.lost_kt, abs=1e-6)

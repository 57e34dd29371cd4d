"""The engine against every value of published.csv, each with its source beside it."""

from __future__ import annotations

import csv
from importlib.resources import files

import numpy as np
import pytest

from loganalyze.air import airspeed, atmosphere, probes

KT, FT, MPH = 1852.0 / 3600.0, 0.3048, 1609.344 / 3600.0
ZERO_DEGC = 273.15

ROWS = list(
    csv.DictReader(
        files("loganalyze.air").joinpath("published.csv").read_text("utf-8").splitlines()
    )
)


class Given:
    """The conditions of one row, in SI."""

    def __init__(self, row: dict[str, str]) -> None:
        def number(name: str) -> float:
            return float(row[name] or "nan")

        self.altitude = number("pressure_altitude_ft") * FT
        self.cas = number("cas_kt") * KT
        self.mach = number("mach")
        # Without a temperature of its own a row speaks of the standard atmosphere.
        self.temperature = (
            number("sat_degc") + ZERO_DEGC
            if row["sat_degc"]
            else atmosphere.temperature(self.altitude)
        )
        self.recovery_factor = number("recovery_factor")
        self.impact_pressure = number("impact_pressure_pa")


def calibrated_airspeed(given: Given) -> float:
    if np.isnan(given.mach):
        return airspeed.cas_from_impact_ratio(given.impact_pressure / atmosphere.P0)
    return airspeed.cas_from_mach(given.mach, given.altitude)


def position_error_slope(given: Given) -> float:
    change = 0.01 * KT
    above, below = (
        probes.static_source_pressure_altitude(given.cas, given.cas + by, given.altitude)
        for by in (change, -change)
    )
    return (above - below) / (2.0 * change)


ENGINE = {
    "temperature": lambda g: g.temperature,
    "temperature_ratio": lambda g: g.temperature / atmosphere.T0,
    "pressure": lambda g: atmosphere.P0 * atmosphere.pressure_ratio(g.altitude),
    "pressure_ratio": lambda g: atmosphere.pressure_ratio(g.altitude),
    "density_ratio": lambda g: atmosphere.density_ratio(g.altitude, g.temperature),
    "speed_of_sound": lambda g: atmosphere.speed_of_sound(g.temperature),
    "density_altitude": lambda g: atmosphere.density_altitude(g.altitude, g.temperature),
    "mach": lambda g: airspeed.mach_from_cas(g.cas, g.altitude),
    "true_airspeed": lambda g: airspeed.tas_from_cas(g.cas, g.altitude, g.temperature),
    "equivalent_airspeed": lambda g: airspeed.eas_from_cas(g.cas, g.altitude),
    "calibrated_airspeed": calibrated_airspeed,
    "crossover_pressure_altitude": lambda g: airspeed.crossover_pressure_altitude(g.cas, g.mach),
    "compressibility_factor": lambda g: airspeed.eas_from_cas(g.cas, g.altitude) / g.cas,
    "total_temperature": lambda g: probes.total_temperature(
        g.temperature, g.mach, g.recovery_factor
    ),
    "position_error_slope": position_error_slope,
    "pitot_pressure_ratio": lambda g: 1.0 + airspeed.impact_ratio_from_mach(g.mach),
}
UNIT = {"1": 1.0, "K": 1.0, "Pa": 1.0, "kt": KT, "ft": FT, "mph": MPH, "ft/kt": FT / KT}


def named(row: dict[str, str]) -> str:
    return " ".join([row["quantity"], *(row[key] for key in list(row)[2:8] if row[key])])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_agrees_with_the_published_value(row: dict[str, str]) -> None:
    assert row["source"]
    got = ENGINE[row["quantity"]](Given(row))
    got = got - ZERO_DEGC if row["unit"] == "degC" else got / UNIT[row["unit"]]
    assert abs(got - float(row["value"])) <= float(row["within"]), (got, row["source"])


def test_every_section_of_the_engine_is_held_to_some_value() -> None:
    assert {row["quantity"] for row in ROWS} == set(ENGINE)


def test_derived_constants() -> None:
    # Computed in closed form from the constants of ISO 2533:1975.
    assert pytest.approx(340.293988026, abs=5e-10) == atmosphere.A0
    assert pytest.approx(661.478594435, abs=5e-10) == atmosphere.A0 / KT
    troposphere, stratosphere, above = atmosphere.LAYERS
    assert -troposphere.lapse / troposphere.temperature * FT == pytest.approx(
        6.87558563248e-6, rel=1e-11
    )
    assert pytest.approx(5.25587981271, rel=1e-11) == atmosphere.G0 / (atmosphere.R_AIR * 0.0065)
    assert stratosphere.base / FT == pytest.approx(36089.2388451, rel=1e-11)
    assert stratosphere.pressure_ratio == pytest.approx(0.22336086943, abs=5e-12)
    assert atmosphere.G0 / (atmosphere.R_AIR * stratosphere.temperature) * FT == pytest.approx(
        4.80634621969e-5, rel=1e-11
    )
    assert above.base / FT == pytest.approx(65616.7979003, rel=1e-11)
    assert above.pressure_ratio == pytest.approx(0.0540328391244, rel=1e-11)


def test_mach_one_is_where_the_branches_meet() -> None:
    # NACA Report 1135, eq. 44 at Mach 1: 1.2^3.5 - 1, computed in closed form.
    assert pytest.approx(0.8929291587, abs=1e-10) == airspeed.SONIC_RATIO
    below, above = airspeed.impact_ratio_from_mach(np.nextafter(1.0, [0.0, 2.0]))
    assert below == pytest.approx(above, rel=1e-14)


def test_the_mach_branch_is_decided_apart_from_the_cas_branch() -> None:
    # 600 KCAS at 30,000 ft: a subsonic CAS, a supersonic Mach; computed in closed form. The
    # isentropic formula alone would give 1.4408.
    cas, altitude = 600.0 * KT, 30000.0 * FT
    ratio = airspeed.impact_ratio_from_cas(cas) / atmosphere.pressure_ratio(altitude)
    assert cas < atmosphere.A0
    assert np.sqrt(5.0 * ((1.0 + ratio) ** (2.0 / 7.0) - 1.0)) == pytest.approx(1.4408, abs=5e-5)
    assert airspeed.mach_from_cas(cas, altitude) == pytest.approx(1.48898537, abs=5e-9)


def test_a_static_source_error_moves_altitude_and_mach_together() -> None:
    # +5 kt at 250 kt and FL250: +269 ft, and Mach from .6037 to .6185, not to the .6151 that the
    # speed alone would say; computed in closed form.
    read, true, shown = 250.0 * KT, 255.0 * KT, 25000.0 * FT
    altitude = probes.static_source_pressure_altitude(read, true, shown)
    assert (altitude - shown) / FT == pytest.approx(269.0, abs=0.5)
    assert airspeed.mach_from_cas(read, shown) == pytest.approx(0.6037, abs=5e-5)
    assert airspeed.mach_from_cas(true, altitude) == pytest.approx(0.6185, abs=5e-5)
    assert airspeed.mach_from_cas(true, shown) == pytest.approx(0.6151, abs=5e-5)


def test_the_slope_of_a_static_source_error_in_closed_form() -> None:
    # dHp/dV [ft/kt] = 58.5676 / sigma (V/a0) (1 + 0.2 (V/a0)^2)^2.5, computed in closed form;
    # the US test pilot school's handbook has 58.566, from memory.
    for cas_kt, altitude_ft in ((100, 0), (180, 12000), (250, 25000), (300, 30000)):
        row = {"pressure_altitude_ft": altitude_ft, "cas_kt": cas_kt}
        given = Given({**dict.fromkeys(ROWS[0], ""), **{k: str(v) for k, v in row.items()}})
        sigma = atmosphere.density_ratio(given.altitude, given.temperature)
        v = given.cas / atmosphere.A0
        shape = v * (1.0 + 0.2 * v * v) ** 2.5 / sigma
        slope = position_error_slope(given) / (FT / KT)
        assert slope == pytest.approx(58.5676 * shape, rel=2e-6)
        assert slope == pytest.approx(58.566 * shape, rel=5e-5)

"""What the store keeps of each flight for a fleet's statistics."""

from __future__ import annotations

import numpy as np
import pytest

import loganalyze
from loganalyze.air import airspeed, atmosphere
from tests.fleet.conftest import rows, run, write_log, write_sheet


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    place = tmp_path_factory.mktemp("facts")
    write_log(place / "logs/1.csv", 251, day="2031-01-05")
    run(place / "logs", place / "store", write_sheet(place / "twin.toml"))
    return place / "store"


def test_the_closest_approach_of_each_phase_is_that_of_the_samples(store):
    judged, = loganalyze.assess(store.parent / "logs/1.csv", store.parent / "twin.toml")
    samples = judged.samples
    by_phase = samples.groupby("phase", observed=True)["margin_kt"].min()
    found = rows(store, "closest", "phase", "margin_kt")
    assert dict(found) == pytest.approx(by_phase.dropna().to_dict())
    overall, = {margin for (margin,) in rows(store, "flights", "smallest_margin_kt")}
    assert min(margin for _, margin in found) == pytest.approx(overall, abs=1e-4)


def test_the_closest_approach_names_the_limit_and_its_uncertainty(store):
    judged, = loganalyze.assess(store.parent / "logs/1.csv", store.parent / "twin.toml")
    _, limit, flown, shown, time = min(
        rows(store, "closest", "margin_kt", "limit", "margin_u_kt", "margin_displayed_u_kt",
             "time_s"))
    assert limit == "VMO"
    row = int(np.searchsorted(judged.analysis.time, time))
    assert flown == pytest.approx(float(judged.columns["margin_u_kt"][row]))
    assert 0 < shown < flown


def test_measures_tell_the_uncertainty_of_each_smallest_margin(store):
    found = rows(store, "measures", "limit", "margin_u_kt", "margin_u_mach")
    assert [limit for limit, *_ in found] == ["MMO", "VMO", None]
    assert all(0.5 < knots < 10 and 0 < mach < 0.05 for _, knots, mach in found)


HEAD = ("Time [s],Pressure Altitude [ft],CAS [kt],CAS 2 [kt],SAT [degC],Ground Speed [kt],"
        "Track [deg],Heading [deg],Mach\n")


def write_turn(path, *, cas_error: float = 0.0, second: float = 1.5) -> None:
    """Write a flight of a full turn at 10,000 ft in a steady wind; the airspeed reads too high."""
    height = 10_000 * 0.3048
    warm = float(atmosphere.temperature(height)) + 6.0
    tas = float(airspeed.tas_from_cas(220 * 1852 / 3600, height, warm)) * 3600 / 1852
    mach = float(airspeed.mach_from_cas(220 * 1852 / 3600, height))
    lines = [HEAD]
    for i in range(300):
        psi = np.radians(1.5 * max(0, min(i - 20, 250)))
        north, east = tas * np.cos(psi) + 20, tas * np.sin(psi) - 12
        lines.append(
            f"{i},10000,{220 + cas_error:.2f},{220 - second:.2f},{warm - 273.15:.2f},"
            f"{np.hypot(north, east):.3f},{np.degrees(np.arctan2(east, north)) % 360:.3f},"
            f"{np.degrees(psi) % 360:.3f},{mach:.5f}\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("".join(lines), encoding="utf-8")


def test_checks_tell_by_which_way_an_error_shows_and_how_surely(tmp_path):
    write_turn(tmp_path / "logs/1.csv", cas_error=2.0)
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    found = {(way, channel): (high, u, unit) for way, channel, high, u, unit in rows(
        tmp_path / "store", "checks", "way", "channel", "reads_high", "reads_high_u", "unit")}
    high, u, unit = found["turns", "calibrated_airspeed"]
    assert (high, unit) == (pytest.approx(2.0, abs=0.1), "kt")
    assert 0 < u < 0.2
    assert found["turns", "true_airspeed"][0] > high
    high, u, unit = found["two sources", "calibrated_airspeed"]
    assert (high, unit) == (pytest.approx(3.5, abs=0.01), "kt")
    assert found["recorded and computed", "mach"][0] == pytest.approx(-0.0036, abs=0.0004)
    assert found["from standard atmosphere", "static_air_temperature"][0] == pytest.approx(
        6.0, abs=0.02)

"""From gathered rows to channels: held repeats, words, lags and second sources."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import FT, KT, export, lines

from loganalyze import ColumnsFile, FlightLog, read_flights, read_log
from loganalyze.text.language import reading_text

RNG = np.random.default_rng(11)
TIME = np.arange(240) / 4
ALTITUDE = np.round(8000 + np.cumsum(RNG.uniform(1, 9, 240)))
SPEED = np.round(220 + np.cumsum(RNG.normal(0, 0.5, 240)), 1)


def read(folder: Path, said: dict | None = None, **columns: np.ndarray) -> FlightLog:
    """Read a log of these columns at 4 Hz, blank where NaN."""
    columns = {"time_s": TIME} | columns
    rows = [";".join("" if np.isnan(cell) else f"{cell:.10g}" for cell in row)
            for row in zip(*columns.values(), strict=True)]
    path = export(folder, lines(";".join(columns), rows))
    return read_log(path, ColumnsFile.model_validate({"columns": said}) if said else None)


def test_a_held_altitude_keeps_its_own_samples_and_is_interpolated_between(tmp_path):
    held = np.repeat(ALTITUDE[::4], 4)
    log = read(tmp_path, press_alt_ft=held, ias_kt=SPEED)
    channel = log.channels["pressure_altitude"]
    assert channel.held
    assert channel.interval_s == 1
    assert channel.rows is not None
    assert channel.rows.tolist() == list(range(0, 240, 4))
    np.testing.assert_allclose(
        log.aligned("pressure_altitude")[:237] / FT,
        np.interp(TIME[:237], TIME[::4], ALTITUDE[::4]))
    assert log.recorded("pressure_altitude").sum() == 60
    assert reading_text.sentences(log.source.inferred) == (
        '"press_alt_ft" was recorded at every 4th row and held between: the repeats were left '
        "out.",)
    assert log.interval_s == 0.25


def test_a_level_cruise_is_not_held(tmp_path):
    log = read(tmp_path, press_alt_ft=np.full(240, 35000.0), ias_kt=SPEED)
    channel = log.channels["pressure_altitude"]
    assert channel.rows is None
    assert not channel.held
    assert log.recorded("pressure_altitude").all()


def test_a_state_that_changes_on_a_beat_is_not_held(tmp_path):
    gear = np.repeat(np.arange(60) % 2, 4).astype(float)
    log = read(tmp_path, press_alt_ft=ALTITUDE, ias_kt=SPEED, gear_down=gear)
    assert log.channels["gear_down"].rows is None


def test_a_stated_lag_is_taken_off_and_an_unstated_one_is_not_known(tmp_path):
    late = np.interp(TIME - 0.6, TIME, 200 + TIME)
    log = read(tmp_path, {"indicated_airspeed": {"column": "ias_kt", "lag_s": 0.6}},
               press_alt_ft=ALTITUDE, ias_kt=late)
    speed = log.channels["indicated_airspeed"]
    np.testing.assert_allclose(speed.values[3:-3] / KT, 200 + TIME[3:-3], atol=1e-9)
    assert np.isnan(speed.values[-2:]).all()
    assert (speed.lag_s, speed.skew_s, speed.skew_known, speed.shifted) == (0.6, 0, True, True)
    assert not log.recorded("indicated_airspeed").any()
    other = log.channels["pressure_altitude"]
    assert (other.lag_s, other.skew_s, other.skew_known, other.shifted) == (0, 0, False, False)
    assert reading_text.sentences(log.source.inferred)[-1] == (
        '"ias_kt" was interpolated at the rows\' times, for its lag of 0.6 s.')


def test_a_stated_skew_of_zero_is_known(tmp_path):
    log = read(tmp_path, {"indicated_airspeed": {"column": "ias_kt", "skew_s": 0}},
               press_alt_ft=ALTITUDE, ias_kt=SPEED)
    speed = log.channels["indicated_airspeed"]
    assert (speed.skew_known, speed.shifted) == (True, False)


def test_a_slow_channel_with_a_skew_is_interpolated_within_its_own_interval(tmp_path):
    slow = np.full(240, np.nan)
    slow[::4] = 10 - 0.02 * (TIME[::4] + 0.5)
    slow[100:120] = np.nan
    log = read(tmp_path, {"static_air_temperature": {"column": "sat_degc", "skew_s": 0.5}},
               press_alt_ft=ALTITUDE, ias_kt=SPEED, sat_degc=slow)
    values = log.channels["static_air_temperature"].values - 273.15
    known = ~np.isnan(values)
    np.testing.assert_allclose(values[known], 10 - 0.02 * TIME[known])
    assert np.isnan(values[:2]).all()
    assert np.isnan(values[99:122]).all()
    assert known[2:98].all()


def test_coarse_and_fine_words_of_different_rates(tmp_path):
    coarse = np.full(240, np.nan)
    coarse[::4] = ALTITUDE[::4] + 200
    log = read(tmp_path, {"pressure_altitude": {
        "column": "COARSE", "unit": "ft", "fine": "FINE", "fine_span": 1000}},
        COARSE=coarse, FINE=ALTITUDE % 1000, ias_kt=SPEED)
    np.testing.assert_allclose(log.channels["pressure_altitude"].values / FT, ALTITUDE)
    assert "pressure_altitude.fine" not in log.channels


def test_a_value_that_starts_again_runs_on(tmp_path):
    log = read(tmp_path, {"pressure_altitude": {
        "column": "ALT", "unit": "ft", "wraps_at": 8192}}, ALT=ALTITUDE % 8192, ias_kt=SPEED)
    np.testing.assert_allclose(log.channels["pressure_altitude"].values / FT, ALTITUDE)
    assert reading_text.sentences(log.source.inferred)[-1] == (
        '"ALT" starts again after 8192 ft: unwrapped, so that it continues from its first value.')


def test_two_sources_are_both_kept(tmp_path):
    log = read(tmp_path, {"indicated_airspeed": {"column": "IAS L", "unit": "kt"},
                          "indicated_airspeed_2": {"column": "IAS R", "unit": "kt"}},
               **{"press_alt_ft": ALTITUDE, "IAS L": SPEED, "IAS R": SPEED + 1})
    np.testing.assert_allclose(log.channels["indicated_airspeed_2"].values, (SPEED + 1) * KT)


def test_a_slow_log_with_a_slower_channel(tmp_path):
    rows = [f"{17 * i};{8000 + 10 * i};200;{'' if i % 2 else -20 - i}" for i in range(20)]
    path = export(tmp_path, lines("time_s;press_alt_ft;ias_kt;sat_degc", rows))
    log, = read_flights(path)
    assert log.interval_s == 17
    assert log.channels["static_air_temperature"].interval_s == 34
    assert log.aligned("static_air_temperature")[:4] == pytest.approx(
        273.15 + np.array([-20, -21, -22, -23]))

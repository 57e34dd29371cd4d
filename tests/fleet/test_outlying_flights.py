"""Flights that came unusually close to a limit."""

from __future__ import annotations

import numpy as np
import pytest

import loganalyze
from tests.fleet.conftest import rows, run, write_log, write_sheet


def test_one_flight_far_closer_than_the_others_is_named(tmp_path):
    """Of 24 flights 23 leave some 25 kt; their deviations' median is about .5 kt."""
    for number in range(24):
        write_log(tmp_path / f"logs/{number}.csv", 244.0 if number == 7 else 220 + number / 12)
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    found = loganalyze.outlying_flights(tmp_path / "store")
    (key,), = ((key,) for key, source in rows(tmp_path / "store", "flights", "flight_key", "source")
               if source.endswith("/7.csv"))
    assert {flight.flight_key for flight in found} == {key}
    worst = found[0]
    assert worst.margin_kt == pytest.approx(1.0, abs=0.1)
    assert (worst.flights, worst.limits_sheet) == (24, "twin.toml")
    margins = 245 - np.array([244.0 if number == 7 else 220 + number / 12 for number in range(24)])
    away = np.abs(margins - np.median(margins))
    by_hand = 0.6745 * (margins[7] - np.median(margins)) / np.median(away)
    assert worst.score == pytest.approx(by_hand, rel=0.05)


def test_of_few_flights_none_is(tmp_path):
    for number in range(6):
        write_log(tmp_path / f"logs/{number}.csv", 244.0 if number == 3 else 220 + number / 12)
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    assert loganalyze.outlying_flights(tmp_path / "store") == ()

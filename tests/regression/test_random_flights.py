"""Random flights are the same for a seed, and each thing that may happen is in some of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from tests.regression.kept_results import Flight, condensed
from tests.regression.random_flights import random_flight

DRAWN = 250


@pytest.fixture(scope="module")
def flights() -> list[Flight]:
    return [random_flight(seed) for seed in range(DRAWN)]


def _channels(*names: str) -> Callable[[Flight], bool]:
    return lambda flight: any(name in flight.log for name in names)


def _limits(test: Callable[..., bool]) -> Callable[[Flight], bool]:
    return lambda flight: any(test(limit) for limit in flight.sheet.limit)


FEATURES: dict[str, tuple[float, Callable[[Flight], bool]]] = {
    "indicated airspeed": (0.1, _channels("indicated_airspeed")),
    "pressures": (0.1, _channels("impact_pressure", "total_pressure")),
    "no altitude": (0.02, lambda one: not _channels(
        "pressure_altitude", "static_pressure", "indicated_altitude")(one)),
    "no temperature": (0.1, lambda one: not _channels(
        "static_air_temperature", "total_air_temperature", "outside_air_temperature")(one)),
    "a second source": (0.1, _channels("calibrated_airspeed_2", "pressure_altitude_2")),
    "flaps": (0.1, _channels("flap", "flap_lever")), "gear": (0.1, _channels("gear_down")),
    "a slow channel": (0.1, lambda one: any(
        channel.rows is not None for channel in one.log.channels.values())),
    "a gap": (0.1, lambda one: bool(
        (np.diff(one.log.time) > 1.5 * np.median(np.diff(one.log.time))).any())),
    "blanks": (0.1, lambda one: any(
        np.isnan(channel.values).any() for channel in one.log.channels.values())),
    "few rows": (0.1, lambda one: len(one.log) < 90),
    "a slow recorder": (0.1, lambda one: float(np.median(np.diff(one.log.time))) >= 2),
    "several limits": (0.1, lambda one: len(one.sheet.limit) > 1),
    "a limit in Mach": (0.1, _limits(lambda limit: "mach" in limit.quantity)),
    "true or equivalent airspeed": (0.1, _limits(
        lambda limit: limit.quantity in ("true_airspeed", "equivalent_airspeed"))),
    "a table": (0.1, _limits(lambda limit: limit.by_pressure_altitude is not None)),
    "a condition": (0.1, _limits(lambda limit: bool(limit.when))),
    "a dwell time or deadband": (0.05, _limits(lambda limit: any(
        one.dwell_s or one.deadband for one in limit.when.values()))),
    "a correction": (0.1, lambda one: bool(one.sheet.airspeed.position_tables)),
    "a ceiling": (0.1, lambda one: bool(one.sheet.ceiling)),
    "thresholds of the sheet": (0.1, lambda one: bool(one.sheet.screening)),
    "settings": (0.1, lambda one: one.settings is not None),
    "declared states": (0.02, lambda one: bool(one.declared)),
    "priors": (0.05, lambda one: bool(one.priors)),
    "small blocks": (0.1, lambda one: one.block is not None),
}


@pytest.mark.parametrize("feature", FEATURES)
def test_each_feature_is_in_some_flights_and_not_in_others(feature, flights):
    least, has = FEATURES[feature]
    share = np.mean([has(flight) for flight in flights])
    assert least <= share <= 0.8


def test_a_seed_gives_the_same_flight_again(flights):
    for seed in (3, 140):
        first, again = flights[seed], random_flight(seed)
        assert first.sheet == again.sheet
        assert first.settings == again.settings
        assert {name: channel.values.tobytes() for name, channel in first.log.channels.items()} == {
            name: channel.values.tobytes() for name, channel in again.log.channels.items()}


def test_what_is_kept_as_one_number_changes_with_any_part():
    facts = {"a": [1.0, {"b": 250.0, "c": "over"}], "d": 3}
    others = [{"a": [1.0001, {"b": 250.0, "c": "over"}], "d": 3},
              {"a": [1.0, {"b": 250.01, "c": "over"}], "d": 3},
              {"a": [1.0, {"b": -250.0, "c": "over"}], "d": 3},
              {"a": [1.0, {"b": 250.0, "c": "under"}], "d": 3},
              {"a": [{"b": 250.0, "c": "over"}, 1.0], "d": 3},
              {"a": [1.0, {"b": 250.0, "c": "over"}]}]
    assert condensed(facts) == condensed({**facts})
    for other in others:
        assert max(abs(one - two) for one, two in zip(
            condensed(facts), condensed(other), strict=True)) > 1e-5

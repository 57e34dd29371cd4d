"""Exercises that are found in a training flight."""

import sys
from pathlib import Path

import pytest

from loganalyze import analyze
from loganalyze.training import find_exercises

PHASES = Path(__file__).parents[1] / "phases"


def script(name):
    if name not in sys.modules:
        sys.path.insert(0, str(PHASES))
        try:
            __import__(name)
        finally:
            sys.path.remove(str(PHASES))
    return sys.modules[name]


@pytest.mark.parametrize("seed", [1, 5])
def test_airwork_has_its_steep_turns_and_stalls(seed):
    flights = script("training_missions")
    missions = script("missions")
    log, _ = missions.recorded(flights.airwork(seed), seed, flights.ATTITUDE, 1.0, False)
    found = find_exercises(analyze(log, missions.SHEET))
    assert {one.kind for one in found.exercises} == {"stall", "steep turn"}
    assert all(0.5 <= one.confidence <= 1 for one in found.exercises)
    assert found.unsearched == ()


def test_what_cannot_be_found_is_said():
    flights = script("training_missions")
    missions = script("missions")
    log, _ = missions.recorded(flights.airwork(3), 3, flights.CHANNELS, 1.0, False)
    found = find_exercises(analyze(log, missions.SHEET))
    assert found.unsearched == (("steep turn", "no roll or heading"),)
    assert found.of("steep turn") == ()

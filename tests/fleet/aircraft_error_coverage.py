"""How often the interval of an aircraft's own error holds the true one.

    python -m tests.fleet.aircraft_error_coverage [FLEETS] [FLOWN] [SEED]

Fleets of eight aircraft of which one's airspeed reads 2 kt too high and the others' by a standard
deviation of .5 kt; each flight shows it with an error of its own (known, .5 to 3 kt) and one that
differs from flight to flight (1 kt, unknown). Then FLOWN fleets through the engine: 12 flights of
the one aircraft with a turn each in a wandering wind, from samples to the error of each.
Thresholds, set beforehand: the interval holds the 2 kt, and the drift of 1 kt a year, in 93 to 97
of 100 fleets, through the engine in at least 93, within the chance of a count (two standard
deviations); the shrunk errors miss the true ones by less than the aircraft's own do, in the mean
square, or hardly more. Exits with 1 where one fails.
"""

from __future__ import annotations

import sys
from itertools import product

import numpy as np

from loganalyze import mean_effect
from loganalyze.fleet.statistics.aircraft_errors import drift, shrunk
from tests.crosscheck.turn_coverage import Cell, flown

ERROR_KT, DRIFT_KT = 2.0, 1.0
CELLS = tuple(product((8, 20, 60), (0.0, 1.0)))
"""Flights an aircraft, and what differs between them beyond the known [kt]."""


def simulated(flights: int, between: float, fleets: int, seed: int) -> tuple[float, float, float]:
    """Return how often the 2 kt and the drift are held, and how far shrunk errors miss by own."""
    rng = np.random.default_rng([seed, flights, int(between)])
    held = drifted = drawn = own = 0.0
    for _ in range(fleets):
        truth = np.append(ERROR_KT, 0.5 * rng.standard_normal(7))
        u = rng.uniform(0.5, 3.0, (8, flights))
        shown = (truth[:, None] + between * rng.standard_normal(u.shape)
                 + u * rng.standard_normal(u.shape))
        means = [mean_effect(*one) for one in zip(shown, u, strict=True)]
        held += means[0].low <= ERROR_KT <= means[0].high
        years = rng.uniform(0, 2, flights)
        _, low, high = drift(shown[1] + DRIFT_KT * years, years, u[1])
        drifted += low <= DRIFT_KT <= high
        drawn += float(((np.array(shrunk(means)) - truth) ** 2).sum())
        own += float(((np.array([one.mean for one in means]) - truth) ** 2).sum())
    return held / fleets, drifted / fleets, drawn / own


def through_the_engine(fleets: int, seed: int, flights: int = 12) -> float:
    """Return how often the interval holds the error, from flown turns."""
    rng = np.random.default_rng([seed, 9])
    held = 0
    for _ in range(fleets):
        found = [flown(Cell(error_kt=ERROR_KT), rng) for _ in range(flights)]
        one = mean_effect([each.as_calibrated_kt for each in found])
        held += one.low <= ERROR_KT <= one.high
    return held / fleets


def main(fleets: int = 1000, engine: int = 100, seed: int = 1) -> int:
    failed, chance = False, 2 * np.sqrt(0.95 * 0.05 / fleets)
    for flights, between in CELLS:
        held, drifted, drawn = simulated(flights, between, fleets, seed)
        bad = drawn > 1.02 or not all(
            0.93 - chance <= one <= 0.97 + chance for one in (held, drifted))
        failed |= bad
        print(f"{flights:3} flights, {between:g} kt between: error held {held:.3f}, drift "
              f"{drifted:.3f}, shrunk misses {drawn:.2f} of own"
              f"{'  fails' if bad else ''}", flush=True)
    if engine:
        held = through_the_engine(engine, seed)
        bad = held < 0.93 - 2 * np.sqrt(0.95 * 0.05 / engine)
        failed |= bad
        print(f"through the engine, {engine} fleets of 12 flights: {held:.3f}"
              f"{'  fails' if bad else ''}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

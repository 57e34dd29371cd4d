"""How often the interval of a rate holds the true one, and a change is seen where there is none.

    python -m tests.fleet.rate_coverage [FLEETS] [SEED]

Fleets of 3 to 20 aircraft whose rates differ by a coefficient of variation of 0 to 1, unequal
hours, 1 or 6 events an aircraft on average, and flights that have their events two at a time.
Thresholds, set beforehand, for 1,000 fleets a cell: coverage at least .93 in every cell (an
interval of counts can't have .95 exactly: few events make it wider, up to .99 where aircraft don't
differ); of fleets in which nothing changed at most 6.5 % have a change of p < .05. Exits with 1
where one fails.
"""

from __future__ import annotations

import sys
from itertools import product

import numpy as np

from loganalyze import event_rate, rate_change

CELLS = tuple(product((3, 6, 20), (0.0, 0.5, 1.0), (1, 6), (False, True)))
FLIGHTS = 12


def fleet(rng: np.random.Generator, aircraft: int, variation: float, mean: float, pairs: bool):
    """Events, hours and aircraft of the flights of a fleet whose mean rate is 1 per hour."""
    hours = np.repeat(rng.lognormal(0, 0.6, aircraft) * mean / FLIGHTS, FLIGHTS)
    which = np.repeat(np.arange(aircraft), FLIGHTS)
    own = rng.gamma(variation**-2, variation**2, aircraft) if variation else np.ones(aircraft)
    events = rng.poisson(own[which] * hours / (2 if pairs else 1)) * (2 if pairs else 1)
    return events, hours, which


def coverage(cell: tuple[int, float, int, bool], fleets: int, seed: int) -> tuple[float, float]:
    """Return the share of intervals that hold the truth, and of changes seen in none."""
    rng = np.random.default_rng([seed, *map(int, (cell[0], 10 * cell[1], cell[2], cell[3]))])
    held = seen = 0
    for _ in range(fleets):
        events, hours, which = fleet(rng, *cell)
        found = event_rate(events, hours, which)
        held += found.low <= 1 <= found.high
        later = rng.random(len(events)) < 0.4
        seen += rate_change(events, hours, which, later).probability < 0.05
    return held / fleets, seen / fleets


def main(fleets: int = 1000, seed: int = 1) -> int:
    failed = False
    print("aircraft  variation  events each  pairs  coverage  change seen")
    for cell in CELLS:
        held, seen = coverage(cell, fleets, seed)
        bad = held < 0.93 or seen > 0.065
        failed |= bad
        print(f"{cell[0]:8}  {cell[1]:9.1f}  {cell[2]:11}  {cell[3]!s:5}  {held:8.3f}  {seen:11.3f}"
              f"{'  fails' if bad else ''}", flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

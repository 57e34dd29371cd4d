"""How often the interval of the expected time to an exceedance holds the true one.

    python -m tests.fleet.tail_coverage [FLEETS] [SEED]

Fleets of six aircraft whose displayed margins have a known distribution (normal, or with an
exponential tail), recorded with an error of .7 kt, with instruments that err by 1.5 kt an aircraft.
Thresholds, set beforehand, for 1,000 fleets a cell: the interval holds the true time in 93 to 97 of
100 that aren't refused, within the chance of a count (two standard deviations), and nothing is
refused that would be expected within the exposure itself more than once in a hundred times.
Exits with 1 where one fails.
"""

from __future__ import annotations

import sys
from itertools import product

import numpy as np
from scipy.stats import norm

from loganalyze import margin_tail

HOURS, AIRCRAFT, RECORDING_KT, INSTRUMENT_KT = 1.5, 6, 0.7, 1.5
SHAPES = {
    "normal, mean 9, sd 6": (lambda rng, n: 9 - 6 * rng.standard_normal(n),
                             lambda kt: norm.cdf((kt - 9) / 6)),
    "normal, mean 15, sd 5": (lambda rng, n: 15 - 5 * rng.standard_normal(n),
                              lambda kt: norm.cdf((kt - 15) / 5)),
    "exponential, from 15, mean 4": (lambda rng, n: 15 - rng.exponential(4, n),
                                     lambda kt: np.exp(-(15 - np.minimum(kt, 15)) / 4)),
}
CELLS = tuple(product(SHAPES, (600, 3000)))


def covered(name: str, flights: int, fleets: int, seed: int) -> dict[str, tuple[float, float, int]]:
    """Return by basis the share of intervals that hold the truth, its exposures, how many refused.

    The truth is that of the very aircraft: the mean over their instruments' errors.
    """
    draw, share_below = SHAPES[name]
    rng = np.random.default_rng([seed, flights, *name.encode()])
    held = {"displayed": [], "flown": []}
    exposures = {"displayed": 0.0, "flown": 0.0}
    refused = {"displayed": 0, "flown": 0}
    for _ in range(fleets):
        which = rng.integers(0, AIRCRAFT, flights)
        errors = INSTRUMENT_KT * rng.standard_normal(AIRCRAFT)
        recorded = draw(rng, flights) + RECORDING_KT * rng.standard_normal(flights)
        found = margin_tail(recorded, np.full(flights, HOURS), which, recording_u=RECORDING_KT,
                            instrument_u=INSTRUMENT_KT)
        part = np.bincount(which, minlength=AIRCRAFT) / flights
        for basis, one, share in (
                ("displayed", found.displayed, float(share_below(np.zeros(1))[0])),
                ("flown", found.flown, float((part * share_below(errors)).sum()))):
            exposures[basis] += 1 / (share * flights) / fleets
            if one.refused:
                refused[basis] += 1
            else:
                held[basis].append(one.low <= HOURS / share <= one.high)
    return {basis: (float(np.mean(held[basis])), exposures[basis], refused[basis])
            for basis in held}


def main(fleets: int = 1000, seed: int = 1) -> int:
    failed = False
    chance = 2 * np.sqrt(0.95 * 0.05 / fleets)
    for name, flights in CELLS:
        for basis, (held, exposures, refused) in covered(name, flights, fleets, seed).items():
            bad = not 0.93 - chance <= held <= 0.97 + chance or (
                exposures < 1 and refused > 0.01 * fleets)
            failed |= bad
            print(f"{name:29} {flights:6,} flights {basis:10} true time {exposures:6.2f} exposures"
                  f"  holds {held:.3f}  refused {refused:4}{'  fails' if bad else ''}", flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

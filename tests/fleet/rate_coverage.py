"""How often the intervals of a rate hold the true one, and a change is seen where there is none.

    python -m tests.fleet.rate_coverage [FLEETS] [SEED]

Fleets of 3, 6 and 20 aircraft, 12 flights each, whose rates don't differ, or by a coefficient of
variation of .5 or 1, or by airspeed errors of 2 kt; of 1 or 6 events an aircraft on average (drawn
anew within a factor of 2, so that the steps of counts average out); with exposures that differ by a
factor of 2 or 4; with events two at a time; and the rates of single months, in which most
aircraft have few flights and some none. Each fleet has two true rates: that of its very aircraft
in their hours, and the mean of aircraft like them.

Thresholds, set beforehand, within the chance of a count (two standard deviations):

- the interval of the very aircraft holds their rate in 93 to 97 of 100 in every cell;
- the interval of aircraft like them holds the mean in at least 93 everywhere, and in at most 97
  where they differ and have 6 events each or are 20. Where a few aircraft don't differ it is too
  wide, which can't be helped: three aircraft can't show that they don't, and an interval that is
  right where they do (93 of 100 at a variation of 1) holds nearly always where they don't. Fewer
  than some three events in all can't be missed from above by any interval that begins near 0;
- of fleets in which nothing changed at most 6.5 % have a change of p < .05.

Exits with 1 where one fails.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from loganalyze import event_rate, rate_change

FLIGHTS = 12


@dataclass(frozen=True)
class Cell:
    """A fleet: how many aircraft, how they differ, and how many events each has on average.

    ``errors_kt`` : standard deviation of their airspeeds' errors, 4 kt of which change the rate by
    a factor of e; ``exposures`` : that of the logarithm of their hours; ``months`` : the rate of a
    month in which a third of the flights were flown, by some of the aircraft.
    """

    aircraft: int
    variation: float = 0.0
    events: float = 6
    pairs: bool = False
    errors_kt: float = 0.0
    exposures: float = 0.6
    months: bool = False

    def __str__(self) -> str:
        words = [f"{self.aircraft:2} aircraft, {self.events:g} events each"]
        words += [f"variation {self.variation:g}"] if self.variation else []
        words += [f"errors of {self.errors_kt:g} kt"] if self.errors_kt else []
        words += ["events in pairs"] if self.pairs else []
        words += ["unequal exposure"] if self.exposures > 1 else []
        words += ["single months"] if self.months else []
        return ", ".join(words)

    @property
    def differ(self) -> bool:
        """Whether its aircraft differ."""
        return self.variation > 0 or self.errors_kt > 0


CELLS = (
    *(Cell(aircraft, variation, events) for aircraft in (3, 6, 20) for variation in (0.0, 0.5, 1.0)
      for events in (1, 6)),
    *(Cell(aircraft, exposures=1.2, variation=variation) for aircraft in (3, 20)
      for variation in (0.0, 0.5)),
    *(Cell(aircraft, errors_kt=2.0) for aircraft in (3, 8, 20)),
    *(Cell(aircraft, 0.5, pairs=True) for aircraft in (6, 20)),
    *(Cell(aircraft, variation, months=True) for aircraft in (3, 8) for variation in (0.0, 0.5)),
)


@dataclass(frozen=True)
class Fleet:
    """Flights of a fleet, whose mean rate of all such aircraft is 1; ``own`` : that of its own."""

    events: np.ndarray
    hours: np.ndarray
    aircraft: np.ndarray
    own: float


def fleet(rng: np.random.Generator, cell: Cell) -> Fleet:
    """Fly a fleet."""
    mean = cell.events * np.exp(rng.uniform(-np.log(2), np.log(2)))
    hours = np.repeat(rng.lognormal(0, cell.exposures, cell.aircraft) * mean / FLIGHTS, FLIGHTS)
    which = np.repeat(np.arange(cell.aircraft), FLIGHTS)
    rates = np.ones(cell.aircraft)
    if cell.variation:
        rates = rng.gamma(cell.variation**-2, cell.variation**2, cell.aircraft)
    if cell.errors_kt:
        size = cell.errors_kt / 4.0
        rates = np.exp(size * rng.standard_normal(cell.aircraft) - size**2 / 2)
    together = 2 if cell.pairs else 1
    if cell.months:
        flown = rng.random(len(which)) < 1 / 3
        flown[rng.integers(len(which))] = True
        hours, which = 3 * hours[flown], which[flown]
    events = rng.poisson(rates[which] * hours / together) * together
    return Fleet(events, hours, which, float((rates[which] * hours).sum() / hours.sum()))


@dataclass(frozen=True)
class Held:
    """Shares of fleets: whose own interval, whose common one holds; in which a change is seen."""

    own: float
    like: float
    change: float


def coverage(cell: Cell, fleets: int, seed: int, changes: int = 300) -> Held:
    """Return what `Held` says, of the changes in at most so many fleets."""
    rng = np.random.default_rng([seed, *str(cell).encode()])
    own = like = seen = 0
    for number in range(fleets):
        one = fleet(rng, cell)
        found = event_rate(one.events, one.hours, one.aircraft)
        own += found.own_low <= one.own <= found.own_high
        like += found.low <= 1 <= found.high
        if number < changes:
            later = rng.random(len(one.events)) < 0.4
            seen += rate_change(one.events, one.hours, one.aircraft, later).probability < 0.05
    return Held(own / fleets, like / fleets, seen / min(fleets, changes))


def failures(cell: Cell, held: Held, fleets: int) -> list[str]:
    """Return which thresholds a cell misses."""
    chance = 2 * np.sqrt(0.95 * 0.05 / fleets)
    known = cell.differ and (cell.events >= 6 or cell.aircraft >= 20) and not cell.months
    missed = {
        "own": not 0.93 - chance <= held.own <= 0.97 + chance,
        "like": held.like < 0.93 - chance or (known and held.like > 0.97 + chance),
        "change": held.change > 0.065 + 2 * np.sqrt(0.05 * 0.95 / min(fleets, 300)),
    }
    return [name for name, bad in missed.items() if bad]


def main(fleets: int = 1000, seed: int = 1) -> int:
    failed = False
    print(f"{'':60} very aircraft  like them  change seen")
    for cell in CELLS:
        held = coverage(cell, fleets, seed)
        missed = failures(cell, held, fleets)
        failed |= bool(missed)
        print(f"{cell!s:60} {held.own:13.3f}  {held.like:9.3f}  {held.change:11.3f}  "
              f"{', '.join(missed)}", flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

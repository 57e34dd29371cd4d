"""Trainees of known progress: whether intervals hold the true figures, and words are right.

Run as a program (``python -m tests.training.progress_coverage [TRAINEES]``) it prints, for 3, 5,
10 and 20 flights, for equal and unequal uncertainties of measurement and flights that resemble
each other or not: how often the interval of the level and that of the trend hold the true one,
and how often a trainee who doesn't change is said to be improving, in one measure and in any of
six looked at together.

The flights' own differences and the measurement's errors are normal; they are drawn here and the
program's code has no part in it. Held: over all cases of independent flights, coverage between .93
and .97 of the level and of the trend; "improving" said of at most 5 % of those who don't change,
over all cases of a correlation, up to .5 from one flight to the next, in one measure and in any of
six. Not held, and said on the page: the intervals take the flights as independent, and hold the
true level less often where they are alike (.75 to .9 at a correlation of .5); where the measurement
is twice as uncertain as flights differ, those of three and five flights hold .97 to .99.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from loganalyze.training import directions, trend_of


@dataclass(frozen=True)
class Case:
    """How flights are flown and measured."""

    flights: int
    unequal: bool
    alike: float | None
    """Correlation from one flight to the next; None: drawn anew for each trainee, 0 to .6."""
    share: float
    """The measurement's standard uncertainty by how much flights differ."""


@dataclass(frozen=True)
class Held:
    """Shares of trainees: level and trend in the interval, and wrong words."""

    level: float
    trend: float
    improving: float
    any_improving: float


MEASURES = 6


def drawn(case: Case, rng: np.random.Generator, slope: float) -> tuple[np.ndarray, np.ndarray]:
    """Return a trainee's values and their uncertainties; flights differ by 1."""
    n = case.flights
    s = np.full(n, case.share)
    if case.unequal:
        s = case.share * np.exp(rng.normal(0, 0.7, n))
    alike = rng.uniform(0, 0.6) if case.alike is None else case.alike
    flights = np.empty(n)
    flights[0] = rng.normal()
    for i in range(1, n):
        flights[i] = alike * flights[i - 1] + np.sqrt(1 - alike**2) * rng.normal()
    values = 4.0 + slope * (np.arange(n) - (n - 1) / 2) + flights + s * rng.normal(size=n)
    return values, s


def held(case: Case, trainees: int, seed: int = 0) -> Held:
    """Simulate trainees; half of the intervals are checked at a true trend, half without."""
    rng = np.random.default_rng([2028, seed, case.flights, int(case.unequal),
                                 int(100 * (case.alike if case.alike is not None else 9)),
                                 int(100 * case.share)])
    level = trend = improving = any_improving = 0
    for i in range(trainees):
        slope = 0.0 if i % 2 else float(rng.normal(0, 0.5))
        found = trend_of(*drawn(case, rng, slope))
        level += found.level_low <= 4.0 <= found.level_high
        trend += found.low <= slope <= found.high
        still = found if not slope else trend_of(*drawn(case, rng, 0.0))
        improving += directions([still], [-1]) == ("improving",)
        if i < trainees // 4:  # the rest of the measures, for some
            more = [trend_of(*drawn(case, rng, 0.0)) for _ in range(MEASURES - 1)]
            any_improving += "improving" in directions([still, *more], [-1] * MEASURES)
    return Held(level / trainees, trend / trainees, improving / trainees,
                any_improving / max(trainees // 4, 1))


def cases() -> list[Case]:
    return [Case(n, unequal, alike, share) for n in (3, 5, 10, 20)
            for unequal, share in ((False, 0.3), (True, 0.7), (True, 2.0))
            for alike in (0.0, None, 0.5)]


def main() -> None:
    trainees = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print("flights  uncertainty  correlation   level   trend  improving  any of six")
    total: dict[float | None, list[Held]] = {}
    for case in cases():
        one = held(case, trainees)
        total.setdefault(case.alike, []).append(one)
        alike = "0 to .6" if case.alike is None else f"{case.alike:.1f}"
        kind = f"{case.share:.1f} {'unequal' if case.unequal else 'equal'}"
        print(f"{case.flights:7}  {kind:>11}  {alike:>11}  {one.level:6.3f}  {one.trend:6.3f}"
              f"  {one.improving:9.3f}  {one.any_improving:10.3f}", flush=True)
    for alike, some in total.items():
        name = "0 to .6" if alike is None else f"{alike:.1f}"
        print(f"correlation {name}: level {np.mean([one.level for one in some]):.3f}, trend "
              f"{np.mean([one.trend for one in some]):.3f}, improving "
              f"{np.mean([one.improving for one in some]):.3f}, any of six "
              f"{np.mean([one.any_improving for one in some]):.3f}")


if __name__ == "__main__":
    main()

"""Are probabilities with a fleet's own priors what they say, from logs to verdicts?

    python -m tests.fleet.prior_calibration [FLIGHTS] [SEED]

Two simulated fleets that are flown alike, each flight by an aircraft of its own whose airspeed errs
by as much as the error budget takes for one standard deviation (2 kt). The priors are made from the
first; the second is assessed without and with them. Of its flights that are near VMO or over it as
recorded, those truly over (by the simulated pressures) are to be as many as the probabilities as
flown let expect: in each fifth, and in all, within the chance of a sum of such events (3.3 and 2.5
standard deviations). Exits with 1 where that fails with the priors. The flat prior is shown beside:
what the crew displays is no evidence of its instrument's error, so it says too much of close ones.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

import loganalyze
from loganalyze.simulate import VMO_KT, Behaviour, write_fleet
from loganalyze.uncertainty.prior_models import priors_of

HOW = Behaviour(margin_kt=7.0, scatter_kt=5.0, drift_kt=0.0, effect_kt=0.0, bias_kt=2.0, faults=0.0,
                bad_files=0.0)
BASES = ("flat", "fleet")


def probabilities(folder: Path, flights: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the probability that VMO was truly exceeded, by basis (k, 2), and whether it was."""
    write_fleet(folder / "first", flights, aircraft=flights, behaviour=HOW, seed=seed)
    loganalyze.run_fleet([str(folder / "first/logs")], folder / "store",
                         fleet=folder / "first/fleet.toml", samples="none", workers=0)
    priors = priors_of(loganalyze.fleet_priors(folder / "store").file)
    flown = write_fleet(folder / "second", flights, aircraft=flights, behaviour=HOW, seed=seed + 1)
    said, over = [], []
    for one in flown:
        path = folder / "second/logs" / one.registration / one.file
        analysis = loganalyze.analyze(path, folder / "second/twin.toml")[0]
        each = []
        for given in (None, priors):
            found = loganalyze.assess_flight(analysis, priors=given, explained=False)
            each.append([part.flown.probability for part, limit in (
                *zip(found.exceedances, (crossed.limit for crossed in analysis.exceedances),
                     strict=True),
                *((part, part.limit) for part in found.near)) if limit == "VMO"])
        if each[0]:
            said.append([max(some, default=np.nan) for some in each])
            over.append(one.peak_kt > 0)
    return np.array(said), np.array(over)


def table(said: np.ndarray, over: np.ndarray, parts: int = 5,
          ) -> list[tuple[int, float, int, float]]:
    """Return of each part by probability, and of all: flights, expected, over, deviations."""
    found = []
    for inside in (*np.array_split(np.argsort(said, kind="stable"), parts), np.arange(len(said))):
        p = said[inside]
        spread = float(np.sqrt((p * (1 - p)).sum()))
        found.append((len(inside), float(p.sum()), int(over[inside].sum()),
                      (float(over[inside].sum()) - float(p.sum())) / max(spread, 1e-9)))
    return found


def main(flights: int = 400, seed: int = 1) -> int:
    with tempfile.TemporaryDirectory() as folder:
        said, over = probabilities(Path(folder), flights, seed)
    failed = False
    print(f"VMO {VMO_KT:g} kt: {len(over)} flights near it or over it, {over.sum()} truly over")
    for basis, p in zip(BASES, said.T, strict=True):
        rows = table(p, over)
        for place, (number, expected, truly, away) in enumerate(rows):
            bad = basis == "fleet" and abs(away) > (2.5 if place == len(rows) - 1 else 3.3)
            failed |= bad
            print(f"{basis:6} {number:4} flights, expected over {expected:6.1f}, truly {truly:4}, "
                  f"{away:+.1f} standard deviations{'  fails' if bad else ''}", flush=True)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

"""A fleet's store against each log judged by itself: every verdict, exceedance and assurance.

    python -m tests.fleet.equality [FLIGHTS] [SEED]

Writes a simulated fleet of so many flights (2,000), a tenth of them with a recorder's fault and
a twentieth no logs, judges it into a store with two workers, and then reads, judges and summarises
each log by itself. Progress goes to standard error. Threshold, set beforehand: not one number
differs. Exits with 1 where one does.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

import loganalyze as la
from loganalyze.problems import Problem
from loganalyze.simulate import Behaviour, write_fleet
from tests.fleet.conftest import rows

EXCEEDANCE = ("limit", "start_s", "end_s", "duration_s", "time_over_s", "worst_excess_kt",
              "worst_time_s", "severity", "severity_probability", "assessment", "probability",
              "excess_low", "excess_high", "assessment_displayed", "unproven_because", "began_by",
              "ended_by", "phase")
FLIGHT = ("outcome", "recorded_s", "judged_s", "unknown_s", "samples")


def by_themselves(log: Path, limits: Path) -> tuple[list[tuple], list[tuple]]:
    """Flights and exceedances of one log, judged by itself; none where it can't be."""
    try:
        flights = la.summarise(la.assess(log, limits)).flights
    except Problem:
        return [], []
    return ([tuple(asdict(one)[name] for name in FLIGHT) for one in flights],
            [tuple(asdict(one)[name] for name in EXCEEDANCE)
             for flight in flights for one in flight.exceedances])


def compare(folder: Path, flights: int, seed: int, workers: int) -> tuple[int, int, list[str]]:
    """Return how many flights and exceedances were compared, and the logs that differ."""
    write_fleet(folder, flights, seed=seed, behaviour=Behaviour(faults=0.1, bad_files=0.05))
    la.run_fleet([str(folder / "logs")], folder / "store", fleet=folder / "fleet.toml",
                 workers=workers)
    source = dict(rows(folder / "store", "flights", "flight_key", "source"))
    stored: dict[str, tuple[list[tuple], list[tuple]]] = {}
    for key, *values in rows(folder / "store", "flights", "flight_key", *FLIGHT):
        stored.setdefault(source[key], ([], []))[0].append(tuple(values))
    for key, *values in rows(folder / "store", "exceedances", "flight_key", *EXCEEDANCE):
        stored[source[key]][1].append(tuple(values))
    count = [0, 0]
    different = []
    for number, log in enumerate(sorted((folder / "logs").rglob("*.csv"))):
        if number % 100 == 0:
            print(f"{number} logs compared, {len(different)} differ", file=sys.stderr, flush=True)
        alone = by_themselves(log, folder / "twin.toml")
        found = stored.get(str(log), ([], []))
        count = [before + len(part) for before, part in zip(count, alone, strict=True)]
        if [sorted(part, key=repr) for part in alone] != [
                sorted(part, key=repr) for part in found]:
            different.append(log.name)
    return count[0], count[1], different


def main(flights: int = 2000, seed: int = 1) -> int:
    with tempfile.TemporaryDirectory() as folder:
        judged, exceedances, different = compare(Path(folder), flights, seed, workers=2)
    print(f"{judged} flights and {exceedances} exceedances compared; logs that differ: "
          f"{len(different)} {' '.join(different[:10])}")
    return int(bool(different) or not judged)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

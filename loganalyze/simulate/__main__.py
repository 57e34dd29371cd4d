"""``python -m loganalyze.simulate OUT``: write sample logs, or a fleet, into the folder OUT."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from loganalyze.simulate.lesson_flights import write_lesson
from loganalyze.simulate.samples import write_samples
from loganalyze.simulate.simulated_fleet import write_fleet


def main() -> None:
    """Write the sample logs, or a fleet."""
    parser = argparse.ArgumentParser(
        prog="python -m loganalyze.simulate",
        description="Write the sample logs, all invented; the same bytes every time.",
    )
    parser.add_argument("out", type=Path, metavar="OUT", help="folder to write into")
    parser.add_argument("--fleet", type=int, metavar="N",
                        help="write N flights of a fleet of eight aircraft instead, with truth.csv")
    parser.add_argument("--lesson", action="store_true",
                        help="write the three flights of a lesson instead")
    parser.add_argument("--seed", type=int, default=1, help="of the fleet (default 1)")
    given = parser.parse_args()
    if given.fleet is not None:
        write_fleet(given.out, given.fleet, seed=given.seed)
        sys.stdout.write(f"{given.out}\n")
        return
    for path in (write_lesson if given.lesson else write_samples)(given.out):
        sys.stdout.write(f"{path}\n")


if __name__ == "__main__":
    main()

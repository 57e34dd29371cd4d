"""``python -m loganalyze.simulate OUT``: write the sample logs into the folder OUT."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from loganalyze.simulate.samples import write_samples


def main() -> None:
    """Write the sample logs."""
    parser = argparse.ArgumentParser(
        prog="python -m loganalyze.simulate",
        description="Write the sample logs, all invented; the same bytes every time.",
    )
    parser.add_argument("out", type=Path, metavar="OUT", help="folder to write into")
    for path in write_samples(parser.parse_args().out):
        sys.stdout.write(f"{path}\n")


if __name__ == "__main__":
    main()

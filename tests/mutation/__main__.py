"""Change the program at random, a little at a time, and count the changes that tests notice.

    python -m tests.mutation 100 --seed 1 air limits+engine+events uncertainty+phases

takes 100 mutants at random of each group of packages, runs the tests that execute each, and
prints what survived with the share that was killed. `--at` tries every mutant of given lines.
Survivors that no test can kill are explained in `survivors.toml`, which is printed beside them.
"""

from __future__ import annotations

import argparse
import difflib
import random
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.mutation.mutants import Mutant, mutants, of_packages
from tests.mutation.recording import records
from tests.mutation.running import Outcome, Session, Tests

ROOT = Path(__file__).resolve().parents[2]


def main() -> None:
    asked = _arguments()
    files = sorted(file for name in asked.tests for file in
                   ([ROOT / name] if name.endswith(".py") else (ROOT / name).rglob("test_*.py")))
    tests = Tests(ROOT, records(ROOT, files, asked.without))
    groups = {group: _sample(group, asked.number, asked.seed) for group in asked.groups}
    if asked.at:
        groups["at the lines given"] = list(_at(asked.at))
    shares = []
    for group, chosen in groups.items():
        print(f"\n{group}: {len(chosen)} mutants", flush=True)
        counts = _run(chosen, tests, asked.budget)
        shares.append(f"{group}: {counts['killed']} of {len(chosen)} killed "
                      f"({100 * counts['killed'] / max(len(chosen), 1):.1f} %), "
                      f"{counts['survived']} survived, {counts['not executed']} not executed; "
                      f"{counts['explained']} of those left are explained")
    print("\n" + "\n".join(shares))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("number", type=int, help="how many mutants of each group")
    parser.add_argument("groups", nargs="*", help="packages, several joined by +")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at", action="append", metavar="MODULE:LINE",
                        help="every mutant of this line, such as loganalyze/air/pitot.py:40")
    parser.add_argument("--budget", type=float, default=20.0,
                        help="CPU seconds of tests for a mutant; the quickest tests come first")
    parser.add_argument("--tests", nargs="+", default=["tests"], help="folders or files of tests")
    parser.add_argument("--without", nargs="+", default=[], help="tests to leave out")
    return parser.parse_args()


def _sample(group: str, number: int, seed: int) -> list[Mutant]:
    every = of_packages(ROOT, group.split("+"))
    return random.Random(seed).sample(every, min(number, len(every)))


def _at(places: list[str]) -> Iterator[Mutant]:
    for place in places:
        module, line = place.rsplit(":", 1)
        yield from (one for one in mutants(module, (ROOT / module).read_text())
                    if one.start[0] <= int(line) <= one.end[0])


def _run(chosen: list[Mutant], tests: Tests, budget_s: float) -> dict[str, int]:
    counts = dict.fromkeys(("killed", "survived", "not executed", "explained"), 0)
    session = Session(ROOT, chosen, tests, budget_s)

    def shown(outcome: Outcome) -> None:
        counts[outcome.state] += 1
        done = len(session.outcomes)
        if done % 25 == 0:
            print(f"    {done} of {len(chosen)}: {counts['killed']} killed", flush=True)
        if outcome.state != "killed":
            counts["explained"] += _shown(outcome)

    session.shown = shown
    pytest.main([*tests.files, "-qq", "-p", "no:cacheprovider", "-p", "no:xdist",
                 "--rootdir", str(ROOT)], plugins=[session])
    return counts


def _shown(outcome: Outcome) -> bool:
    """Print what survived, with its explanation; return whether there is one."""
    mutant = outcome.mutant
    source = (ROOT / mutant.module).read_text()
    print(f"\n{outcome.state}: {mutant}  ({outcome.tests} of {outcome.of} tests run)")
    for line in difflib.unified_diff(source.split("\n"), mutant.applied(source).split("\n"),
                                     n=0, lineterm=""):
        if not line.startswith(("---", "+++", "@@")):
            print("   ", line)
    stated = tomllib.loads(Path(__file__).with_name("survivors.toml").read_text())
    line = source.split("\n")[mutant.start[0] - 1].strip()
    for known in stated.get("survivor", []):
        if (known["module"], known["line"]) == (mutant.module, line) and (
                mutant.after in known.get("after", [mutant.after])):
            print(f"    explained: {known['why']}", flush=True)
            return True
    print(end="", flush=True)
    return False


if __name__ == "__main__":
    main()

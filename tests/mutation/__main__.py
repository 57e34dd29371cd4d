"""Change the program at random, a little at a time, and count the changes that tests notice.

    python -m tests.mutation 100 --seed 1 air limits+engine+events uncertainty+phases

takes 100 mutants at random of each group of packages, runs the tests that execute each, and
prints what survived with the share that was killed. `--at` tries every mutant of given lines.
Survivors that no test can kill are explained in `survivors.toml`, which is printed beside them.

`--record` records anew which lines each test executes; else only files of tests that changed are
recorded. `--table FILE` keeps a line a mutant, as soon as it is tried: the same command, stopped
and started again, tries only what isn't in the table, and a greater number adds to it.
"""

from __future__ import annotations

import argparse
import difflib
import hashlib
import random
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.mutation.mutants import Mutant, mutants, of_packages
from tests.mutation.outcome_table import OutcomeTable
from tests.mutation.recording import records
from tests.mutation.running import Outcome, RecordedTests, Session

ROOT = Path(__file__).resolve().parents[2]
AT_LINES = "at the lines given"


def main() -> None:
    asked = _arguments()
    files = sorted(file for name in asked.tests for file in
                   ([ROOT / name] if name.endswith(".py") else (ROOT / name).rglob("test_*.py")))
    tests = RecordedTests(ROOT, records(ROOT, files, asked.without, asked.record))
    groups = {group: _sample(group, asked.number, asked.seed) for group in asked.groups}
    if asked.at:
        groups[AT_LINES] = list(at_lines(asked.at))
    tried = {mutant.module for chosen in groups.values() for mutant in chosen}
    table = OutcomeTable(asked.table, f"seed {asked.seed}, package {_digest(asked.groups)}")
    if groups:
        print(f"{len(tried)} modules, {len(files)} files of tests", flush=True)
    shares = []
    for group, chosen in groups.items():
        print(f"\n{group}: {len(chosen)} mutants", flush=True)
        _run(group, [one for one in chosen if not table.holds(group, one)], tests, asked.budget,
             table)
        shares.append(_share(group, chosen, table))
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
                        help="CPU seconds of tests for a mutant, after those of kept results; the "
                             "quickest tests come first")
    parser.add_argument("--tests", nargs="+", default=["tests"], help="folders or files of tests")
    parser.add_argument("--without", nargs="+", default=[], help="tests to leave out")
    parser.add_argument("--record", action="store_true",
                        help="record all tests anew, not only those that changed")
    parser.add_argument("--table", type=Path, metavar="FILE",
                        help="a text table of the outcomes, continued where it exists")
    return parser.parse_args()


def _sample(group: str, number: int, seed: int) -> list[Mutant]:
    """Return mutants at random; a greater number begins with those of a smaller one."""
    every = of_packages(ROOT, group.split("+"))
    random.Random(seed).shuffle(every)
    return every[:number]


def _digest(groups: list[str]) -> str:
    """Return a digest of the groups' sources: outcomes hold for these only."""
    digest = hashlib.sha256()
    for package in sorted({package for group in groups for package in group.split("+")}):
        for path in sorted((ROOT / "loganalyze" / package).rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def at_lines(places: list[str]) -> Iterator[Mutant]:
    """Yield every mutant of lines given as MODULE:LINE."""
    for place in places:
        module, line = place.rsplit(":", 1)
        yield from (one for one in mutants(module, (ROOT / module).read_text())
                    if one.start[0] <= int(line) <= one.end[0])


def _run(group: str, chosen: list[Mutant], tests: RecordedTests, budget_s: float,
         table: OutcomeTable) -> None:
    if not chosen:
        return
    session = Session(ROOT, chosen, tests, budget_s)
    counts: Counter[str] = Counter()

    def shown(outcome: Outcome) -> None:
        counts[outcome.state] += 1
        table.add(group, outcome, explanation(outcome.mutant))
        if counts.total() % 25 == 0:
            print(f"    {counts.total()} of {len(chosen)}: {counts['killed']} killed", flush=True)
        if outcome.state != "killed":
            _show(outcome)

    session.shown = shown
    pytest.main([*tests.files, "-qq", "-p", "no:cacheprovider", "-p", "no:xdist",
                 "--rootdir", str(ROOT)], plugins=[session])


def _share(group: str, chosen: list[Mutant], table: OutcomeTable) -> str:
    counts: Counter[str] = Counter()
    for mutant in chosen:
        counts.update(table.states(group, mutant))
    return (f"{group}: {counts['killed']} of {len(chosen)} killed "
            f"({100 * counts['killed'] / max(len(chosen), 1):.1f} %), "
            f"{counts['survived']} survived, {counts['not executed']} not executed; "
            f"{counts['explained']} of those left are explained")


def _show(outcome: Outcome) -> None:
    """Print what survived, with its explanation."""
    mutant = outcome.mutant
    source = (ROOT / mutant.module).read_text()
    print(f"\n{outcome.state}: {mutant}  ({outcome.tests} of {outcome.of} tests run)")
    for line in difflib.unified_diff(source.split("\n"), mutant.applied(source).split("\n"),
                                     n=0, lineterm=""):
        if not line.startswith(("---", "+++", "@@")):
            print("   ", line)
    why = explanation(mutant)
    if why:
        print(f"    explained: {why}")
    print(end="", flush=True)


def explanation(mutant: Mutant) -> str:
    """Return why no test can kill a mutant, "" where nothing is stated."""
    stated = tomllib.loads(Path(__file__).with_name("survivors.toml").read_text())
    line = (ROOT / mutant.module).read_text().split("\n")[mutant.start[0] - 1].strip()
    for known in stated.get("survivor", []):
        if (known["module"], known["line"]) == (mutant.module, line) and (
                mutant.after in known.get("after", [mutant.after])):
            return str(known["why"])
    return ""


if __name__ == "__main__":
    main()

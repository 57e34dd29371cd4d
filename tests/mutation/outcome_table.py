"""A text table of what became of each mutant, by which a stopped run is continued."""

from __future__ import annotations

from pathlib import Path

from tests.mutation.mutants import Mutant
from tests.mutation.running import Outcome

COLUMNS = ("group", "module", "line", "column", "state", "tests", "of", "explained", "killer",
           "before", "after")


class OutcomeTable:
    """Outcomes by group and mutant; a line is on disk as soon as its mutant has been tried.

    Parameters
    ----------
    path
        The file, continued where it exists; None keeps the outcomes in memory only.
    made_of
        What the outcomes hold for, in the first line: a table of anything else is refused.
    """

    def __init__(self, path: Path | None, made_of: str) -> None:
        self.path = path
        self.known: dict[tuple[str, ...], tuple[str, bool]] = {}
        if path is None:
            return
        if not path.exists():
            path.write_text(f"# {made_of}\n" + "\t".join(COLUMNS) + "\n")
        head, _, *lines = path.read_text().splitlines()
        if head != f"# {made_of}":
            raise SystemExit(f"{path} holds outcomes of other mutants ({head[2:]}, not {made_of}):"
                             " give another --table, or remove it.")
        for line in lines:
            row = dict(zip(COLUMNS, line.split("\t"), strict=True))
            key = (row["group"], row["module"], row["line"], row["column"], row["after"])
            self.known[key] = (row["state"], row["explained"] == "yes")

    def holds(self, group: str, mutant: Mutant) -> bool:
        """Whether a mutant has been tried."""
        return _key(group, mutant) in self.known

    def states(self, group: str, mutant: Mutant) -> list[str]:
        """Return the state of a mutant, and "explained" where it is left for a stated reason."""
        state, explained = self.known[_key(group, mutant)]
        return [state, "explained"] if explained and state != "killed" else [state]

    def add(self, group: str, outcome: Outcome, explanation: str) -> None:
        """Add the outcome of a mutant."""
        mutant = outcome.mutant
        key = _key(group, mutant)
        self.known[key] = (outcome.state, bool(explanation))
        if self.path is not None:
            row = (*key[:-1], outcome.state, str(outcome.tests), str(outcome.of),
                   "yes" if explanation else "no", outcome.killer, _one_line(mutant.before),
                   key[-1])
            with self.path.open("a") as file:
                file.write("\t".join(row) + "\n")


def _key(group: str, mutant: Mutant) -> tuple[str, ...]:
    return (group, *key_of(mutant))


def key_of(mutant: Mutant) -> tuple[str, str, str, str]:
    """Return what tells a mutant from all others: module, line, column, what stands there."""
    return (mutant.module, str(mutant.start[0]), str(mutant.start[1]), _one_line(mutant.after))


def _one_line(text: str) -> str:
    return " ".join(text.split())

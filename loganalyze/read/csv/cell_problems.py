"""The error of one cell, as a sentence that names the cell."""

from __future__ import annotations

from loganalyze.problems import Problem
from loganalyze.read.cells.discrete_words import Meaning, UnknownStateError


def no_number(cell: str, name: str, where: str) -> Problem:
    """Return the Problem of a cell that isn't a number."""
    return Problem(f'"{cell}" in column "{name}" isn\'t a number', where,
                   "mend the cell, or leave it blank where nothing was recorded")


def no_state(cell: str, name: str, where: str, means: Meaning) -> Problem | None:
    """Return the Problem of a cell whose meaning isn't known, or None where it is."""
    try:
        means.of(cell)
    except UnknownStateError:
        return unknown_state(cell, name, where)
    return None


def unknown_state(cell: str, name: str, where: str) -> Problem:
    """Return the Problem of a cell that is no known state."""
    return Problem(f'"{cell}" in column "{name}" isn\'t a state that is known', where,
                   "export states as 0 and 1, or say what it means under values in a columns file")

"""Formulas as text: a step of a calculation, and raised and lowered parts.

``^{...}`` is raised and ``_{...}`` lowered; `plain_formula` writes them in a line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WorkedStep:
    """One step: what is done and why, the formula, the formula with its numbers, its source."""

    title: str
    why: str
    formula: str
    numbers: str
    source: str


def formula_parts(formula: str) -> list[tuple[str, str]]:
    """Return the parts of a formula, each with "^" where it is raised and "_" where lowered."""
    parts = re.split(r"([\^_])\{([^}]*)\}", formula)
    found = [("", parts[0])]
    for sign, inside, after in zip(parts[1::3], parts[2::3], parts[3::3], strict=True):
        found += [(sign, inside), ("", after)]
    return [part for part in found if part[1]]


def plain_formula(formula: str) -> str:
    """Return a formula in a line of plain text: ``M^{2}`` is M^2, ``q_{c}`` qc."""
    return "".join(
        part if sign != "^" else f"^({part})" if " " in part else f"^{part}"
        for sign, part in formula_parts(formula))

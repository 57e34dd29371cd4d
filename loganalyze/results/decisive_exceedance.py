"""Which exceedance decides the verdict on a flight: a proven one before a greater one in doubt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, assert_never

from loganalyze.results.assessment_results import (
    NOT_DETERMINABLE,
    NOT_DISPLAYED,
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    PROVEN_UNDER,
    UNDER_NOT_PROVEN,
    AssessedExceedance,
    Assurance,
)

Basis = Literal["displayed", "flown"]
BASES: tuple[Basis, Basis] = ("flown", "displayed")

ORDER = (PROVEN_OVER, OVER_NOT_PROVEN, NOT_DETERMINABLE, UNDER_NOT_PROVEN, PROVEN_UNDER)
"""The outcomes in order of decision: proven, likely, unknown, not exceeded."""


def on_basis(exceedance: AssessedExceedance, basis: Basis) -> Assurance:
    """Return how sure an exceedance is as displayed or as flown.

    As flown in any case where the crew has no display of what was exceeded.
    """
    match basis:
        case "flown":
            return exceedance.flown
        case "displayed":
            shown = exceedance.displayed
            return exceedance.flown if shown.reason == NOT_DISPLAYED else shown
        case _:
            assert_never(basis)


def decisive_first(
    excesses_kt: Sequence[float | None], assessed: Sequence[AssessedExceedance], basis: Basis,
) -> list[int]:
    """Order exceedances by what they decide.

    Parameters
    ----------
    excesses_kt : sequence of float or None
        The worst excess of each as CAS [kt]; None or NaN, where it isn't known, counts as 0. So
        does that of a limit that is none of a speed: units don't compare.
    assessed : sequence of AssessedExceedance
        How sure each is, in the same order; empty where nothing was assessed.
    basis : {"displayed", "flown"}
        By which of the two the outcome is taken.

    Returns
    -------
    list of int
        The indices, by outcome (see `ORDER`), then the greatest excess first, then in time.
    """
    def key(i: int) -> tuple[int, float]:
        outcome = ORDER.index(on_basis(assessed[i], basis).word) if assessed else 0
        excess = excesses_kt[i]
        return outcome, -(excess if excess is not None and math.isfinite(excess) else 0.0)

    return sorted(range(len(excesses_kt)), key=key)

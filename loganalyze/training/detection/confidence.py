"""How sure it is that a candidate is an exercise.

The logarithm of the odds is a weighted sum of the candidate's features. The weights come from a
logistic regression on the candidates of 400 scripted lessons (``python -m
tests.training.exercise_lessons 400 --fit``, seeds 0 to 399), and are checked on lessons that had
no part in it: of the findings with a confidence p a share of about p is right there. They speak
for flights like those lessons; `tests.training.exercise_lessons` says what those hold.

No wrong circuit occurs among them, so that their features' weights are engineering judgement.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from loganalyze.training.detection.candidates import Candidate
from loganalyze.training.exercises import (
    CIRCUIT,
    CLIMB_CAS,
    CLIMB_MACH,
    DESCENT_CAS,
    DESCENT_MACH,
    LEVEL_ACCELERATION,
    LIMIT_APPROACH,
    SPEED_CHANGE,
    STALL,
    STEEP_TURN,
    ExerciseKind,
)

_STEADY = {"": 7.4, "drift": -2.7, "low": -2.3, "scatter": -1.3, "short": -2.5}

WEIGHTS: Mapping[ExerciseKind, Mapping[str, float]] = {
    CIRCUIT: {"": 6.1, "height": -1.0, "not_round": -0.3, "seconds": -1.0},
    **dict.fromkeys((CLIMB_CAS, CLIMB_MACH, DESCENT_CAS, DESCENT_MACH), _STEADY),
    LEVEL_ACCELERATION: {"": -0.4, "brief_after": -6.4, "gain": 1.3, "unsteady": -0.9,
                         "wander": -2.6},
    LIMIT_APPROACH: {"": 6.7, "far": -1.1, "little": -0.2, "stay": -2.4},
    SPEED_CHANGE: {"": 3.1, "many": 0.7, "rough": -2.5, "small": -4.4, "two": -4.9,
                   "unsteady": -4.4},
    STALL: {"": 5.2},
    STEEP_TURN: {"": 3.6, "bank": 0.2, "level": -4.5, "seconds": -1.1},
}
"""Of each kind, the weight that all its candidates have (""), and that of each feature."""


def confidence(candidate: Candidate) -> float:
    """Return the probability that a candidate is an exercise of its kind, 0 to 1."""
    weights = WEIGHTS[candidate.kind]
    odds = weights[""] + sum(weight * candidate.features[name]
                             for name, weight in weights.items() if name)
    return float(1.0 / (1.0 + np.exp(-odds)))

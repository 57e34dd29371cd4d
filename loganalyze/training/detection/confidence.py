"""How sure it is that a candidate is an exercise."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from loganalyze.training.detection.candidates import Candidate

WEIGHTS: Mapping[str, Mapping[str, float]] = {
    "steep turn": {"": 3.0, "bank": 0.2, "level": -1.0, "by_heading": -0.5},
    "stall": {"": 3.0, "slowed": 0.3, "lost": 0.3},
    "circuit": {"": 3.0, "seconds": -1.0, "height": -1.0, "not_round": -0.3},
}
"""Logarithm of the odds that a candidate of each kind is right: for all of them (""), and for
each unit of a feature."""


def confidence(candidate: Candidate) -> float:
    """Return the probability that a candidate is an exercise of its kind, 0 to 1."""
    weights = WEIGHTS[candidate.kind]
    odds = weights[""] + sum(weight * candidate.features[name]
                             for name, weight in weights.items() if name)
    return float(1.0 / (1.0 + np.exp(-odds)))

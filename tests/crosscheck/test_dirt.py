"""A small fixed sample of the damage that `python -m tests.crosscheck.dirt` measures at length."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import dirt


def test_no_damage_is_called_a_proven_exceedance():
    found = dirt.run(dirt.dirt(np.random.default_rng(4), 160))
    assert found.failed == []
    # The damage does make exceedances: else nothing was tried.
    assert sum(found.asked.values()) >= 25


def test_true_exceedances_are_let_stand():
    rng = np.random.default_rng(5)
    found = dirt.run(dirt.exceeded(rng, i % 6) for i in range(60))
    assert sum(found.exceedances.values()) >= 60
    assert len(found.failed) <= 1

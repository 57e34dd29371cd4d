"""A small fixed sample of the passes that `python -m tests.events.double_passes` counts by hand."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import double_passes


def test_two_passes_are_counted_as_a_hand_counts_them():
    count = double_passes.run(60, 9)
    assert double_passes.passed(count), count.failed[:5]
    # Passes were joined and parted: else nothing was tried.
    assert count.tally["pairs to join"] > 50
    assert count.tally["pairs to part"] > 20
    assert count.tally["severity clear"] > 20

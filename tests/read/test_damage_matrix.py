"""A fixed sample of the damage matrix; `python -m tests.read.damage_matrix` runs the whole."""

from __future__ import annotations

from pathlib import Path

import damage_matrix
import exporting
import numpy as np
from exporting import Habits

from loganalyze import read_flights
from loganalyze.text.language import reading_text


def test_one_damaged_cell_line_or_byte_changes_no_state_far_away_without_a_word() -> None:
    lines: list[str] = []
    counts = damage_matrix.run(300, seed=1, report=lines.append)
    assert counts["crash"] == counts["silent"] == counts["undamaged refused"] == 0, lines
    # The damage has to be felt, or nothing was tried.
    assert counts["near"] > 30
    assert counts["same"] > 90


def test_a_hundredth_of_all_cells_damaged_ends_in_no_crash_nor_a_silent_change() -> None:
    lines: list[str] = []
    counts = damage_matrix.run(60, seed=1, share=0.01, report=lines.append)
    assert counts["crash"] == counts["silent"] == counts["undamaged refused"] == 0, lines
    assert counts["refused"] + counts["stated"] + counts["near"] == 60


def test_an_invalid_byte_in_a_part_of_the_clock_is_a_damaged_cell(tmp_path: Path) -> None:
    at, values = damage_matrix.flight(np.random.default_rng(1), 1.0)
    how = Habits("tab", clock="day of year", heading="units row")
    written = exporting.export(tmp_path, at, values, how)
    (before,) = read_flights(written.path, written.columns)
    data = written.path.read_bytes()
    place = data.index(b"\n2026\t059", 6000) + len(b"\n2026\t0")
    row = data[:place].count(b"\n") - 2  # The first line is the header, the second the units.
    written.path.write_bytes(data[:place] + b"\xff" + data[place:])
    (after,) = read_flights(written.path, written.columns)
    assert any('"Day of year"' in sentence
               for sentence in reading_text.sentences(after.source.inferred))
    assert len(after) >= len(before) - 1
    far = before.time[np.abs(np.arange(len(before)) - row) > 1]
    assert np.isin(far, after.time).all()
    for name, channel in before.channels.items():
        found = after.channels[name].values[np.searchsorted(after.time, far)]
        np.testing.assert_array_equal(found, channel.values[np.searchsorted(before.time, far)])

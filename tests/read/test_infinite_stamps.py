"""Numbers beyond all bounds in a clock's columns, of every kind of clock: lost rows, no warning."""

from __future__ import annotations

import warnings
from pathlib import Path

import exporting
import numpy as np
import pytest
from gallery.climb import START

from loganalyze import Problem, read_log
from loganalyze.text.language import reading_text

OF_NUMBERS = ("elapsed s", "elapsed ms", "elapsed min", "epoch s", "epoch ms", "serial",
              "HHMMSS, as stated", "HHMMSS", "epoch with an exponent")
"""Clocks of one number: such a row is lost, and the others are read."""


@pytest.mark.parametrize("clock", exporting.CLOCKS)
@pytest.mark.parametrize("rows", [(0,), (20,), (39,), (20, 21), (18, 20, 22)], ids=str)
@pytest.mark.parametrize("cell", ["1e400", "-1e400", "nan"])
def test_a_number_beyond_all_bounds_warns_of_nothing(
        cell: str, rows: tuple[int, ...], clock: str, tmp_path: Path) -> None:
    t = np.arange(40.0)
    at = START + np.rint(t * 1e9).astype("timedelta64[ns]")
    how = exporting.Habits("semicolon", clock=clock)
    written = exporting.export(tmp_path, at, {
        "pressure_altitude": 1000 + 5 * t, "indicated_airspeed": 100 + 0.2 * t}, how)
    lines = written.path.read_text().splitlines()
    refused: list[str] = []
    for column in range(len(exporting.CLOCKS[clock].columns(at))):
        damaged = lines.copy()
        for row in rows:
            cells = damaged[row + 1].split(";")
            cells[column] = cell
            damaged[row + 1] = ";".join(cells)
        written.path.write_text("\n".join(damaged) + "\n")
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                log = read_log(written.path, written.columns)
            except Problem as problem:
                refused.append(problem.sentence)
                continue
        # What is kept has the times that it had; what isn't is counted.
        assert len(log) >= 40 - len(rows)
        assert np.isfinite(log.time).all()
        assert log.time[-1] - log.time[0] <= 39.01
        assert len(log) == 40 or reading_text.sentences(log.source.inferred)
    assert all(str(written.path) in sentence for sentence in refused)
    assert not refused or clock not in OF_NUMBERS

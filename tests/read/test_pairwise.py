"""A pairwise cover of dialect, unit and clock: every pair of habits meets in some export."""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from pathlib import Path

import exporting
import numpy as np
import pytest
from exporting import Habits, check
from gallery.climb import START, truth

from loganalyze import read_log

FACTORS: dict[str, list[object]] = {
    "clock": list(exporting.CLOCKS),
    "form": list(exporting.FORMS),
    "lead": list(exporting.LEADS),
    "end": ["\n", "\r\n"],
    "heading": list(exporting.HEADINGS),
    "tail": list(exporting.TAILS),
    "pack": list(exporting.PACKS),
    "gap": list(exporting.GAPS),
    "states": list(exporting.STATES),
    **{channel: list(units) for channel, units in exporting.UNITS.items() if len(units) > 1},
    "rate": [1, 4],
}
SI = {"pressure_altitude": (0.3048, 0.0), "indicated_airspeed": (1852 / 3600, 0.0),
      "static_air_temperature": (1.0, 273.15), "vertical_speed": (0.3048 / 60, 0.0),
      "static_pressure": (100.0, 0.0), "gear_down": (1.0, 0.0)}


def cover(factors: dict[str, list[object]]) -> list[dict[str, object]]:
    """Return rows in which each pair of values of two factors occurs (greedy, no search)."""
    names = list(factors)
    bare = {(a, x, b, y) for a, b in combinations(names, 2)
            for x in factors[a] for y in factors[b]}
    rows: list[dict[str, object]] = []
    used: Counter[tuple[str, object]] = Counter()
    for pair in sorted(bare, key=repr):
        if pair not in bare:
            continue
        row = {pair[0]: pair[1], pair[2]: pair[3]}
        for name in names:
            if name not in row:
                row[name] = max(factors[name], key=lambda value: (sum(
                    found in bare for found in met({**row, name: value}, names, name)),
                    -used[name, value]))
        bare -= set(met(row, names))
        used.update(row.items())
        rows.append(row)
    return rows


def met(row: dict[str, object], names: list[str], only: str = "") -> list[tuple[object, ...]]:
    """Return the pairs of values in a row, or only those that one factor takes part in."""
    return [(a, row[a], b, row[b]) for a, b in combinations(names, 2)
            if a in row and b in row and (not only or only in (a, b))]


ROWS = cover(FACTORS)


def test_every_pair_is_there() -> None:
    names = list(FACTORS)
    there = {pair for row in ROWS for pair in met(row, names)}
    assert all((a, x, b, y) in there for a, b in combinations(names, 2)
               for x in FACTORS[a] for y in FACTORS[b])
    assert len(ROWS) >= 200


@pytest.mark.parametrize("row", [
    pytest.param(row, id=f"{number}-{row['clock']}-{row['form']}")
    for number, row in enumerate(ROWS)])
def test_pairs(row: dict[str, object], tmp_path: Path) -> None:
    t = np.arange(0, 30, 1 / row["rate"])
    values = {channel: truth(channel, t) * SI[channel][0] + SI[channel][1]
              for channel in exporting.UNITS}
    values["static_air_temperature"][[5, 6, 11]] = np.nan
    values["gear_down"][[9]] = np.nan
    how = Habits(**{key: row[key] for key in ("clock", "form", "lead", "end", "heading", "tail",
                                              "pack", "gap", "states")},
                 units={channel: row[channel] for channel in exporting.UNITS if channel in row})
    at = START + np.rint(t * 1e9).astype("timedelta64[ns]")
    written = exporting.export(tmp_path, at, values, how)
    check(read_log(written.path, written.columns), written, at, values)

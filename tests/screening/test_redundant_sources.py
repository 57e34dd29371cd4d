"""Further sources of a quantity: which there are, and when two of them disagree."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import analyze

APART = "airspeed sources disagree"


@pytest.fixture
def rejected(log, sheet, vmo):
    def rejected(off, time=None, name="calibrated_airspeed_2", kt=150.0):
        """Rows rejected where a further source reads so much more."""
        stamps = np.arange(len(off), dtype=float) if time is None else np.asarray(time)
        flight = log(stamps, 1.0, calibrated_airspeed=kt, pressure_altitude=5000.0,
                     **{name: kt + np.asarray(off, dtype=float)})
        analysis = analyze(flight, sheet(vmo))
        assert set(analysis.screened) <= {APART}
        return analysis.screened.get(APART, 0)

    return rejected


@pytest.mark.parametrize(("number", "counts"), [(2, True), (3, True), (9, True), (10, False)])
def test_sources_are_numbered_from_2_to_9(rejected, number, counts):
    assert rejected([30] * 20, name=f"calibrated_airspeed_{number}") == (20 if counts else 0)


@pytest.mark.parametrize(("kt", "off", "apart"), [
    (150, 9.9, False), (150, 10.1, True), (150, -10.1, True), (150, -9.9, False),
    (200, 11.9, False), (200, 12.1, True)])
def test_they_disagree_from_10_kt_or_6_per_cent(rejected, kt, off, apart):
    assert rejected([off] * 20, kt=float(kt)) == (20 if apart else 0)


@pytest.mark.parametrize(("rows", "count"), [(5, 0), (6, 6), (7, 7)])
def test_what_lasts_less_than_5_s_is_skew(rejected, rows, count):
    off = np.zeros(40)
    off[10 : 10 + rows] = 30.0
    assert rejected(off) == count
    off[38:] = 30.0  # another, too short, at the end
    off[:3] = 30.0
    assert rejected(off) == count


@pytest.mark.parametrize("wait", [1.4, 1.6])
def test_a_gap_or_a_blank_parts_a_disagreement(rejected, wait):
    off = np.zeros(40)
    off[10:18] = 30.0
    time = np.arange(40.0)
    time[14:] += wait - 1.0
    assert rejected(off, time) == (8 if wait < 1.5 else 0)
    off[14] = np.nan
    assert rejected(off) == 0


def test_each_source_by_itself(log, sheet, vmo):
    time = np.arange(60.0)
    second, third = np.full(60, 150.0), np.full(60, 150.0)
    second[10:20], third[30:45] = 170.0, 120.0
    analysis = analyze(log(time, calibrated_airspeed=150.0, calibrated_airspeed_2=second,
                           calibrated_airspeed_3=third, pressure_altitude=5000.0), sheet(vmo))
    assert analysis.screened == {APART: 25}
    unknown = np.flatnonzero(analysis.columns["state_0"] == 2)
    assert unknown.tolist() == [*range(10, 20), *range(30, 45)]

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loganalyze.show.figures.trace_decimation import BINS, trace


def test_a_short_record_is_drawn_as_it_is():
    time, values = trace(np.array([0.0, 1, 2]), np.array([5.0, np.nan, 7]), 1.0)
    np.testing.assert_array_equal(time, [0, 1, 2])
    np.testing.assert_array_equal(values, [5, np.nan, 7])


def test_a_gap_breaks_the_line():
    time, values = trace(np.array([0.0, 1, 5, 6]), np.array([1.0, 2, 3, 4]), 1.0)
    np.testing.assert_array_equal(time, [0, 1, 1, 5, 6])
    np.testing.assert_array_equal(values, [1, 2, np.nan, 3, 4])


@given(st.integers(0, 2**32 - 1), st.integers(2 * BINS + 1, 30_000))
def test_no_peak_is_lost(seed, size):
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(0.2, 0.3, size))
    values = rng.normal(0, 1, size)
    peak, pit = rng.choice(size, 2, replace=False)
    values[peak], values[pit] = 1000.0, -1000.0
    drawn_time, drawn = trace(time, values, 0.25)
    assert len(drawn) <= 2 * BINS
    assert np.all(np.diff(drawn_time) >= 0)
    width = (time[-1] - time[0]) / BINS
    assert drawn.max() == 1000.0
    assert drawn.min() == -1000.0
    assert abs(drawn_time[drawn.argmax()] - time[peak]) <= width
    assert abs(drawn_time[drawn.argmin()] - time[pit]) <= width


def test_a_long_gap_and_a_long_unknown_stretch_break_a_long_line():
    time = np.arange(40_000) * 0.25
    values = np.sin(time / 900)
    values[10_000:12_000] = np.nan
    keep = np.ones(len(time), dtype=bool)
    keep[20_000:22_000] = False
    drawn_time, drawn = trace(time[keep], values[keep], 0.25)
    known = drawn_time[~np.isnan(drawn)]
    for start, stop in ((10_000, 12_000), (20_000, 22_000)):
        assert not ((known > time[start] + 10) & (known < time[stop] - 10)).any()
    breaks = np.isnan(drawn)
    assert breaks[(drawn_time > time[19_900]) & (drawn_time < time[22_100])].any()
    assert breaks.sum() >= 2


@pytest.mark.parametrize("size", [0, 1])
def test_hardly_any_samples(size):
    time, values = trace(np.arange(size, dtype=float), np.ones(size), 1.0)
    assert len(time) == len(values) == size

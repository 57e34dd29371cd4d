"""A channel in one line of text."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loganalyze.show.terminal.sparklines import BLOCKS, NO_SAMPLE, NO_VALUE, PLAIN, sparkline


def test_a_rising_line():
    assert sparkline(np.arange(8.0), np.arange(8.0), 8) == "▁▂▃▄▅▆▇█"
    assert sparkline(np.arange(8.0), np.arange(8.0), 8, PLAIN) == "_.-~=+*#"


def test_a_constant_is_a_line_in_the_middle():
    assert sparkline(np.arange(5.0), np.full(5, 7.0), 5) == "▄▄▄▄▄"


def test_states_stand_low_and_high():
    assert sparkline(np.arange(4.0), np.zeros(4), 8, within=(0.0, 1.0)) == "▁▁▁▁"
    assert sparkline(np.arange(4.0), np.array([1, 1, 0, np.nan]), 8, within=(0.0, 1.0)) == "██▁·"


def test_a_lone_spike_shows_however_long_the_log():
    for at in (0, 1, 54321, 99999):
        values = np.sin(np.arange(100_000) / 1000)
        values[at] = 9.0
        line = sparkline(np.arange(100_000.0), values, 60)
        assert line.count("█") == 1
        assert line.index("█") // 2 == at * 30 // 100_000
        assert len(line) == 60


def test_missing_values_and_missing_time_look_different():
    time = np.r_[np.arange(10.0), np.arange(20.0, 30.0)]
    values = np.r_[np.arange(10.0), np.full(10, np.nan)]
    line = sparkline(time, values, 30)
    assert line[:10] == "▁▂▃▄▄▅▆▆▇█"
    assert set(line[10:20]) == {NO_SAMPLE}
    assert set(line[20:]) == {NO_VALUE}


def test_nothing_known():
    assert sparkline(np.arange(3.0), np.full(3, np.nan), 3) == "···"
    assert sparkline(np.array([]), np.array([]), 8) == ""
    assert sparkline(np.array([4.0]), np.array([1.0]), 8) == "▄"


@given(st.lists(st.one_of(st.floats(-1e9, 1e9), st.just(float("nan"))), min_size=1, max_size=300),
       st.integers(2, 80))
def test_the_extremes_are_always_there(values, width):
    numbers = np.array(values)
    line = sparkline(np.arange(float(len(numbers))), numbers, width)
    assert len(line) in (min(width, len(values)), width - 1)
    known = numbers[~np.isnan(numbers)]
    assert (NO_VALUE in line) or len(known)
    if len(known) and known.max() > known.min():
        assert BLOCKS[0] in line
        assert BLOCKS[-1] in line
        assert line.count(BLOCKS[-1]) <= 2 * (known == known.max()).sum()


@pytest.mark.parametrize("width", [2, 3, 60])
def test_infinities_are_no_values(width):
    assert NO_VALUE in sparkline(np.arange(2.0), np.array([np.inf, 1.0]), width)

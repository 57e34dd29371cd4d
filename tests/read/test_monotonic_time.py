"""Time made monotonic: dropped rows, breaks between stretches, and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import Problem
from loganalyze.read.repair.monotonic_time import MonotonicTime, find_break, make_monotonic
from loganalyze.text.language import reading_text

NAN = np.nan


def clock(*parts):
    return np.concatenate([np.atleast_1d(np.array(part, dtype=float)) for part in parts])


def sentences_of(settled: MonotonicTime) -> list[str]:
    return list(reading_text.sentences(settled.findings))


def test_a_rising_clock_is_left_as_it_is():
    settled = make_monotonic(np.arange(5.0), "log")
    assert settled.time.tolist() == [0, 1, 2, 3, 4]
    assert settled.keep is None
    assert not settled.findings


def test_a_stamp_that_jumps_ahead_is_dropped_alone():
    settled = make_monotonic(clock(np.arange(50), 1e9, np.arange(51, 100)), "log")
    assert settled.aside == {"time leaps ahead": 1}
    assert settled.time.tolist() == [*range(50), *range(51, 100)]
    assert sentences_of(settled) == ["1 of 100 rows were left out: time jumps ahead."]


def test_a_stamp_that_falls_back_is_dropped_alone():
    settled = make_monotonic(clock(np.arange(50), 3, np.arange(51, 100)), "log")
    assert settled.aside == {"time runs backwards": 1}
    assert settled.keep is not None
    assert 50 not in settled.keep


def test_a_clock_corrected_by_seconds_loses_those_seconds():
    settled = make_monotonic(clock(np.arange(200), np.arange(197, 400)), "log")
    assert settled.aside == {"time runs backwards": 3, "repeated time": 1} or (
        settled.aside == {"time runs backwards": 2, "repeated time": 1})
    assert (np.diff(settled.time) == 1).all()


def test_a_clock_that_is_set_anew_late_in_the_log_is_refused_all_the_same():
    with pytest.raises(Problem, match="the clock was reset: it runs on from 5 s after 2999 s"):
        make_monotonic(clock(np.arange(3000), np.arange(5, 105)), "log")


def test_a_step_back_at_the_very_end_is_dropped():
    settled = make_monotonic(clock(np.arange(1000), np.arange(10)), "log")
    assert settled.aside == {"time runs backwards": 10}


def test_blank_times():
    time = np.arange(100.0)
    time[7] = NAN
    settled = make_monotonic(time, "log")
    assert settled.aside == {"no time": 1}
    assert settled.keep is not None
    assert 7 not in settled.keep


def test_a_time_at_every_eighth_row_is_spread_over_the_rows_between():
    time = np.full(80, NAN)
    time[2::8] = 10 + np.arange(10)
    settled = make_monotonic(time, "log")
    np.testing.assert_allclose(settled.time, 10 + np.arange(78) / 8)
    assert settled.keep is not None
    assert settled.keep[0] == 2
    assert sentences_of(settled) == [
        "Only every 8th row has a time: the rows between were spread evenly.",
        "2 of 80 rows were left out: no time."]


def test_rows_between_are_not_spread_over_a_gap():
    time = np.full(160, NAN)
    time[::8] = np.concatenate([np.arange(10), 500 + np.arange(10)])
    settled = make_monotonic(time, "log")
    assert settled.aside == {"no time": 7}
    assert not ((settled.time > 9) & (settled.time < 500)).any()


def test_stamps_in_tenths_of_a_clock_of_sixteen_hertz_are_spread():
    truth = np.arange(320) / 16
    settled = make_monotonic(np.floor(truth * 10) / 10, "log")
    assert (np.diff(settled.time) > 0).all()
    assert np.abs(settled.time - truth).max() <= 0.1
    assert settled.spread == 120
    assert len(settled.time) == 320


def test_a_burst_of_repeated_rows_is_no_coarse_clock():
    time = np.concatenate([np.arange(300), np.repeat(np.arange(300, 310), 2), np.arange(310, 600)])
    settled = make_monotonic(time.astype(float), "log")
    assert settled.aside == {"repeated time": 10}


def test_too_many_faults_are_refused():
    time = np.arange(100.0)
    time[::5] = NAN
    with pytest.raises(Problem, match="20 of 100 rows have no time"):
        make_monotonic(time, "log")


def test_newest_first_is_refused():
    with pytest.raises(Problem, match="39 of 40 rows have a time earlier"):
        make_monotonic(np.arange(40.0)[::-1], "log")


def breaks(time, gap_s=100.0, final=True):
    return find_break(np.asarray(time, dtype=float), 0, -np.inf, gap_s, final)


def test_a_gap_begins_a_stretch():
    found, row, latest = breaks([0, 1, 2, 500, 501])
    assert (found.row, found.reset, found.before_s, found.after_s) == (3, False, 2, 500)
    assert (row, latest) == (3, 2)
    assert breaks([0, 1, 100, 101])[0] is None
    assert breaks([NAN, 0, 1, NAN, 500, 501])[0].row == 4


def test_a_lone_leap_ahead_is_no_gap():
    assert breaks(clock(np.arange(20), 1e9, np.arange(21, 40)))[0] is None


def test_a_leap_at_the_end_waits_for_the_rows_to_come():
    found, row, latest = breaks([0, 1, 2, 500], final=False)
    assert (found, row, latest) == (None, 3, 2)
    assert breaks([0, 1, 2, 500, 501])[0].row == 3


def test_a_lone_first_row_shows_no_gap():
    assert breaks([0, 500, 501, 502])[0] is None
    assert breaks([0, 500, 501, 1002, 1003])[0].row == 3


def test_a_lone_last_row_shows_no_gap():
    assert breaks([0, 1, 2, 500]) == (None, 4, 2)


def test_a_reset_begins_a_stretch_once_it_has_run_on():
    time = clock(np.arange(1000), np.arange(100))
    found, _, _ = breaks(time)
    assert (found.row, found.reset, found.before_s, found.after_s) == (1000, True, 999, 0)
    assert breaks(time[:1030], final=False)[:2] == (None, 1000)
    assert breaks(time[:1030])[0] is None


def test_a_short_fall_is_no_reset():
    assert breaks(clock(np.arange(1000), np.arange(980, 1200)))[0] is None


@pytest.mark.parametrize("ahead", [30, 90, 600, 3600, 40000])
@pytest.mark.parametrize("row", [0, 1, 500, 998, 999])
def test_one_stamp_ahead_begins_no_stretch(ahead, row):
    time = np.arange(1000.0)
    time[row] += ahead
    assert breaks(time, gap_s=3600)[0] is None
    settled = make_monotonic(time, "log")
    assert len(settled.time) == 999
    assert sum(settled.aside.values()) == 1
    assert settled.keep is not None
    assert row not in settled.keep


def test_a_reset_after_a_few_stamps_ahead_is_still_found():
    time = clock(np.arange(1000), 1600, np.arange(1001, 2000), np.arange(100))
    found, _, _ = breaks(time, gap_s=3600)
    assert (found.row, found.reset, found.before_s) == (2000, True, 1999)


@pytest.mark.parametrize("shift", [-600.0, 600.0])
@pytest.mark.parametrize("row", [0, 99])
def test_a_row_alone_at_an_end_is_dropped(row, shift):
    time = np.arange(100.0)
    time[row] += shift
    settled = make_monotonic(time, "log")
    assert sum(settled.aside.values()) == 1
    assert np.ptp(settled.time) == 98


def test_rows_a_few_places_out_of_order_are_sorted_and_said():
    order = np.arange(200)
    order[[10, 11]] = [11, 10]
    order[50:58] = [57, *range(50, 57)]
    settled = make_monotonic(order / 4, "log")
    assert settled.time.tolist() == (np.arange(200) / 4).tolist()
    assert settled.keep is not None
    assert order[settled.keep].tolist() == list(range(200))
    assert sentences_of(settled) == [
        "10 rows were out of order, by 7 places at most: sorted by time."]


def test_rows_far_out_of_order_are_not_sorted():
    order = np.r_[np.arange(50), np.arange(70, 100), np.arange(50, 70), np.arange(100, 400)]
    settled = make_monotonic(order.astype(float), "log")
    assert settled.aside == {"time runs backwards": 20}


def test_a_stamp_that_was_not_missing_is_not_sorted_in():
    time = np.arange(100.0)
    time[40] = 44.5
    settled = make_monotonic(time, "log")
    assert settled.aside == {"time leaps ahead": 1}

"""Counters that start again, refreshed late or blank between: hand-made, a turn at a time."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze.read.clocks import calendar_dates
from loganalyze.read.clocks.counter_clock import DayClock, FrameClock, WeekClock
from loganalyze.read.clocks.rollover import RolloverCounter, Years, filled
from loganalyze.text.language import reading_text

NAN = np.nan
DAY = 86400.0


def joined(counter: RolloverCounter, low: list[float],
           high: list[float] | None = None) -> list[float]:
    return counter.join(np.array(low), None if high is None else np.array(high)).tolist()


def test_a_counter_that_starts_again_runs_on():
    assert joined(RolloverCounter(60), [58, 59, 0, 1]) == [58, 59, 60, 61]


def test_it_runs_on_from_block_to_block():
    counter = RolloverCounter(60)
    assert joined(counter, [58, 59]) == [58, 59]
    assert joined(counter, [NAN]) == pytest.approx([NAN], nan_ok=True)
    assert joined(counter, [0, 30, 59, 0]) == [60, 90, 119, 120]


def test_a_step_back_over_the_start_is_no_turn_ahead():
    assert joined(RolloverCounter(DAY), [DAY - 1, 0, DAY - 1, 1]) == [
        DAY - 1, DAY, DAY - 1, DAY + 1]


def test_hours_of_rest_lead_ahead_not_back():
    assert joined(RolloverCounter(DAY), [6 * 3600, 20 * 3600]) == [6 * 3600, 20 * 3600]


def test_the_upper_counter_counts_what_the_lower_can_not():
    assert joined(RolloverCounter(60, 60), [10, 20, 15], [4, 4, 9]) == [250, 260, 555]


def test_an_upper_counter_that_is_refreshed_late_is_not_believed_at_the_turn():
    # The minute turns two rows after the seconds do.
    low, high = [57, 58, 59, 0, 1, 2, 3, 30], [4, 4, 4, 4, 4, 5, 5, 5]
    assert joined(RolloverCounter(60, 60, 5), low, high) == [297, 298, 299, 300, 301, 302, 303, 330]


def test_an_upper_counter_that_turns_early_is_not_believed_either():
    low, high = [30, 57, 58, 59, 0, 1], [4, 4, 5, 5, 5, 5]
    assert joined(RolloverCounter(60, 60, 5), low, high) == [270, 297, 298, 299, 300, 301]


def test_the_upper_counter_starts_again_too():
    assert joined(RolloverCounter(60, 60, 5), [59, 0, 30], [59, 59, 0]) == [3599, 0, 30]


def test_blanks_of_the_upper_counter_are_counted_through():
    low, high = [30, 45, 0, 15, 30], [NAN, 4, NAN, NAN, NAN]
    assert joined(RolloverCounter(60, 60), low, high) == [270, 285, 300, 315, 330]


def test_a_day_that_is_skipped_is_a_gap():
    assert joined(RolloverCounter(DAY, None, 65), [36000, 36000], [100, 103]) == [
        100 * DAY + 36000, 103 * DAY + 36000]


def test_filled():
    assert filled(np.array([NAN, 1, NAN, 2]), 7).tolist() == [7, 1, 1, 2]


@pytest.mark.parametrize(("first", "days", "runs_on"), [
    (None, [364, 365, 1, 2], [364, 365, 366, 367]),
    (None, [365, 366, 1, 2], [365, 366, 367, 368]),
    (2026, [365, 1], [365, 366]),
    (2028, [366, 1], [366, 367]),
    (2028, [59, 60, 61], [59, 60, 61]),
])
def test_days_of_the_year_run_on(first, days, runs_on):
    assert Years(first).run_on(np.array(days, dtype=float)).tolist() == runs_on


def seconds_of(clock, *columns):
    return clock.run(np.column_stack([np.array(column, dtype=float) for column in columns]))


def test_hours_minutes_seconds_over_midnight_and_a_year_end():
    clock = DayClock(3, True, False, "ordinal", 2027)
    seconds = seconds_of(clock, [59.5, 0, 0.5], [59, 0, 0], [23, 0, 0], [365, 1, 1])
    assert seconds.tolist() == [86399.5, 86400, 86400.5]
    assert clock.base_s == calendar_dates.days_of(2027, 12, 31) * DAY


def test_a_leap_day_in_months_and_days():
    clock = DayClock(1, True, False, "months", 2028)
    seconds = seconds_of(clock, [86399, 0, 40000, 86399, 0],
                           [228, 229, 229, 229, 301])
    assert seconds.tolist() == [86399, 86400, 126400, 2 * DAY - 1, 2 * DAY]


def test_a_year_end_in_months_and_days():
    clock = DayClock(1, True, False, "months", 2026)
    assert seconds_of(clock, [86399, 0], [1231, 101]).tolist() == [86399, 86400]


def test_an_offset_from_utc_is_taken_off_and_carried():
    clock = DayClock(1, True, True)
    assert seconds_of(clock, [3600, 3601, 3602], [10, 10, 10], [3600, NAN, 3600]).tolist() == [
        0, 1, 2]


def test_a_satellite_week_ends():
    clock = WeekClock()
    assert seconds_of(clock, [604799, 0, 1], [2407, 2407, 2408]).tolist() == [
        604799, 604800, 604801]
    assert clock.base_s == 2407 * 604800


def test_frames_and_subframes_start_again_where_stated():
    clock = FrameClock(4, 4, 1024)
    seconds = seconds_of(clock, [3, 4, 1, 2], [1023, 1023, 0, 0])
    assert np.diff(seconds).tolist() == [1, 1, 1]


def test_frames_start_again_after_a_power_of_two_and_it_is_said():
    clock = FrameClock(4, 1)
    assert seconds_of(clock, [4094, 4095, 0, 1]).tolist() == [16376, 16380, 16384, 16388]
    assert list(reading_text.sentences(clock.found)) == [
        "The frame counter fell from 4095 to 0: taken as a start again after 4096 frames."]


def test_a_frame_counter_that_is_set_anew_falls():
    assert seconds_of(FrameClock(4, 1), [700, 701, 0, 1]).tolist() == [2800, 2804, 0, 4]


def test_frames_that_are_lost_are_a_gap():
    assert np.diff(seconds_of(FrameClock(4, 4, 4096), [1, 2, 3], [10, 10, 14])).tolist() == [1, 17]


def test_leap_seconds_of_satellite_time():
    day = calendar_dates.days_of
    assert calendar_dates.leap_seconds(day(2016, 12, 31)) == 17
    assert calendar_dates.leap_seconds(day(2017, 1, 1)) == 18
    assert calendar_dates.leap_seconds(day(1980, 1, 6)) == 0


def test_days_that_are_not_on_the_calendar():
    assert np.isnan(calendar_dates.days_of(2026, 2, 29))
    assert not np.isnan(calendar_dates.days_of(2028, 2, 29))
    assert np.isnan(calendar_dates.days_of(2100, 2, 29))
    assert np.isnan(calendar_dates.days_of_ordinal(2026, 366))
    assert calendar_dates.spelled(float(calendar_dates.days_of_ordinal(2028, 366))) == "2028-12-31"
    assert calendar_dates.spelled(float(calendar_dates.day_of_digits(20280229))) == "2028-02-29"


def test_a_spreadsheet_counts_days_from_the_end_of_1899():
    # ECMA-376, part 1, 18.17.4.1: serial 1 is 1900-01-01, and 1900 counts as a leap year.
    assert calendar_dates.days_of(2000, 1, 1) == 36526 + calendar_dates.SERIAL_1900
    assert calendar_dates.days_of(2000, 1, 1) == 35064 + calendar_dates.SERIAL_1904


def test_a_turn_across_a_gap_is_one_however_little_the_lower_counter_fell():
    minutes = RolloverCounter(60, 60, edge=5.0)
    assert minutes.join(np.array([27.0, 27.25, 27.5, 0.75]),
                        np.array([0.0, 0, 0, 1])).tolist() == [27, 27.25, 27.5, 60.75]


def test_one_corrupt_time_of_day_is_no_midnight():
    day = RolloverCounter(86400)
    joined = day.join(np.array([86382.0, 14383, 86384, 86385, 5, 6]))
    assert joined.tolist() == [86382, 14383, 86384, 86385, 86405, 86406]


@pytest.mark.parametrize("frame_s", [1.0, 4.0])
def test_a_frame_alone_beyond_a_gap_gets_no_time_rather_than_a_wrong_one(frame_s):
    """Frames lost before the last sample, or after the first: it may as well be damaged."""
    frames = [frame for frame in range(10, 20) for _ in range(4)]
    subframes = [1.0, 2.0, 3.0, 4.0] * 10
    seconds = [frame_s * (frame + (sub - 1) / 4) for frame, sub in zip(frames, subframes,
                                                                       strict=True)]
    for at, others in ((-1, slice(None, -1)), (0, slice(1, None))):
        counts = [float(frame) for frame in frames]
        counts[at] += 30 if at else -8
        found = np.array(seconds_of(FrameClock(frame_s, 4, 256), subframes, counts))
        assert np.isnan(found[at])
        good = found[others] - found[others][0]
        assert good.tolist() == pytest.approx(
            (np.array(seconds[others]) - seconds[others][0]).tolist())

"""The flight log: slow channels along its rows, and the file that it came from."""

from __future__ import annotations

import hashlib
import math
import os
from pathlib import Path

import numpy as np
import pytest

from loganalyze import Channel, FlightLog, Problem, Source
from loganalyze.record.flight_log import aligned

NAN = math.nan


def make_log(time, **channels):
    return FlightLog(np.array(time, dtype=float), channels, Source(Path("made.csv")),
                     interval_s=0.5)


def slow(values, rows, interval_s=1.0):
    return Channel(np.array(values, dtype=float), np.array(rows, dtype=np.int32), interval_s)


def test_a_channel_of_every_row_is_itself():
    values = np.array([1.0, NAN, 3.0])
    log = make_log([0, 0.5, 1], v=Channel(values))
    assert log.aligned("v") is values
    assert "v" in log
    assert "w" not in log
    assert len(log) == 3


def test_a_break_is_longer_than_one_and_a_half_intervals():
    assert make_log([0, 0.5, 1.25, 2.01, 2.5, 9]).breaks.tolist() == [2, 4]
    assert make_log([7]).breaks.tolist() == []
    unknown = FlightLog(np.array([0.0, 0.5, 1.0]), {}, Source(Path("made.csv")))
    assert unknown.breaks.tolist() == [0, 1]


def test_a_slow_channel_is_held_until_its_next_sample():
    log = make_log(np.arange(6) / 2, v=slow([10, 20, 30], [0, 2, 4]))
    assert log.aligned("v").tolist() == [10, 10, 20, 20, 30, 30]


def test_nothing_is_known_before_its_first_sample():
    log = make_log(np.arange(4) / 2, v=slow([10], [2]))
    np.testing.assert_array_equal(log.aligned("v"), [NAN, NAN, 10, 10])


def test_held_for_less_than_one_and_a_half_of_its_own_intervals():
    # Recorded at 0 and 4 s; between, it holds up to but not at 1.5 s.
    log = make_log(np.arange(10) / 2, v=slow([10, 20], [0, 8]))
    np.testing.assert_array_equal(log.aligned("v"),
                                  [10, 10, 10, NAN, NAN, NAN, NAN, NAN, 20, 20])


def test_not_held_across_a_gap_of_the_log():
    log = make_log([0, 0.5, 100, 100.5, 101], v=slow([10, 20], [0, 4]))
    np.testing.assert_array_equal(log.aligned("v"), [10, 10, NAN, NAN, 20])


def test_a_missing_sample_of_a_slow_channel_is_missing_as_long():
    log = make_log(np.arange(6) / 2, v=slow([10, NAN, 30], [0, 2, 4]))
    np.testing.assert_array_equal(log.aligned("v"), [10, 10, NAN, NAN, 30, 30])


def test_a_lone_sample_of_a_slow_channel_stands_at_its_row():
    log = make_log(np.arange(4) / 2, v=slow([10], [1], NAN))
    np.testing.assert_array_equal(log.aligned("v"), [NAN, 10, NAN, NAN])


def test_a_smooth_channel_is_interpolated_between_its_samples():
    log = make_log(np.arange(6) / 2, mach=slow([0.5, 0.6, 0.4], [0, 2, 4]))
    assert log.aligned("mach") == pytest.approx([0.5, 0.55, 0.6, 0.5, 0.4, 0.4])
    assert log.recorded("mach").tolist() == [True, False, True, False, True, False]


def test_states_and_angles_that_start_again_are_held():
    for name in ("gear_down", "heading", "flap_lever", "altimeter_setting", "track_2"):
        log = make_log(np.arange(4) / 2, **{name: slow([1, 3], [0, 2])})
        assert log.aligned(name).tolist() == [1, 1, 3, 3]


def test_not_interpolated_across_one_and_a_half_intervals_nor_to_a_missing_sample():
    log = make_log(np.arange(10) / 2, mach_2=slow([0.5, 0.6, NAN], [0, 3, 5]))
    np.testing.assert_array_equal(log.aligned("mach_2"), [
        0.5, 0.5, 0.5, 0.6, 0.6, NAN, NAN, NAN, NAN, NAN])


def test_a_lag_is_taken_off_the_time_of_a_channel():
    # What stands at row i was true at i - 0.25: at i it had moved on by a quarter of a step.
    time = np.arange(4.0)
    brought = aligned(time, time - 0.25, np.array([0.5, 0.6, 0.7, 0.8]), 1.0, smooth=True)
    assert brought == pytest.approx([0.525, 0.625, 0.725, 0.8])


def test_a_skew_is_added_to_the_time_of_a_channel():
    time = np.arange(4.0)
    brought = aligned(time, time + 0.25, np.array([0.5, 0.6, 0.7, 0.8]), 1.0, smooth=True)
    np.testing.assert_allclose(brought, [NAN, 0.575, 0.675, 0.775])


def test_a_skewed_state_is_held_not_interpolated():
    time = np.arange(4.0)
    brought = aligned(time, time + 0.25, np.array([0.0, 1, 1, 0]), 1.0, smooth=False)
    np.testing.assert_array_equal(brought, [NAN, 0, 1, 1])


def test_a_skewed_channel_is_not_interpolated_across_a_gap():
    time = np.array([0.0, 1, 60])
    brought = aligned(time, time - 0.5, np.array([0.5, 0.6, 0.7]), 1.0, smooth=True)
    np.testing.assert_allclose(brought, [0.55, 0.6, 0.7])


def test_what_is_not_to_be_held_is_interpolated_or_nothing():
    time = np.arange(4.0)
    brought = aligned(time, time - 0.5, np.array([0.5, 0.6, NAN, 0.8]), 1.0, True, hold=False)
    np.testing.assert_allclose(brought, [0.55, NAN, NAN, NAN])


def test_a_shifted_channel_was_recorded_at_no_row():
    log = make_log([0, 1], mach=Channel(np.array([0.5, 0.6]), skew_s=0.25, shifted=True))
    assert not log.recorded("mach").any()


def test_a_channel_that_is_not_there():
    with pytest.raises(KeyError):
        make_log([0]).aligned("v")


def test_a_log_is_frozen():
    given = {"v": Channel(np.zeros(1))}
    log = make_log([0], **given)
    with pytest.raises(TypeError):
        log.channels["w"] = given["v"]
    with pytest.raises(AttributeError):
        log.interval_s = 1.0


@pytest.fixture
def source(tmp_path):
    path = tmp_path / "flight.csv"
    path.write_bytes(b"time,ias\n0,200\n")
    state = path.stat()
    return Source(path, state.st_size, state.st_mtime_ns)


def test_the_hash_of_the_bytes(source):
    assert source.sha256 == hashlib.sha256(b"time,ias\n0,200\n").hexdigest()


def test_the_hash_of_a_file_that_grew_is_refused(source):
    with source.path.open("ab") as stream:
        stream.write(b"1,201\n")
    os.utime(source.path, ns=(source.modified_ns, source.modified_ns))
    with pytest.raises(Problem, match="the file changed"):
        _ = source.sha256


def test_the_hash_of_a_file_written_anew_is_refused(source):
    source.path.write_bytes(b"time,ias\n0,299\n")
    os.utime(source.path, ns=(source.modified_ns + 10**9, source.modified_ns + 10**9))
    with pytest.raises(Problem, match="the file changed") as caught:
        _ = source.sha256
    assert str(source.path) in str(caught.value)
    assert "again" in caught.value.hint


def test_the_hash_of_a_deleted_file_is_refused(source):
    source.path.unlink()
    with pytest.raises(Problem, match="the file no longer exists"):
        _ = source.sha256

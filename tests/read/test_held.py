"""Channels held between their samples, and what must not be mistaken for one."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze.read.repair.sample_and_hold import blank_between, held_between
from loganalyze.read.repair.split_words import joined, unwrapped

RNG = np.random.default_rng(5)
CLIMB = 3000 + np.cumsum(RNG.uniform(5, 15, 200))


@pytest.mark.parametrize("beat", [2, 3, 4, 8, 16])
def test_a_held_channel_is_recorded_once_a_beat(beat):
    rows, found = held_between(np.repeat(CLIMB, beat))
    assert found == beat
    assert rows.tolist() == list(range(0, 200 * beat, beat))


def test_the_beat_may_begin_anywhere():
    rows, beat = held_between(np.repeat(CLIMB, 4)[3:])
    assert beat == 4
    assert rows.tolist() == list(range(1, 797, 4))


def test_a_value_that_comes_again_was_recorded_again():
    values = CLIMB.copy()
    values[50:53] = values[50]
    rows, _ = held_between(np.repeat(values, 4))
    assert rows.tolist() == list(range(0, 800, 4))


def test_rows_that_were_lost_break_the_beat_once():
    values = np.delete(np.repeat(CLIMB, 4), [101])
    rows, beat = held_between(values)
    assert beat == 4
    assert abs(len(rows) - 200) <= 1


def test_a_long_channel_is_told_from_parts_of_it():
    values = np.repeat(np.cumsum(RNG.uniform(-1, 1, 100_000)), 4)
    rows, beat = held_between(values)
    assert beat == 4
    assert len(rows) == 100_000
    assert held_between(np.cumsum(RNG.uniform(-1, 1, 400_000))) is None


LEVEL = np.full(4000, 35000.0)
SLOWLY = np.round(np.cumsum(RNG.normal(0, 0.05, 4000)))
CREEP = np.floor(np.arange(4000) * 0.237)
NOISY = np.round(35000 + RNG.normal(0, 0.4, 4000))
LEVERS = np.repeat([0.0, 5, 15, 30, 15, 5, 0], [371, 92, 44, 180, 12, 601, 700])


RAMP = np.floor(np.arange(1200) * 25 / 100) * 100
"""1,500 ft/min at 1 Hz in steps of 100 ft: each value lasts four rows."""
CLIMB_AND_DESCENT = np.concatenate([
    RAMP, np.full(1800, RAMP[-1]), RAMP[-1] - np.floor(np.arange(2000) * 12.5 / 100) * 100])
"""Level in between, and down at half the rate: each value lasts eight rows."""
BY_TWO_HERTZ = np.floor(np.arange(2400) / 2 * 1.0 / 3) * 1.0
"""An airspeed in steps of 1 kt that rises by 1 kt each three seconds, at 2 Hz."""


@pytest.mark.parametrize("values", [
    LEVEL, SLOWLY, CREEP, NOISY, LEVERS, CLIMB, np.full(4000, np.nan), np.arange(5.0),
    RAMP, CLIMB_AND_DESCENT, BY_TWO_HERTZ, -RAMP * 0.3048,
], ids=["level cruise", "slow drift", "creep", "noise", "levers", "every row", "blank", "short",
        "ramp", "climb and descent", "two hertz", "metres"])
def test_what_is_not_held(values):
    assert held_between(values) is None


def test_a_ramp_is_held_where_another_channel_is_held_at_its_rows():
    assert held_between(RAMP, lambda: [(3, 0), (4, 1)]) is None
    rows, beat = held_between(RAMP, lambda: [(8, 4)])
    assert beat == 4
    assert rows.tolist() == list(range(0, 1200, 4))


@pytest.mark.parametrize("quantum", [1.0, 4.0, 25.0])
def test_a_held_channel_in_coarse_steps_keeps_its_beat(quantum):
    signal = np.cumsum(np.random.default_rng(8).normal(0, quantum, 500)) + 3000
    rows, beat = held_between(np.repeat(np.round(signal / quantum) * quantum, 4))
    assert beat == 4
    assert rows.tolist() == list(range(0, 2000, 4))


def test_a_level_cruise_between_two_climbs_stays_recorded_at_every_row():
    values = np.concatenate([CLIMB, np.full(3000, CLIMB[-1]), CLIMB[::-1]])
    assert held_between(values) is None


def test_a_held_channel_in_level_cruise_keeps_its_beat():
    values = np.repeat(np.concatenate([CLIMB, np.full(300, CLIMB[-1]), CLIMB[::-1]]), 4)
    rows, _ = held_between(values)
    assert rows.tolist() == list(range(0, len(values), 4))


@pytest.mark.parametrize(("moving", "held"), [(150, True), (400, False), (3000, False)])
def test_rows_that_change_one_after_the_other_show_that_nothing_is_held(moving, held):
    values = np.repeat(np.cumsum(RNG.uniform(-1, 1, 12_000)), 4)
    middle = len(values) // 2
    values[middle : middle + moving] = np.cumsum(RNG.uniform(-1, 1, moving))
    assert (held_between(values) is not None) == held  # 2 % of all changes are 240.


def test_blank_between():
    values = np.full(100, np.nan)
    values[3::4] = 1.0
    assert blank_between(values).tolist() == list(range(3, 100, 4))
    values[::2] = 1.0
    assert blank_between(values) is None


def test_coarse_and_fine_words_join():
    value = np.arange(0, 9000, 37.0)
    coarse = value + 300 * np.sin(value)
    np.testing.assert_allclose(joined(coarse, value % 1000, 1000), value)


def test_words_that_can_not_tell_the_turn_give_nothing():
    assert np.isnan(joined(np.array([1490.0]), np.array([0.0]), 1000)).all()
    assert joined(np.array([1400.0]), np.array([0.0]), 1000).tolist() == [1000]


def test_a_value_that_starts_again_runs_on_both_ways():
    truth = np.concatenate([np.arange(0, 9000, 100.0), np.arange(9000, -1, -100.0)])
    value, lost = unwrapped(truth % 4096, np.arange(len(truth)) * 1.0, 4096, 10)
    np.testing.assert_allclose(value, truth)
    assert lost == 0


def test_over_a_long_gap_a_value_may_have_turned_unseen():
    value, lost = unwrapped(np.array([4000.0, 50, 100]), np.array([0.0, 1, 60]), 4096, 10)
    np.testing.assert_array_equal(value, [4000, 4146, np.nan])
    assert lost == 1


def test_a_lone_fault_does_not_turn_the_count():
    value, _ = unwrapped(np.array([4000.0, 4010, 3, 4030, 4040]), np.arange(5.0), 4096, 10)
    assert value[[0, 1, 3, 4]].tolist() == [4000, 4010, 4030, 4040]

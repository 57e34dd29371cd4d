"""The algebra of half-open intervals, by hand and against a grid."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loganalyze import Intervals

NAN = math.nan
GRID = np.arange(-1, 22, 0.5)  # every edge below is whole, so each half tells one piece

pairs = st.lists(
    st.tuples(st.integers(0, 20), st.integers(0, 20)).map(lambda pair: tuple(sorted(pair))),
    max_size=8)


def spans(*edges):
    return Intervals.of(edges)


def on_grid(edges):
    return np.any([(a <= GRID) & (b > GRID) for a, b in edges], axis=0) | np.zeros(len(GRID), bool)


def assert_sound(got):
    flat = got.edges.ravel()
    assert got.edges.shape == (len(got), 2)
    assert (np.diff(flat) > 0).all()


def test_made_from_pairs_in_any_order():
    assert list(spans((5, 6), (1, 3), (2, 4))) == [(1, 4), (5, 6)]
    assert list(spans((1, 2), (2, 3))) == [(1, 3)]  # they touch
    assert list(spans((1, 5), (2, 3))) == [(1, 5)]
    assert list(spans((1, 1))) == []
    assert len(spans()) == 0


@pytest.mark.parametrize("pair", [(2, 1), (NAN, 1), (1, NAN)])
def test_no_interval(pair):
    with pytest.raises(ValueError, match="an end that isn't before it"):
        spans(pair)


def test_the_start_is_inside_and_the_end_is_not():
    got = spans((1, 2), (3, 4))
    assert got.contains([0.9, 1, 1.9, 2, 2.5, 3, 4, NAN]).tolist() == [
        False, True, True, False, False, True, False, False]
    assert got.contains(1.5)
    assert got.contains([[1, 2], [3, 4]]).shape == (2, 2)
    assert not spans().contains([1.0]).any()


def test_by_hand():
    a, b = spans((0, 4), (6, 8)), spans((2, 7))
    assert a | b == spans((0, 8))
    assert a & b == spans((2, 4), (6, 7))
    assert a - b == spans((0, 2), (7, 8))
    assert b - a == spans((4, 6))
    assert a & spans() == spans()
    assert a - spans() == a
    assert a | spans() == a
    assert spans() - a == spans()
    assert spans((0, 1)) & spans((1, 2)) == spans()  # neighbours share no instant
    assert a != b
    assert a != "intervals"
    assert a.duration == 6
    assert spans().duration == 0


@given(first=pairs, second=pairs)
def test_against_a_grid(first, second):
    a, b = Intervals.of(first), Intervals.of(second)
    in_a, in_b = on_grid(first), on_grid(second)
    for got, want in ((a, in_a), (a | b, in_a | in_b), (a & b, in_a & in_b), (a - b, in_a & ~in_b)):
        assert_sound(got)
        np.testing.assert_array_equal(got.contains(GRID), want)
        assert got.duration == want.sum() / 2


@given(first=pairs, second=pairs, third=pairs)
def test_laws(first, second, third):
    a, b, c = (Intervals.of(some) for some in (first, second, third))
    assert a | b == b | a
    assert a & (b | c) == (a & b) | (a & c)
    assert a - (b | c) == (a - b) & (a - c)
    assert (a - b) | (a & b) == a
    assert math.isclose((a | b).duration, a.duration + b.duration - (a & b).duration)


def of_mask(mask, time, interval=1.0):
    return list(Intervals.from_mask(np.array(mask, dtype=bool), time, interval))


def test_a_sample_stands_until_the_next():
    assert of_mask([0, 1, 1, 0, 1, 0], range(6)) == [(1, 3), (4, 5)]


def test_the_last_sample_stands_for_one_interval():
    assert of_mask([0, 0, 1], [0, 1, 2]) == [(2, 3)]
    assert of_mask([1], [7], 0.25) == [(7, 7.25)]


def test_a_sample_stands_for_a_gap_no_longer_than_one_and_a_half_intervals():
    assert of_mask([1, 1, 1], [0, 1, 9]) == [(0, 2.5), (9, 10)]
    assert of_mask([1, 0], [0, 9]) == [(0, 1.5)]
    assert of_mask([1, 1], [0, 1.5]) == [(0, 2.5)]  # just no gap


def test_irregular_time():
    assert of_mask([0, 1, 1, 0], [0, 0.7, 1.9, 2.2]) == [(0.7, 2.2)]


def test_nothing_true():
    assert of_mask([0, 0], [0, 1]) == []
    assert of_mask([], []) == []


@given(
    steps=st.lists(st.sampled_from([0.5, 1.0, 1.5, 2.0, 5.0]), min_size=1, max_size=30),
    seed=st.integers(0, 2**32 - 1),
)
def test_from_mask_against_each_sample_on_its_own(steps, seed):
    time = np.cumsum(steps)
    mask = np.random.default_rng(seed).random(len(time)) < 0.5
    ends = np.append(np.minimum(time[1:], time[:-1] + 1.5), time[-1] + 1.0)
    want = Intervals.of((t, end) for t, end, true in zip(time, ends, mask, strict=True) if true)
    got = Intervals.from_mask(mask, time, 1.0)
    assert got == want
    assert got.duration == pytest.approx((ends - time)[mask].sum())

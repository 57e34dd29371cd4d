"""Rows gathered piece by piece with their clock, and what is noted of their steps on the way."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pytest

from loganalyze.read.clocks.time_codes import MISSING, Clock, Form, normal_interval
from loganalyze.read.files import row_batches
from loganalyze.read.files.row_batches import RowBatch, Rows
from loganalyze.read.repair import fill_values
from loganalyze.record import threads
from loganalyze.record.buffers import pooled
from loganalyze.record.units import KNOT, find_unit

RATE = 20 * KNOT


def gathered(time: np.ndarray, kt: np.ndarray, cuts: list[int], watched: bool = True) -> Rows:
    rows = Rows([find_unit("kt")], len(time) + 5, [0] if watched else [])
    for start, stop in zip([0, *cuts], [*cuts, len(time)], strict=True):
        rows.add(time[start:stop], RowBatch(time[start:stop], [pa.array(
            kt[start:stop], mask=np.isnan(kt[start:stop]))]))
    return rows


def with_plateaus(rng: np.random.Generator, n: int) -> np.ndarray:
    """A noisy speed with stretches of a fill value, lone spikes and blanks."""
    kt = 200 + np.cumsum(rng.normal(0, 0.3, n))
    for _ in range(int(rng.integers(0, 5))):
        start, many = int(rng.integers(0, n)), int(rng.integers(1, 9))
        kt[start : start + many] = rng.choice([511.9, 409.5])
    kt[rng.random(n) < rng.choice([0, 0.02])] = np.nan
    return kt


@pytest.mark.parametrize("turn", range(60))
def test_what_was_noted_finds_what_a_look_at_every_row_finds(turn, monkeypatch):
    rng = np.random.default_rng(turn)
    monkeypatch.setattr(row_batches, "BLOCK", int(rng.integers(4, 40)))
    n = int(rng.integers(2, 300))
    time = np.cumsum(rng.choice([0.25, 0.25, 0.25, 3.0], n))
    kt = with_plateaus(rng, n)
    whole = gathered(time, kt, sorted(rng.integers(0, n, 3).tolist()))
    start, stop = sorted(rng.integers(0, n + 1, 2).tolist())
    for rows in (whole, whole.before(start, stop), whole.after(start)):
        looks = rows.looks(0, RATE)
        assert looks is not None
        # A blank anywhere may be noted of a part without one, never the other way.
        assert not (rows.filled(0) and np.isnan(rows.values[0]).any())
        assert rows.filled(0) == (not np.isnan(kt).any())
        if len(rows):
            # Every row once, in order.
            assert [look[0] for look in looks] == [0, *(look[1] for look in looks[:-1])]
            assert looks[-1][1] == len(rows)
        plain = fill_values.plateaus(rows.values[0], rows.time, RATE)
        assert (
            fill_values.plateaus(rows.values[0], rows.time, RATE, looks).tolist() == plain.tolist()
        )


@pytest.mark.parametrize("turn", range(40))
def test_up_to_the_rows_told_of_the_time_is_steady(turn, monkeypatch):
    rng = np.random.default_rng(turn)
    monkeypatch.setattr(row_batches, "BLOCK", int(rng.integers(2, 40)))
    n = int(rng.integers(2, 200))
    odd = rng.random(n) < rng.choice([0, 0.01, 0.1])
    time = np.cumsum(np.where(odd, rng.choice([0.0, -1.0, 9.0, np.nan], n), 1.0))
    rows = gathered(time, np.full(n, 200.0), sorted(rng.integers(0, n, 3).tolist()))
    row = int(rng.integers(1, n))
    with np.errstate(invalid="ignore"):
        fine = (np.diff(time) > 0) & (np.diff(time) <= 5)
    found = rows.unsteady(row, 5.0)
    first, last = found or (n, n)
    assert fine[row - 1 : max(first, row) - 1].all()
    if found is None:
        assert fine[row - 1 :].all()
    else:
        assert row <= first < last
        # The block that they end with holds what is told of, though it may lie before `row`.
        assert not fine[max(last - row_batches.BLOCK, 1) - 1 : last - 1].all()


def test_a_calm_channel_needs_no_look():
    time = np.arange(200_000) / 4
    rows = gathered(time, 200 + np.sin(time), [70_000])
    looks = rows.looks(0, RATE)
    assert looks is not None
    assert {look[2] for look in looks} == {np.inf}
    assert len(looks) > 2


def test_nothing_is_told_of_what_isnt_watched_or_of_a_time_that_falls():
    time = np.array([0.0, 1.0, 2.0, 0.5, 1.5])
    assert gathered(time, time, []).looks(0, RATE) is None
    assert gathered(np.arange(5.0), time, [], watched=False).looks(0, RATE) is None


def test_a_part_before_the_fall_of_the_time_is_told_of():
    time = np.array([0.0, 1.0, 2.0, 0.5, 1.5])
    kt = np.array([200.0, 201.0, 202.0, 300.0, 301.0])
    rows = gathered(time, kt, [3])
    assert not rows.rising
    for part in (rows.before(0, 3), rows.after(3)):
        assert part.rising
        assert part.looks(0, RATE) is not None


def test_on_one_thread_nothing_runs_elsewhere():
    here = threading.get_ident()
    with threads.one_thread():
        assert threads.threads(8) == 1
        assert set(threads.side_by_side([threading.get_ident] * 3)) == {here}
        assert set(threads.in_order([threading.get_ident] * 3)) == {here}
        assert list(threads.one_ahead(threading.get_ident() for _ in range(2))) == [here] * 2
    assert here not in threads.in_order([threading.get_ident] * 3)


@pytest.mark.parametrize("ahead", [1, 2, 7])
def test_tasks_give_their_results_in_order_however_many_are_ahead(ahead):
    def task(i: int) -> Callable[[], int]:
        return lambda: i

    assert list(threads.in_order(map(task, range(50)), ahead)) == list(range(50))


def test_rows_gathered_in_any_memory_are_the_same():
    time = np.arange(100.0)
    for supply in (np.empty, pooled):
        rows = Rows([find_unit("kt")], 50, supply=supply)  # It grows.
        rows.add(time, RowBatch(time, [pa.array(time)]))
        assert np.array_equal(rows.values[0], time * KNOT)


def test_one_ahead_gives_all_in_order_and_hands_on_what_is_raised():
    def items():
        yield from range(1, 30)
        raise ValueError("the 30th")

    coming = threads.one_ahead(items())
    assert [next(coming) for _ in range(29)] == list(range(1, 30))
    with pytest.raises(ValueError, match="the 30th"):
        next(coming)
    stopped = threads.one_ahead(iter(range(1, 5)))
    assert next(stopped) == 1
    stopped.close()
    assert list(threads.one_ahead(iter(range(1, 5)))) == [1, 2, 3, 4]


@pytest.mark.parametrize("blank", [0, 1, 60, 63, 64, 500])
@pytest.mark.parametrize("missing", [MISSING, np.nan])
def test_elapsed_time_counts_from_the_first_stamp_however_late_it_is(blank, missing):
    ticks = np.concatenate([[missing] * blank, 5000 + 250 * np.arange(100)])
    ticks = ticks.astype(np.float64 if np.isnan(missing) else np.int64)
    clock = Clock(Form(1000.0, "elapsed ms"))
    elapsed = clock.elapsed(ticks)
    assert clock.first == 5000
    assert np.isnan(elapsed[:blank]).all()
    np.testing.assert_array_equal(elapsed[blank:], 0.25 * np.arange(100))


def test_without_a_stamp_there_is_no_time():
    assert np.isnan(Clock(Form(1.0, "elapsed s")).elapsed(np.full(100, np.nan))).all()


@pytest.mark.parametrize("turn", range(60))
def test_the_normal_interval_is_the_median_step(turn):
    rng = np.random.default_rng(turn)
    spread = rng.choice([0, 0.1, 0.45, 0.5, 0.55, 1])
    steps = np.where(rng.random(rng.integers(1, 400)) < spread,
                     rng.choice([0.125, 0.3, 1.0]), 0.25)
    steps = np.where(rng.random(len(steps)) < rng.choice([0, 0.2]), rng.random(len(steps)), steps)
    time = np.cumsum(np.append(0, steps))
    assert normal_interval(time) == np.median(np.diff(time))

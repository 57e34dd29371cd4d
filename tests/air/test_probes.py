"""Correction tables and their inverse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loganalyze import CorrectionTable

TABLE = CorrectionTable(np.array([40.0, 60.0, 100.0]), np.array([2.0, -1.0, 3.0]))


def test_linear_between_and_unknown_outside() -> None:
    np.testing.assert_array_equal(
        TABLE.corrected([39.9, 40.0, 50.0, 60.0, 80.0, 100.0, 100.1, np.nan]),
        [np.nan, 42.0, 50.5, 59.0, 81.0, 103.0, np.nan, np.nan],
    )
    np.testing.assert_allclose(
        TABLE.uncorrected([41.9, 42.0, 50.5, 59.0, 81.0, 103.0, 103.1, np.nan]),
        [np.nan, 40.0, 50.0, 60.0, 80.0, 100.0, np.nan, np.nan],
        rtol=1e-14,
    )


def test_shapes() -> None:
    assert type(TABLE.corrected(50.0)) is np.float64
    assert type(TABLE.uncorrected(50.0)) is np.float64
    for shape in ((0,), (2, 3)):
        assert TABLE.corrected(np.full(shape, 50.0)).shape == shape
        assert TABLE.uncorrected(np.full(shape, 50.0)).shape == shape


@given(st.floats(40.0, 100.0))
def test_the_speed_read_comes_back(speed: float) -> None:
    assert TABLE.uncorrected(TABLE.corrected(speed)) == pytest.approx(speed, rel=1e-14)


@given(st.floats(40.0, 100.0))
def test_a_table_of_zeros_changes_nothing(speed: float) -> None:
    zeros = CorrectionTable(np.array([40.0, 70.0, 100.0]), np.zeros(3))
    assert zeros.corrected(speed) == speed == zeros.uncorrected(speed)


def test_a_table_keeps_its_own_frozen_copy() -> None:
    at, add = np.array([1.0, 2.0]), np.array([0.5, 0.5])
    table = CorrectionTable(at, add)
    at[0] = 1.5
    assert table.at[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        table.add[0] = 0.0


def test_a_table_may_begin_at_rest() -> None:
    for at, add in (([0.0, 50.0], [0.0, 1.0]), ([2.0, 50.0], [-2.0, 1.0])):
        assert CorrectionTable(np.array(at), np.array(add)).corrected(at[0]) == 0.0


@pytest.mark.parametrize(
    ("at", "add", "why"),
    [
        ([40.0], [1.0], "two or more"),
        ([40.0, 50.0], [1.0], "two or more"),
        ([[40.0, 50.0]], [[1.0, 1.0]], "two or more"),
        ([40.0, np.nan], [1.0, 1.0], "finite"),
        ([40.0, 50.0], [1.0, np.inf], "finite"),
        ([-1.0, 50.0], [1.0, 1.0], "negative"),
        ([1.0, 50.0], [-2.0, 1.0], "negative"),
        ([50.0, 40.0], [1.0, 1.0], "speeds of a correction table must rise"),
        ([40.0, 40.0], [1.0, 2.0], "speeds of a correction table must rise"),
        ([40.0, 50.0], [20.0, 10.0], "corrected speeds of a correction table must rise"),
    ],
)
def test_a_table_that_cannot_be_undone_is_refused(at, add, why) -> None:
    with pytest.raises(ValueError, match=why):
        CorrectionTable(np.array(at), np.array(add))

"""Tabulated functions: accuracy, kinks at cell boundaries, the ends, and what is refused."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from loganalyze.air import atmosphere
from loganalyze.air.piecewise import PiecewiseQuadratic

STEP = 8.0
COUNT = round((atmosphere.HIGHEST - atmosphere.LOWEST) / STEP)
DELTA = PiecewiseQuadratic.of(atmosphere.pressure_ratio, atmosphere.LOWEST, STEP, COUNT)


def evaluate(cells: PiecewiseQuadratic, x: np.ndarray, index_type: type = np.int32) -> np.ndarray:
    index = np.empty(x.shape, index_type)
    offset, out, scratch = np.empty_like(x), np.empty_like(x), np.empty_like(x)
    cells.locate(x, index, offset)
    cells.evaluate(index, offset, out, scratch)
    return out


@pytest.mark.parametrize("index_type", [np.int32, np.intp])
def test_pressure_ratio_in_eight_metre_cells(index_type: type) -> None:
    rng = np.random.default_rng(0)
    x = np.concatenate(
        [
            rng.uniform(atmosphere.LOWEST, atmosphere.HIGHEST, 200_000),
            atmosphere.LOWEST + STEP * np.arange(COUNT + 1),
            np.nextafter(11000.0, [0.0, 1e5]),
            np.nextafter(20000.0, [0.0, 1e5]),
        ]
    )
    exact = atmosphere.pressure_ratio(x)
    assert np.max(np.abs(evaluate(DELTA, x, index_type) / exact - 1.0)) < 1e-10


def test_a_parabola_comes_back() -> None:
    cells = PiecewiseQuadratic.of(lambda x: 3.0 - 2.0 * x + 0.5 * x * x, -1.0, 0.25, 8)
    x = np.linspace(-1.0, 1.0, 1001)
    np.testing.assert_allclose(evaluate(cells, x), 3.0 - 2.0 * x + 0.5 * x * x, rtol=1e-14)
    assert cells.stop == 1.0


def test_a_cubic_is_met_as_nearly_as_parabolas_can_and_up_to_the_very_end() -> None:
    step = 0.5
    cells = PiecewiseQuadratic.of(lambda x: x**3, -1.0, step, 4)
    x = np.linspace(-1.0, 1.0, 4001)
    # Chebyshev's nodes leave the least greatest error: a 32nd of the cube of the width.
    assert np.max(np.abs(evaluate(cells, x) - x**3)) == pytest.approx(step**3 / 32, rel=1e-3)
    below, end = evaluate(cells, np.array([1.0 - 1e-12, 1.0]))
    assert end == pytest.approx(below, abs=1e-10)


@pytest.mark.parametrize("parts", [1, 2, 5])
def test_straight_parts_of_a_parabola(parts: int) -> None:
    step, curvature = 0.25, 3.0
    cells = PiecewiseQuadratic.of(lambda x: 3.0 - 2.0 * x + curvature / 2 * x * x, -1.0, step, 8)
    straight = cells.straightened(parts)
    width = step / parts
    centre = -1.0 + width * (np.arange(8 * parts) + 0.5)
    for share in (-0.5, -0.25, 0.0, 0.4999):
        # A line along the tangent at the middle, 1/32 of the bend outside of it.
        line = (3.0 - 2.0 * centre + curvature / 2 * centre**2 + curvature * width**2 / 32
                + (curvature * centre - 2.0) * share * width)
        got = evaluate(straight, centre + share * width)
        np.testing.assert_allclose(got, line, rtol=1e-12)
        exact = 3.0 - 2.0 * (centre + share * width) + curvature / 2 * (centre + share * width)**2
        assert np.max(np.abs(got - exact)) <= 3 / 32 * curvature * width**2 * (1 + 1e-9)
    assert straight.stop == cells.stop
    assert evaluate(straight, np.array([1.0]))[0] == pytest.approx(2.5, abs=0.1 * width)
    with pytest.raises(ValueError, match="piecewise linear already"):
        straight.straightened(2)
    for coefficient in (straight.value, straight.slope):
        assert not coefficient.flags.writeable


def test_a_kink_at_a_cell_boundary_is_exact() -> None:
    cells = PiecewiseQuadratic.of(np.abs, -2.0, 0.5, 8)
    x = np.linspace(-2.0, 2.0, 999)
    np.testing.assert_allclose(evaluate(cells, x), np.abs(x), rtol=0.0, atol=1e-15)


def test_nan_stays_nan_and_its_neighbours_stand() -> None:
    result = evaluate(DELTA, np.array([0.0, np.nan, 11000.0]))
    assert np.isnan(result[1])
    np.testing.assert_allclose(
        result[[0, 2]], atmosphere.pressure_ratio([0.0, 11000.0]), rtol=1e-10
    )


def test_a_cell_where_the_function_is_nan_is_nan_alone() -> None:
    cells = PiecewiseQuadratic.of(lambda x: np.where((x > 1.0) & (x < 2.0), np.nan, x), 0.0, 1.0, 4)
    result = evaluate(cells, np.array([0.5, 1.5, 2.5, 4.0]))
    np.testing.assert_allclose(result, [0.5, np.nan, 2.5, 4.0], rtol=1e-15)


def test_empty() -> None:
    assert evaluate(DELTA, np.empty(0)).shape == (0,)


def test_offset_may_take_the_place_of_the_points() -> None:
    x = np.array([-4999.0, 3.0, 31999.0])
    exact, index, out = atmosphere.pressure_ratio(x), np.empty(3, np.intp), np.empty(3)
    DELTA.locate(x, index, x)
    DELTA.evaluate(index, x, out, np.empty(3))
    np.testing.assert_allclose(out, exact, rtol=1e-10)
    assert np.all((x >= -0.5) & (x < 0.5))


def test_no_array_is_allocated_in_the_loop() -> None:
    x = np.linspace(atmosphere.LOWEST, atmosphere.HIGHEST, 131_072)
    index = np.empty(x.shape, np.intp)
    offset, out, scratch = np.empty_like(x), np.empty_like(x), np.empty_like(x)
    tracemalloc.start()
    try:
        DELTA.locate(x, index, offset)
        DELTA.evaluate(index, offset, out, scratch)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    # What remains is NumPy's own buffer for mixed types, 64 KiB whatever the length.
    assert peak < x.nbytes / 8


@pytest.mark.parametrize("outside", [-5000.001, 32000.001, np.inf, -np.inf])
def test_outside_the_table_is_refused(outside: float) -> None:
    with pytest.raises(ValueError, match="outside the tabulated range"):
        evaluate(DELTA, np.array([0.0, np.nan, outside]))


def test_tables_that_make_no_sense_are_refused() -> None:
    for step, count in ((0.0, 3), (-1.0, 3), (np.nan, 3), (1.0, 0)):
        with pytest.raises(ValueError, match="positive step"):
            PiecewiseQuadratic.of(np.exp, 0.0, step, count)
    with pytest.raises(ValueError, match="infinite"):
        PiecewiseQuadratic.of(lambda x: np.where(x > 1.0, np.inf, x), 0.0, 1.0, 2)


def test_one_cell_is_a_table() -> None:
    cells = PiecewiseQuadratic.of(lambda x: x * x, 0.0, 1.0, 1)
    got = evaluate(cells, np.array([0.0, 0.5, 1.0]))
    np.testing.assert_allclose(got, [0.0, 0.25, 1.0], atol=1e-15)


def test_a_table_is_frozen() -> None:
    cells = PiecewiseQuadratic.of(lambda x: x * x, 0.0, 1.0, 3)
    for coefficient in (cells.value, cells.slope, cells.curvature):
        with pytest.raises(ValueError, match="read-only"):
            coefficient[0] = 0.0

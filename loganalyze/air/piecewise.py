"""Piecewise quadratic approximation of a function of one variable, for fast evaluation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.validity import Floats

# Chebyshev nodes of degree three on [-1/2, 1/2]: 0 and +- this.
_NODE = np.sqrt(3.0) / 4.0


@dataclass(frozen=True, eq=False, slots=True)
class PiecewiseQuadratic:
    """A smooth function as one parabola per cell, all cells of equal width.

    The parabolas are fitted inside each cell alone, so a kink of the function at a cell boundary
    costs no accuracy. Neighbouring parabolas meet to within the fitting error, not exactly.

    Attributes
    ----------
    start : float
        Lower end of the first cell, in the unit of the variable.
    step : float
        Width of a cell, in the unit of the variable.
    value, slope, curvature : ndarray of float64, shape (count + 1,)
        Coefficients of 1, u and u**2, where u in [-1/2, 1/2) is the offset from the cell's centre
        in cell widths. An extra cell continues the last parabola, for the point at ``stop``.
        The curvature is None where the function is piecewise linear.
    """

    start: float
    step: float
    value: Floats
    slope: Floats
    curvature: Floats | None

    @classmethod
    def of(
        cls, function: Callable[[Floats], Floats], start: float, step: float, count: int
    ) -> PiecewiseQuadratic:
        """Tabulate a vectorised function over ``count`` cells from ``start`` on.

        Parameters
        ----------
        function : callable
            Takes and returns a float64 array; called once, with 3 points inside each cell. A cell
            in which it returns NaN evaluates to NaN.
        start, step : float
            Lower end of the first cell and width of a cell; the step is positive.
        count : int
            Number of cells, at least 1.

        Raises
        ------
        ValueError
            If the step or the count isn't positive, or the function is infinite anywhere.
        """
        return cls.through(start, step, function(cls.nodes(start, step, count)))

    @staticmethod
    def nodes(start: float, step: float, count: int) -> Floats:
        """Return the points that the parabolas go through, float64[3, count].

        Raises ValueError if the step or the count isn't positive.
        """
        if not step > 0.0 or count < 1:
            raise ValueError("cells need a positive step and a count of at least 1")
        centre = start + step * (np.arange(count) + 0.5)
        return np.stack([centre - _NODE * step, centre, centre + _NODE * step])

    @classmethod
    def through(cls, start: float, step: float, values: Floats) -> PiecewiseQuadratic:
        """Fit the parabolas to the function's values at their `nodes`, float64[3, count].

        Raises ValueError if a value is infinite.
        """
        below, middle, above = np.asarray(values, dtype=np.float64)
        if np.isinf([below, middle, above]).any():
            raise ValueError("the function is infinite in some cell")
        slope = (above - below) / (2.0 * _NODE)
        curvature = ((above - middle) - (middle - below)) / (2.0 * _NODE**2)
        coefficients = (
            np.append(middle, middle[-1] + slope[-1] + curvature[-1]),
            np.append(slope, slope[-1] + 2.0 * curvature[-1]),
            np.append(curvature, curvature[-1]),
        )
        for coefficient in coefficients:
            coefficient.flags.writeable = False
        return cls(float(start), float(step), *coefficients)

    def straightened(self, parts: int) -> PiecewiseQuadratic:
        """Split each cell into `parts` cells with a straight line each, faster to evaluate.

        The lines run along the parabola's tangents at the middles of the new cells, 1/32 of the
        second derivative times the square of their width outside of it: the error is at most 3/32.
        """
        if self.curvature is None:
            raise ValueError("the function is piecewise linear already")
        centre = (np.arange(parts) + 0.5) / parts - 0.5
        value, slope, curvature = (c[:, None] for c in (self.value, self.slope, self.curvature))
        middle = value + slope * centre + curvature * centre**2 + curvature / (16 * parts**2)
        tilt = (slope + 2 * curvature * centre) / parts
        # The guard cell beyond the end is needed once, not in parts.
        kept = parts * (len(self.value) - 1) + 1
        coefficients = middle.ravel()[:kept].copy(), tilt.ravel()[:kept].copy()
        for coefficient in coefficients:
            coefficient.flags.writeable = False
        return PiecewiseQuadratic(self.start, self.step / parts, *coefficients, None)

    @property
    def stop(self) -> float:
        """Upper end of the last cell."""
        return self.start + self.step * (len(self.value) - 1)

    def locate(self, x: Floats, index: NDArray[Any], offset: Floats) -> None:
        """Find each point's cell and its offset from the cell's centre.

        Parameters
        ----------
        x : ndarray of float64, shape (n,)
            Points in [start, stop]; both ends belong to the table. NaN gives a NaN offset.
        index : ndarray of int32 or intp, shape (n,)
            Receives the cell. With intp ``evaluate`` allocates nothing; NumPy widens int32.
        offset : ndarray of float64, shape (n,)
            Receives the offset [cell widths, -1/2 to 1/2). May be ``x`` itself.

        Raises
        ------
        ValueError
            If a point lies outside the table.
        """
        lowest = np.fmin.reduce(x, axis=None, initial=np.inf)
        highest = np.fmax.reduce(x, axis=None, initial=-np.inf)
        if lowest < self.start or highest > self.stop:
            raise ValueError(f"outside the tabulated range {self.start:g} to {self.stop:g}")
        np.subtract(x, self.start, out=offset)
        np.multiply(offset, 1.0 / self.step, out=offset)
        with np.errstate(invalid="ignore"):  # NaN has no cell; its offset keeps the result NaN
            np.copyto(index, offset, casting="unsafe")
        np.subtract(offset, index, out=offset)
        np.subtract(offset, 0.5, out=offset)

    def evaluate(self, index: NDArray[Any], offset: Floats, out: Floats, scratch: Floats) -> None:
        """Evaluate the function at located points.

        Parameters
        ----------
        index, offset : ndarray, shape (n,)
            As returned by ``locate``.
        out : ndarray of float64, shape (n,)
            Receives the values; NaN where the offset is NaN.
        scratch : ndarray of float64, shape (n,)
            Overwritten.
        """
        # With mode="clip" take writes directly into its output, and gives NaN an arbitrary cell.
        if self.curvature is None:
            np.take(self.slope, index, out=out, mode="clip")
        else:
            np.take(self.curvature, index, out=out, mode="clip")
            np.multiply(out, offset, out=out)
            np.take(self.slope, index, out=scratch, mode="clip")
            np.add(out, scratch, out=out)
        np.multiply(out, offset, out=out)
        np.take(self.value, index, out=scratch, mode="clip")
        np.add(out, scratch, out=out)

"""Validity ranges of the air formulas: values outside are refused, never extrapolated."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Accepted air temperatures [K]: wider than any weather on record, yet narrow enough to refuse
# degrees Celsius passed as kelvin. Total temperature reaches higher by the ram rise.
LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE, HIGHEST_TOTAL_TEMPERATURE = 100.0, 400.0, 2400.0


def within(values: ArrayLike, lowest: float, highest: float, quantity: str) -> Floats:
    """Return the values as float64; raise for any outside the closed range.

    Parameters
    ----------
    values : array_like
        Any shape, in any unit; NaN passes.
    lowest, highest : float
        The range, in the same unit. A value outside it by rounding (1e-12 of the bound) passes.
    quantity : str
        What the values are, for the message.

    Returns
    -------
    ndarray of float64, of the same shape; a float64 scalar for a scalar

    Raises
    ------
    ValueError
        If a value, infinity included, lies outside the range.
    """
    numbers = np.asarray(values, dtype=np.float64)
    slack = 1e-12
    low, high = lowest - slack * abs(lowest), highest + slack * abs(highest)
    smallest = np.fmin.reduce(numbers, axis=None, initial=np.inf)
    greatest = np.fmax.reduce(numbers, axis=None, initial=-np.inf)
    if smallest < low or greatest > high:
        worst = smallest if smallest < low else greatest
        raise ValueError(f"{quantity} {worst:g} is outside {lowest:g} to {highest:g}")
    inside: Floats = numbers[()]  # a scalar as a scalar
    return inside

"""A recorded speed without its noise: the trend and wander that its samples show.

The parts of the series are estimated by `screening.noise_estimation`; what is independent from
value to value is noise, all else was flown. Each coefficient of the cosine transform is then
multiplied by the share of its variance that was flown, which leaves the smallest mean squared
error of all linear estimates [1]_.

References
----------
.. [1] Wiener, Extrapolation, interpolation, and smoothing of stationary time series, MIT Press
   1949, chapter 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loganalyze.record.arrays import Floats
from loganalyze.screening import spectra
from loganalyze.screening.noise_estimation import FEWEST, Fit, despiked

LIKELY = 1e-3
"""Combinations of parts less likely than this, against the likeliest, are left out."""


@dataclass(frozen=True, eq=False)
class Smoothed:
    """A series without its noise, in its own unit.

    ``values`` : float64[n]; ``error`` : their standard error; ``noise`` : standard deviation of
    what was taken off.
    """

    values: Floats
    error: float
    noise: float


def smoothed(values: Floats, interval: float, step: float) -> Smoothed:
    """Take the noise off evenly spaced values.

    Parameters
    ----------
    values : float64[n]
        Without NaN and gaps.
    interval : float  [s]
    step : float
        The recorder's step in the unit of `values`; 0 where there is none. Its rounding error
        counts as noise at least.

    Returns
    -------
    Smoothed
        Fewer than 8 values are returned as they are, with the rounding as their noise.
    """
    least = step / math.sqrt(12.0)
    if len(values) < FEWEST or not np.ptp(values) > 0:
        return Smoothed(values.astype(np.float64), least, least)
    fit = Fit.of(despiked(values, step), interval, least)
    likely = fit.weight > LIKELY * fit.weight.max()
    weight = fit.weight[likely] / fit.weight[likely].sum()
    omega: Floats = np.pi / len(values) * np.arange(1.0, len(values))
    flown = fit.parts.sizes[likely] @ fit.parts.shapes(omega)
    gains = flown / (1.0 + flown)
    kept = np.concatenate([[1.0], weight @ gains])
    error = math.sqrt(float(weight @ (fit.scale[likely] * gains.mean(axis=1))))
    noise = math.sqrt(float(weight @ fit.scale[likely]))
    return Smoothed(fit.line + spectra.from_cosines(kept * fit.coefficients),
                    max(error, noise / math.sqrt(len(values))), max(noise, least))

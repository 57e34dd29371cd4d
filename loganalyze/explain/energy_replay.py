"""Another flight from a flight's own energy: what its speed would have been on another path.

The energy equation of a point mass in air at rest relates what thrust and drag gave the aircraft
to its climb and its acceleration,

    (T - D) / W = w / V + (dV/dt) / g,

T thrust, D drag, W weight, V true airspeed, w rate of climb. A flight shows the right-hand side,
and so the left: no thrust, drag or weight needs to be known. Flown again a little earlier, or a
little less steeply, the same aircraft with the same levers has the same (T - D) / W, but for what
the speed's difference d changes in it: -k d / V. So

    dd/dt = -g [k (d / V - z / 2H) + (w + e) / (V + d) - w / V],

where e is what is added to the rate of climb, z how much higher the other path is, and H the
height over which the air's density falls by the factor e. k is twice the parasite drag less the
induced, over the weight, and what thrust loses with speed: it isn't known and is taken between two
bounds.

References
----------
Energy equation: EUROCONTROL Experimental Centre, "User Manual for the Base of Aircraft Data (BADA)
revision 3.6", EEC Note 10/04 (2004), eq. (3.1-1).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2]: ISO 80000-3."""
SCALE_HEIGHT = 9_200.0
"""[m] Of the density: T / (g / R - 0.0065 K/m) at 5 km in the standard atmosphere (ISO 2533), 8 to
10.4 km between the tropopause and the sea."""


def speed_difference(
    time: Floats, true_airspeed: Floats, climb: Floats, added_climb: Floats, start: float,
    damping: float, shear: float = 0.0, raised: Floats | float = 0.0,
) -> Floats:
    """Integrate how the speed on another path differs from the speed as flown.

    Parameters
    ----------
    time : float64[n]  [s]
        Rising.
    true_airspeed, climb : float64[n]  [m/s]
        As flown; geometric rate of climb, negative in a descent.
    added_climb : float64[n]  [m/s]
        What the other path climbs more.
    start : float  [m/s]
        The difference at the first instant.
    damping : float
        k of the module's docstring.
    raised : float64[n]  [m]
        How much higher the other path is: its thinner air drags less, by half of k.
    shear : float  [1/s]
        Rise of the headwind with height: a path that descends less meets less of its change.

    Returns
    -------
    float64[n]  [m/s]
        The other path's true airspeed less the flown one; NaN from the first NaN on. By Heun's
        rule: steps of a second are exact to a millimetre a second over a minute.
    """
    difference = np.empty(len(time))
    difference[0] = start

    higher = np.broadcast_to(np.asarray(raised, dtype=np.float64), len(time))

    def rate(i: int, value: float) -> float:
        speed, w, more = true_airspeed[i], climb[i], added_climb[i]
        drag = damping * (value / speed - higher[i] / (2 * SCALE_HEIGHT))
        return float(-GRAVITY * (drag + (w + more) / (speed + value)
                                 - w / speed) + shear * more)

    for i, step in enumerate(np.diff(time).tolist()):
        first = rate(i, difference[i])
        second = rate(i + 1, difference[i] + step * first)
        difference[i + 1] = difference[i] + step * (first + second) / 2
    return difference


def local_fits(
    at: Floats, time: Floats, values: Floats, half_width: float, degree: int = 2
) -> tuple[Floats, Floats, float]:
    """Smooth values by a weighted polynomial about each instant.

    Parameters
    ----------
    at : float64[m]  [s]
        Where the smooth values are wanted.
    time, values : float64[n]
        Samples, without NaN.
    half_width : float  [s]
        Samples so far away have the weight 0; between, the tricube of their distance.
    degree : int
        Of the polynomial.

    Returns
    -------
    smooth : float64[m]
        NaN where fewer than degree + 2 samples lie within the half-width.
    share : float64[m]
        Standard deviation of the smooth value per standard deviation of white noise.
    noise : float
        Standard deviation of what is left, from the differences of neighbours: it is that of
        white noise, and takes in no slow change.

    References
    ----------
    W. S. Cleveland, "Robust locally weighted regression and smoothing scatterplots", Journal of
    the American Statistical Association 74 (1979), eqs. (1) to (3); without its robust steps.
    """
    smooth, share = np.full(len(at), np.nan), np.full(len(at), np.nan)
    for i, instant in enumerate(at.tolist()):
        near = np.flatnonzero(np.abs(time - instant) < half_width)
        if len(near) < degree + 2:
            continue
        away = time[near] - instant
        weight = (1 - np.abs(away / half_width) ** 3) ** 3
        powers = np.vander(away, degree + 1, increasing=True)
        # The fitted value at the instant is a weighted sum of the samples; these are its weights.
        row = np.linalg.pinv(powers * np.sqrt(weight)[:, None])[0] * np.sqrt(weight)
        smooth[i], share[i] = row @ values[near], np.sqrt(row @ row)
    if len(values) < 4:
        return smooth, share, float("nan")
    second = np.diff(values, 2) / np.sqrt(6.0)
    return smooth, share, float(np.sqrt(np.mean(second**2)))

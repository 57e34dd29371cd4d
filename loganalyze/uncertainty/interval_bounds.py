"""The dominating error of an interval, the gain from stating it, and the widest bound.

The interval uses the least uncertainty that general knowledge supports (`tolerances.TYPICAL`). The
bound is the same interval with the widest tolerances that the rules allow (`tolerances.WIDEST`);
what the limits sheet states is the same in both.

References
----------
.. [1] JCGM 100:2008, 5.1.2 (variance by input), 6.2 (expanded uncertainty).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from loganalyze.results.assessment_results import NOT_DETERMINABLE, Assurance, Bound, Greatest
from loganalyze.sheets.sensor_tolerances import SUPPOSED
from loganalyze.uncertainty.decision_rule import decided
from loganalyze.uncertainty.sample_uncertainty import Uncertainty

Pair = tuple[Assurance, Assurance]

SCATTER = "scatter"
"""Code of the errors not common to the flight: the scatter of samples at the worst instant."""
WORTH = 0.9
"""Stating a tolerance is suggested if it shrinks the interval to less than this fraction."""


def bounded(
    uncertainty: Uncertainty, widest: Uncertainty, at: Sequence[tuple[int, int]],
    pairs: Sequence[Pair],
) -> list[Pair]:
    """Add to assurances their dominating error and their widest bound.

    Parameters
    ----------
    uncertainty, widest : Uncertainty
        Of one flight, with the typical and the widest tolerances.
    at : sequence of (int, int)
        The limit's index and the worst row of each pair.
    pairs : sequence of (Assurance, Assurance)
        As displayed and as flown.

    Returns
    -------
    list of (Assurance, Assurance)
        Parallel to `pairs`; what isn't determinable stays as it is.
    """
    found: dict[int, Pair] = {}
    for limit in sorted({name for name, _ in at}):
        chosen = [k for k, (name, _) in enumerate(at) if name == limit]
        rows = np.array([at[k][1] for k in chosen], dtype=np.intp)
        made = []
        inputs = uncertainty.inputs_of(limit, rows)
        sizes = uncertainty.sizes(inputs)
        for basis, flown in enumerate((False, True)):
            parts, wide = (each.parts(limit, rows, inputs, flown=flown)
                           for each in (uncertainty, widest))
            made.append([_bounded(
                pairs[k][basis], uncertainty, {code: float(v[j]) for code, v in parts.items()},
                sum(float(v[j]) for v in wide.values()),
                {code: float(v[j]) for code, v in sizes.items()}) for j, k in enumerate(chosen)])
        found.update((k, (made[0][j], made[1][j])) for j, k in enumerate(chosen))
    return [found[k] for k in range(len(pairs))]


def _bounded(
    sure: Assurance, uncertainty: Uncertainty, parts: dict[str, float], wide: float,
    sizes: dict[str, float],
) -> Assurance:
    """Add both to one assurance; variances in the limit's published quantity, squared."""
    if sure.word == NOT_DETERMINABLE or not math.isfinite(sure.probability):
        return sure
    typical = sum(parts.values())
    rest = max(sure.common_u**2 - typical, 0.0)  # the display's lag at the peak
    whole = sure.common_u**2 + sure.random_u**2
    if not whole > 0:
        return sure
    k = NormalDist().inv_cdf((1 + sure.coverage) / 2)
    named = {**parts, "display_lag": rest, SCATTER: sure.random_u**2}
    code = max(named, key=lambda name: named[name])
    supposed, half_width = None, None
    # Elsewhere the interval isn't the estimate with k u to either side.
    plain = sure.prior == "flat" and sure.if_noise is None and math.isfinite(sure.high)
    if plain and code in SUPPOSED and not uncertainty.budget.states(code) and sizes[code] > 0:
        stated = named[code] * (SUPPOSED[code] / math.sqrt(3.0) / sizes[code]) ** 2
        less = math.sqrt(whole - named[code] + stated)
        if less < WORTH * math.sqrt(whole):
            supposed, half_width = SUPPOSED[code], k * less
    more = k * max(math.sqrt(whole - typical + wide) - math.sqrt(whole), 0.0)
    bound = None
    if more > 1e-3 * k * math.sqrt(whole):
        low, high = sure.low - more, sure.high + more
        bound = Bound(low, high, decided(sure.excess, low, high))
    return replace(sure, greatest=Greatest(code, named[code] / whole, supposed, half_width),
                   widest=bound)

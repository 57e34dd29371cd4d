"""The decision rule: what is said of an excess whose expanded interval is known.

Guarded rejection and guarded acceptance with one guard band, the expanded uncertainty at the
coverage probability: an excess is *proven over* when its whole interval lies over the limit, and
*proven under* when the whole of it lies under. Between them the reading's side is said, and that
it isn't proven. With the flat prior and a coverage of 95 % the risk of either proof to be wrong is
at most 2.5 %.

References
----------
.. [1] JCGM 106:2012, 8.3 (decision rules with guard bands), 7.2 (conformance probability).
"""

from __future__ import annotations

from loganalyze.results.assessment_results import (
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    PROVEN_UNDER,
    UNDER_NOT_PROVEN,
)

RULE = ("guarded rejection and guarded acceptance, the guard band being the expanded uncertainty "
        "(JCGM 106:2012, 8.3)")
"""The rule's name, as it is recorded with the results."""


def decided(excess: float, low: float, high: float) -> str:
    """Return the outcome for an excess with its expanded interval.

    Parameters
    ----------
    excess : float
        The best estimate, in the limit's published quantity; positive is over.
    low, high : float
        Ends of the expanded interval in the same quantity; NaN for an end that isn't known, which
        proves nothing.

    Returns
    -------
    str
        PROVEN_OVER, OVER_NOT_PROVEN, UNDER_NOT_PROVEN or PROVEN_UNDER.
    """
    if low > 0:
        return PROVEN_OVER
    if high < 0:
        return PROVEN_UNDER
    return OVER_NOT_PROVEN if excess > 0 else UNDER_NOT_PROVEN

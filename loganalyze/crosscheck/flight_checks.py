"""Cross-checks: two derivations of the same quantity, compared by size and sign.

Nothing here changes a verdict. A difference is the recorded value minus the reconstructed one,
or the first source minus the second. The median is over the whole flight; `corroboration` compares
the channels inside exceedances. A channel that agrees by its median but contradicts an exceedance
isn't reported as consistent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.crosscheck.wind_triangle import scale_error
from loganalyze.events.analysis import Analysis
from loganalyze.record.channels import kind
from loganalyze.results.assessment_results import Check
from loganalyze.results.evidence import CONTRADICTS, Evidence

CONSISTENCY_FACTOR = 2.0
"""Differences within this many standard uncertainties are consistent (JCGM 100, 6.3.3)."""
FEWEST = 10
"""The fewest samples that are compared."""

_RECONSTRUCTED = (
    ("mach", "mach", "mach_u"),
    ("true_airspeed", "true_airspeed_kt", "true_airspeed_u_kt"),
    ("limit_pointer", "limit_pointer_kt", "margin_u_kt"),
)
_TWICE = ("indicated_airspeed", "calibrated_airspeed", "pressure_altitude",
          "static_air_temperature", "total_air_temperature", "outside_air_temperature")


def checks_of(
    analysis: Analysis,
    uncertainty: Mapping[str, NDArray[Any]],
    sensors: Mapping[str, float] | None = None,
    evidence: Sequence[Evidence] = (),
) -> tuple[Check, ...]:
    """Compare recorded with reconstructed values, and redundant sources with each other.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    uncertainty : mapping of float32[n]
        Standard uncertainties of the reconstructed columns, as in ``Assessment.columns``.
    sensors : mapping of float, optional
        Standard uncertainty of one source of a channel, in its edge unit; a channel that is
        absent is compared, but no verdict of consistency is given.
    evidence : sequence of Evidence, optional
        Evidence of the reference channels about each exceedance. A check of a channel that
        contradicts any isn't consistent, and counts them as ``contradicted``.

    Returns
    -------
    tuple of Check
        "recorded_mach", "recorded_true_airspeed", "recorded_limit_pointer", "two_sources" and
        "turns", as far as the log allows them.
    """
    found = []
    for channel, column, u_column in _RECONSTRUCTED:
        if channel in analysis.log and column in analysis.columns:
            found.append(_compared(
                f"recorded_{channel}", _edge(analysis, channel), analysis.columns[column],
                uncertainty.get(u_column), {"channel": channel}))
    for channel in _TWICE:
        first = channel
        for second in (f"{channel}_2", f"{channel}_3"):
            if first in analysis.log and second in analysis.log:
                u = (sensors or {}).get(channel)
                # The errors of two sensors of one type are independent.
                each = None if u is None else np.full(len(analysis.log), u * np.sqrt(2.0))
                found.append(_compared("two_sources", _edge(analysis, first),
                                       _edge(analysis, second), each,
                                       {"channel": channel, "second": second}))
    return (*(_with_contradictions(check, evidence) for check in found),
            *_turn_check(analysis, uncertainty))


def _with_contradictions(check: Check, evidence: Sequence[Evidence]) -> Check:
    """A check with the exceedances that its channel contradicts."""
    channel = check.values.get("second", check.values["channel"])
    against = sum(any(part.channel == channel and part.verdict == CONTRADICTS
                      for part in some.references) for some in evidence)
    if not against:
        return check
    return replace(check, consistent=False, values={**check.values, "contradicted": against})


def _edge(analysis: Analysis, channel: str) -> NDArray[np.float64]:
    """A channel at every row, in its edge unit."""
    known = kind(channel)
    assert known is not None
    return np.asarray((analysis.log.aligned(channel) - known.unit.offset) / known.unit.factor)


def _compared(code: str, first: NDArray[Any], other: NDArray[Any], u: NDArray[Any] | None,
              values: Mapping[str, Any]) -> Check:
    difference = np.asarray(first, dtype=np.float64) - other
    known = np.flatnonzero(~np.isnan(difference))
    if len(known) < FEWEST:
        return Check(code, None, {**values, "samples": len(known)})
    difference = difference[known]
    middle = float(np.median(difference))
    spread = 1.4826 * float(np.median(np.abs(difference - middle)))
    largest = float(difference[np.argmax(np.abs(difference))])
    results = {**values, "samples": len(known), "median_difference": middle, "spread": spread,
            "largest_difference": largest}
    sure = u[known][~np.isnan(u[known])] if u is not None else np.empty(0)
    if not len(sure):
        return Check(code, None, results)
    allowed = CONSISTENCY_FACTOR * float(np.median(sure))
    return Check(code, abs(middle) <= allowed, {**results, "allowed": allowed})


def _turn_check(analysis: Analysis, uncertainty: Mapping[str, NDArray[Any]]) -> tuple[Check, ...]:
    """True airspeed with the wind triangle against ground speed, in turns."""
    error = scale_error(analysis)
    if error is None:
        return ()
    values = {name: value for name, value in asdict(error).items()
              if not (isinstance(value, float) and np.isnan(value))}
    u = uncertainty.get("true_airspeed_u_kt")
    if u is None or np.isnan(u).all():
        return (Check("turns", None, values),)
    allowed = CONSISTENCY_FACTOR * float(np.hypot(np.nanmedian(u), error.reads_high_u_kt))
    return (Check("turns", abs(error.reads_high_kt) <= allowed, {**values, "allowed": allowed}),)

"""Stretches under a limit that may have been over it within their uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.engine import limit_curves
from loganalyze.events.analysis import Analysis
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import OVER, UNDER
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import NearMiss
from loganalyze.uncertainty import propagation
from loganalyze.uncertainty.exceedance_probability import AssuranceSettings, at_rows
from loganalyze.uncertainty.prior_models import Prior
from loganalyze.uncertainty.sample_uncertainty import Uncertainty

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Shares = NDArray[np.floating[Any]]

_SLACK = 1.25
"""What the tables' bound is widened by. A limit's own uncertainty is computed in its own unit and
at the speed flown: within the margins in question (some standard uncertainties) a knot is worth the
same Mach number to a few per cent, and the tables are within 0.5 % of it."""
_LOOKED_AT = 200
"""Rows at which the uncertainty of a limit without a table is computed; the greatest of them,
widened likewise, is taken for an estimate of the greatest of all."""


def near_misses(
    uncertainty: Uncertainty, settings: AssuranceSettings | None = None,
    priors: Mapping[str, Prior] | None = None,
) -> tuple[NearMiss, ...]:
    """Find stretches that stayed under one limit but may have been over.

    A stretch that runs into an exceedance of the same limit is a part of that one.

    Parameters
    ----------
    uncertainty : Uncertainty
        As `uncertainty_of` gave it.
    settings : AssuranceSettings, optional
    priors : mapping of str to Prior, optional
        Priors by limit; a limit without one gets the flat prior. Which stretches are near is
        decided under the flat prior in any case.

    Returns
    -------
    tuple of NearMiss
        Ordered by start; ``phase`` is empty and ``contributions`` None: `explain` sets both.
    """
    analysis = uncertainty.analysis
    settings = settings or AssuranceSettings()
    near, far = (-NormalDist().inv_cdf(p)
                 for p in (settings.near_probability, settings.near_probability / 2))
    margin = analysis.columns["margin_kt"]
    without = [i for i, limit in enumerate(analysis.sheet.limit)
               if limit.kind.is_speed and i not in analysis.limit_curves.tabulated]
    bounds = _greatest(uncertainty, without)
    # Every speed limit's margin is at least that to the lowest.
    widest = np.repeat(bounds.max(axis=0, initial=0.0), propagation.SCANNED)[: len(margin)]
    widest[np.isin(analysis.columns["governing_limit"], without)] = np.inf
    close = np.flatnonzero(margin < far * widest)
    columns = uncertainty.columns.at(close)
    with np.errstate(divide="ignore"):
        share = margin[close] / np.fmax(columns["margin_u_kt"], columns["margin_displayed_u_kt"])
    found: list[NearMiss] = []
    for i in range(len(analysis.sheet.limit)):
        rows, shares = (
            _shares(uncertainty, i, close, share, far, bounds[i])
            if analysis.sheet.limit[i].kind.is_speed else _own_shares(uncertainty, i, far))
        if not len(rows):
            continue
        stretches, worst = [], []
        for first, last in _stretches(analysis, i, rows, settings.near_join_s):
            inside = slice(*np.searchsorted(rows, [first, last + 1]).tolist())
            if shares[inside].min() <= near:
                stretches.append((first, last))
                worst.append(inside.start + int(shares[inside].argmin()))
        found += _told(uncertainty, i, stretches, rows[worst], settings, priors)
    return tuple(sorted(found, key=lambda near_miss: (near_miss.start_s, near_miss.limit)))


def _greatest(uncertainty: Uncertainty, without: Sequence[int]) -> Floats:
    """Return bounds of each speed limit's uncertainty [kt CAS] on either basis; 0 of the others'.

    float64[limits, stretches], of `propagation.SCANNED` rows each; `without` : the limits of speeds
    that have no table.
    """
    analysis = uncertainty.analysis
    found = _SLACK * propagation.greatest(analysis, uncertainty.budget)
    rows = np.flatnonzero(~np.isnan(analysis.columns["margin_kt"]))
    rows = rows[:: max(1, len(rows) // _LOOKED_AT)]
    if without and len(rows):
        of_limits = uncertainty.in_kt(without, rows, analysis.evaluation.air_data_at(rows))
        for i, (flown, _, shown) in zip(without, of_limits, strict=True):
            found[i] = _SLACK * np.fmax.reduce(np.fmax(flown, shown), initial=0.0)
    found[[i for i, limit in enumerate(analysis.sheet.limit) if not limit.kind.is_speed]] = 0.0
    return found


def _shares(
    uncertainty: Uncertainty, i: int, close: Rows, share: Shares, far: float, bounds: Floats
) -> tuple[Rows, Shares]:
    """Rows under a limit with their margin over its uncertainty, where that is below `far`."""
    analysis = uncertainty.analysis
    under = analysis.columns[f"state_{i}"][close] == UNDER
    governs = analysis.columns["governing_limit"][close] == i
    own = under & governs & (share < far)
    other = close[under & ~governs]
    if len(other) and i in analysis.limit_curves.tabulated:
        # A rough look at the limit's own margin leaves few rows for the exact one.
        grid = analysis.limit_curves.at_nodes[i, 1]
        speed = analysis.columns["calibrated_airspeed_kt"]
        height = analysis.columns["pressure_altitude_ft"][other] * FOOT
        cell = np.nan_to_num((height - limit_curves.START) / limit_curves.STEP).astype(np.intp)
        rough = grid.take(cell, mode="clip") / KNOT - speed[other]
        other = other[~(rough > far * bounds[other // propagation.SCANNED] + 1.0)]
    if not len(other):
        return close[own], share[own]
    model = uncertainty.at(i, other)
    exact = analysis.evaluation.margin(analysis.sheet.limit[i], other)
    with np.errstate(divide="ignore"):
        exact = exact / np.fmax(model.flown, model.displayed)
    rows = np.concatenate([close[own], other[exact < far]])
    order = np.argsort(rows, kind="stable")
    return rows[order], np.concatenate([share[own], exact[exact < far]])[order]


def _own_shares(uncertainty: Uncertainty, i: int, far: float) -> tuple[Rows, Shares]:
    """Return the same for a limit that is none of a speed: all rows under it are looked at."""
    analysis = uncertainty.analysis
    rows = np.flatnonzero(analysis.columns[f"state_{i}"] == UNDER)
    margin = analysis.evaluation.margin(analysis.sheet.limit[i], rows)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = margin / uncertainty.at(i, rows).flown
    near = share < far
    return rows[near], share[near]


def _stretches(
    analysis: Analysis, i: int, near: Rows, join_s: float
) -> Sequence[tuple[int, int]]:
    """Join near rows to stretches (first and last row) that touch no row over the limit."""
    if not len(near):
        return []
    state = analysis.columns[f"state_{i}"]
    # Both rise, and no row is in both: a stable sort merges them.
    members = np.sort(np.concatenate([near, np.flatnonzero(state == OVER)]), kind="stable")
    unjudged = np.searchsorted(np.flatnonzero(state > OVER), members)
    apart = (np.diff(analysis.time[members]) >= join_s) | (np.diff(unjudged) > 0)
    starts = np.concatenate([[0], np.flatnonzero(apart) + 1])
    ends = np.concatenate([starts[1:], [len(members)]]) - 1
    over = np.maximum.reduceat(state[members] == OVER, starts)
    return [(int(members[a]), int(members[b]))
            for a, b, touches in zip(starts, ends, over, strict=True) if not touches]


def _told(
    uncertainty: Uncertainty, i: int, stretches: Sequence[tuple[int, int]], worst: Rows,
    settings: AssuranceSettings, priors: Mapping[str, Prior] | None,
) -> list[NearMiss]:
    if not stretches:
        return []
    analysis = uncertainty.analysis
    limit, air = analysis.sheet.limit[i], analysis.evaluation.air
    at = limit_equivalents.air_data_rows(air, worst)
    margin = analysis.evaluation.margin_of(limit, at)
    in_kt = (
        limit_equivalents.calibrated_equivalent(limit, air, at) - at.calibrated_airspeed
    ) / KNOT
    return [
        NearMiss(
            limit=limit.name, start_s=float(analysis.time[first]),
            end_s=float(analysis.time[last]), time_s=float(analysis.time[worst[k]]),
            margin=float(margin[k]), margin_kt=float(in_kt[k]),
            pressure_altitude_ft=float(at.pressure_altitude[k]) / FOOT, phase="",
            displayed=sure.displayed, flown=sure.flown, contributions=None)
        for k, ((first, last), sure) in enumerate(zip(
            stretches, at_rows(uncertainty, i, worst, settings, priors, stretches), strict=True))
    ]

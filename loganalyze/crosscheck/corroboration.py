"""Corroboration of each exceedance by other channels and by its edges.

Reference channels are compared with the evaluated ones inside the exceedance, and its edges are
checked against what an aircraft can fly. An exceedance that reference channels contradict, that
begins or ends with a step that no aircraft can fly, or that is a single sample without a recorded
entry, isn't proven by any sensor uncertainty: a corrupt value isn't a measurement. Confirmation by
a reference channel outweighs an implausible edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from loganalyze.crosscheck.exceedance_edges import LOOK_S, Known, Stretch, edges_of
from loganalyze.crosscheck.reference_channels import (
    AIRSPEED,
    ALTITUDE,
    BASELINE_S,
    Difference,
    ReferenceSeries,
    ReferenceSet,
)
from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import OVER
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import NOT_DETERMINABLE, Assurance
from loganalyze.results.evidence import (
    CANT_TELL,
    CONFIRMS,
    CONFIRMS_LESS,
    CONTRADICTED,
    CONTRADICTS,
    NO_ENTRY,
    NOT_FLOWN,
    SHOWS_LESS,
    Edge,
    Evidence,
    Reference,
    Verdict,
)
from loganalyze.sheets.limits_sheet import Limit

_HALF = 0.5
"""Samples with at least this fraction of the worst excess are compared with references."""


def evidence_of(analysis: Analysis) -> tuple[Evidence, ...]:
    """Return the evidence for and against each exceedance of an analysis, in their order."""
    if not analysis.exceedances:
        return ()
    known = Known.of(analysis)
    stretches = [_stretch(analysis, exceedance) for exceedance in analysis.exceedances]
    available = ReferenceSet(analysis, _rows_about(analysis, stretches))
    compared: list[list[tuple[ReferenceSeries, Difference]]] = []
    for stretch in stretches:
        limit = analysis.sheet.limit[stretch.limit]
        core, (before, after) = _core(analysis, stretch, limit), _beside(analysis, stretch)
        pairs = [(series, available.difference(series, core, before, after))
                 for series in available.all if series.quantity in _needed(limit)]
        compared.append([(series, found) for series, found in pairs if found is not None])
    excesses = _excesses(analysis, stretches, compared)
    return tuple(_evidence(analysis, known, *each)
                 for each in zip(stretches, compared, excesses, strict=True))


def _rows_about(analysis: Analysis, stretches: Sequence[Stretch]) -> Rows:
    """All rows at which anything is compared."""
    time = analysis.time
    wanted = np.zeros(len(time) + 1, dtype=np.intp)
    for stretch in stretches:
        low, high = np.searchsorted(time, (time[stretch.first] - BASELINE_S - LOOK_S,
                                           time[stretch.last] + BASELINE_S + LOOK_S))
        wanted[low] += 1
        wanted[high] -= 1
    return np.flatnonzero(np.cumsum(wanted[:-1]) > 0)


def _needed(limit: Limit) -> tuple[str, ...]:
    """Return the evaluated quantities that the excess over a limit depends on."""
    return ((AIRSPEED,) if limit.kind.is_speed else ()) + (
        (ALTITUDE,) if limit.needs_altitude else ())


def capped(assurance: Assurance, evidence: Evidence) -> Assurance:
    """Return an assurance that claims no more than the evidence supports.

    It is unchanged where there is no evidence against the exceedance. Where reference channels
    show a smaller excess, the interval is extended down to theirs. Otherwise the assessment is
    *not determinable*, and probability and interval are NaN.
    """
    if not evidence.reason:
        return assurance
    if evidence.reason == SHOWS_LESS:
        least = min(part.excess for part in evidence.references
                    if part.verdict in (CONFIRMS, CONFIRMS_LESS))
        return replace(assurance, low=min(assurance.low, least),
                       reason=assurance.reason or SHOWS_LESS)
    nan = float("nan")
    return replace(assurance, probability=nan, low=nan, high=nan, word=NOT_DETERMINABLE,
                   reason=evidence.reason)


def _evidence(analysis: Analysis, known: Known, stretch: Stretch,
              compared: Sequence[tuple[ReferenceSeries, Difference]], excesses: Floats) -> Evidence:
    """`excesses` : float64[references, 4], as evaluated, by the reference, and at its bounds."""
    needed = _needed(analysis.sheet.limit[stretch.limit])
    edges, unseen = edges_of(analysis, known, stretch, needed)
    references = tuple(
        _reference(series, difference, edges, *excess.tolist())
        for (series, difference), excess in zip(compared, excesses, strict=True))
    confirms = {series.channel: series.confirms for series, _ in compared}
    reasons = [_reason(references, confirms, quantity, edges, unseen) for quantity in needed]
    if any(edge.quantity not in needed for edge in edges):
        reasons.append(NOT_FLOWN)  # Flaps or slats: no reference of the speed confirms these.
    order = (CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS, "")
    return Evidence(references, edges, unseen, min(reasons, key=order.index, default=""))


def _stretch(analysis: Analysis, exceedance: Exceedance) -> Stretch:
    """The rows of an exceedance."""
    limit = analysis.limit_names.index(exceedance.limit)
    state, time = analysis.columns[f"state_{limit}"], analysis.time
    worst = int(np.searchsorted(time, exceedance.worst_time_s))
    low = int(np.searchsorted(time, exceedance.start_s))
    high = int(np.searchsorted(time, exceedance.end_s, side="right"))
    over = low + np.flatnonzero(state[low:high] == OVER)
    if not len(over):
        return Stretch(limit, worst, worst, worst)
    return Stretch(limit, min(int(over[0]), worst), max(int(over[-1]), worst), worst)


def _reason(references: tuple[Reference, ...], confirms: dict[str, frozenset[str]],
            quantity: str, edges: tuple[Edge, ...], unseen: bool) -> str:
    """Why an evaluated quantity leaves the exceedance, or its size, unproven; else empty."""
    verdicts = [reference.verdict for reference in references
                if quantity in confirms[reference.channel]]
    if CONFIRMS in verdicts:
        return ""
    if CONFIRMS_LESS in verdicts:
        return SHOWS_LESS
    if CONTRADICTS in verdicts:
        return CONTRADICTED
    if any(edge.quantity == quantity for edge in edges):
        return NOT_FLOWN
    return NO_ENTRY if unseen else ""


def _reference(series: ReferenceSeries, difference: Difference, edges: tuple[Edge, ...],
               judged: float, excess: float, low: float, high: float) -> Reference:
    off = abs(difference.shift) > difference.allowed
    # A ground speed doesn't show gusts, which are excluded only by a step that no gust makes.
    blind = series.channel == "ground_speed" and not any(
        edge.quantity == AIRSPEED for edge in edges)
    verdict: Verdict
    if min(low, high) > 0:
        verdict = CONFIRMS_LESS if off and excess < judged else CONFIRMS
    elif off and excess < judged and not blind:
        verdict = CONTRADICTS
    else:
        verdict = CANT_TELL
    unit = KNOT if series.quantity == AIRSPEED else FOOT
    return Reference(series.channel, series.quantity, verdict, difference.shift / unit,
                     difference.allowed / unit, excess, difference.samples)


def _core(analysis: Analysis, stretch: Stretch, limit: Limit) -> Rows:
    """The consecutive rows around the worst one with at least half its excess."""
    time = analysis.time
    state = analysis.columns[f"state_{stretch.limit}"]
    low, high = np.searchsorted(time, (time[stretch.worst] - LOOK_S, time[stretch.worst] + LOOK_S))
    within = np.arange(max(int(low), stretch.first), min(int(high), stretch.last + 1))
    rows: Rows = within[state[within] == OVER]
    excess: Floats = -analysis.evaluation.margin(limit, rows)
    here = int(np.searchsorted(rows, stretch.worst))
    enough = excess >= _HALF * excess[here]
    breaks = np.flatnonzero(~enough)
    first: int = breaks[breaks < here][-1] + 1 if (breaks < here).any() else 0
    stop = breaks[breaks > here][0] if (breaks > here).any() else len(rows)
    return rows[first:stop]


def _beside(analysis: Analysis, stretch: Stretch) -> tuple[Rows, Rows]:
    """Rows before and after an exceedance, none of which is over the limit."""
    time, state = analysis.time, analysis.columns[f"state_{stretch.limit}"]
    start = int(np.searchsorted(time, time[stretch.first] - BASELINE_S))
    stop = int(np.searchsorted(time, time[stretch.last] + BASELINE_S, side="right"))
    before, after = np.arange(start, stretch.first), np.arange(stretch.last + 1, stop)
    return before[state[before] != OVER], after[state[after] != OVER]


def _excesses(
    analysis: Analysis, stretches: Sequence[Stretch],
    compared: Sequence[Sequence[tuple[ReferenceSeries, Difference]]],
) -> list[Floats]:
    """The excess at each worst row as evaluated, by each reference, and at its bounds.

    float64[references, 4] for each exceedance, in its limit's quantity.
    """
    found = [np.empty((len(pairs), 4)) for pairs in compared]
    for i, limit in enumerate(analysis.sheet.limit):
        # One call for all exceedances: a limit ridden in gusts has thousands.
        which = [(k, j) for k, stretch in enumerate(stretches) if stretch.limit == i
                 for j in range(len(compared[k]))]
        if not which:
            continue
        rows = np.repeat([stretches[k].worst for k, _ in which], 4)
        differences = [compared[k][j][1] for k, j in which]
        shifts = np.array([[0.0, each.shift, each.shift + each.allowed, each.shift - each.allowed]
                           for each in differences]).ravel()
        of_speed = np.repeat([compared[k][j][0].quantity == AIRSPEED for k, j in which], 4)
        values = _excess(analysis, limit, rows, np.where(of_speed, shifts, 0.0),
                         np.where(of_speed, 0.0, shifts)).reshape(-1, 4)
        for (k, j), four in zip(which, values, strict=True):
            found[k][j] = four
    return found


def _excess(analysis: Analysis, limit: Limit, rows: Rows, slower: Floats, lower: Floats) -> Floats:
    """The excess at rows, in the limit's quantity, with speed and altitude reduced [m/s, m]."""
    at = analysis.evaluation.air_data_at(rows)
    at = replace(at, calibrated_airspeed=np.fmax(at.calibrated_airspeed - slower, 0.0),
                 indicated_airspeed=np.fmax(at.indicated_airspeed - slower, 0.0),
                 pressure_altitude=at.pressure_altitude - lower,
                 indicated_altitude=at.indicated_altitude - lower)
    at = replace(
        at, mach=mach_at_cas(at.calibrated_airspeed, at.pressure_altitude)
    )
    return limit_equivalents.published_value(limit, at) - limit_equivalents.published_maximum(
        limit, at
    )

"""What the recording shows of each exceedance besides the judged samples themselves.

Other channels are compared with the judged ones inside the exceedance, and its edges are held
against what an aircraft can fly. An exceedance that other channels contradict, that was entered or
left by a step no aircraft flies, or that is a lone sample with no entry recorded, isn't proven by
any uncertainty of the sensors: a corrupt value isn't a measurement. A channel that confirms the
exceedance outweighs a doubt about its edges.
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
    Way,
    Ways,
)
from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import OVER
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import (
    CANT_TELL,
    CONFIRMS,
    CONFIRMS_LESS,
    CONTRADICTS,
    NOT_DETERMINABLE,
    Assurance,
    Edge,
    Evidence,
    Reference,
)
from loganalyze.sheets.limits_sheet import Limit

CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS = (
    "contradicted by other channels", "edge that no aircraft flies", "no entry recorded",
    "other channels show less")
"""Why an exceedance, or the size of its excess, can't be called proven."""
_HALF = 0.5
"""Samples with at least this share of the worst excess are compared with other channels."""


def evidence_of(analysis: Analysis) -> tuple[Evidence, ...]:
    """Return what speaks for and against each exceedance of an analysis, parallel to them."""
    if not analysis.exceedances:
        return ()
    known = Known.of(analysis)
    stretches = [_stretch(analysis, one) for one in analysis.exceedances]
    ways = Ways(analysis, _rows_about(analysis, stretches))
    compared: list[list[tuple[Way, Difference]]] = []
    for one in stretches:
        limit = analysis.sheet.limit[one.limit]
        core, (before, after) = _core(analysis, one, limit), _beside(analysis, one)
        pairs = [(way, ways.difference(way, core, before, after)) for way in ways.all
                 if way.quantity in _needed(limit)]
        compared.append([(way, found) for way, found in pairs if found is not None])
    excesses = _excesses(analysis, stretches, compared)
    return tuple(_evidence(analysis, known, *each)
                 for each in zip(stretches, compared, excesses, strict=True))


def _rows_about(analysis: Analysis, stretches: Sequence[Stretch]) -> Rows:
    """All rows at which anything is compared."""
    time = analysis.time
    wanted = np.zeros(len(time) + 1, dtype=np.intp)
    for one in stretches:
        low, high = np.searchsorted(time, (time[one.first] - BASELINE_S - LOOK_S,
                                           time[one.last] + BASELINE_S + LOOK_S))
        wanted[low] += 1
        wanted[high] -= 1
    return np.flatnonzero(np.cumsum(wanted[:-1]) > 0)


def _needed(limit: Limit) -> tuple[str, ...]:
    """Return which judged air data the excess over a limit depends on."""
    return ((AIRSPEED,) if limit.kind.is_speed else ()) + (
        (ALTITUDE,) if limit.needs_altitude else ())


def capped(one: Assurance, evidence: Evidence) -> Assurance:
    """Return an assurance that claims no more than the evidence allows.

    Where nothing speaks against the exceedance it is returned as it is. Where other channels show
    less of it, the interval reaches down to what they show. Else the word is *not determinable*,
    and probability and interval are NaN.
    """
    if not evidence.reason:
        return one
    if evidence.reason == SHOWS_LESS:
        least = min(part.excess for part in evidence.references
                    if part.verdict in (CONFIRMS, CONFIRMS_LESS))
        return replace(one, low=min(one.low, least), reason=one.reason or SHOWS_LESS)
    nan = float("nan")
    return replace(one, probability=nan, low=nan, high=nan, word=NOT_DETERMINABLE,
                   reason=evidence.reason)


def _evidence(analysis: Analysis, known: Known, one: Stretch,
              compared: Sequence[tuple[Way, Difference]], excesses: Floats) -> Evidence:
    """Excesses float64[ways, 4]: as judged, by the way, and at either end of what it allows."""
    needed = _needed(analysis.sheet.limit[one.limit])
    edges, unseen = edges_of(analysis, known, one, needed)
    references = tuple(
        _reference(way, difference, edges, *excess.tolist())
        for (way, difference), excess in zip(compared, excesses, strict=True))
    tells = {way.channel: way.tells for way, _ in compared}
    reasons = [_reason(references, tells, quantity, edges, unseen) for quantity in needed]
    if any(edge.quantity not in needed for edge in edges):
        reasons.append(NOT_FLOWN)  # Flaps or slats: nothing said of the speed confirms them.
    order = (CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS, "")
    return Evidence(references, edges, unseen, min(reasons, key=order.index, default=""))


def _stretch(analysis: Analysis, one: Exceedance) -> Stretch:
    """The rows of an exceedance."""
    limit = analysis.limit_names.index(one.limit)
    state, time = analysis.columns[f"state_{limit}"], analysis.time
    worst = int(np.searchsorted(time, one.worst_time_s))
    low = int(np.searchsorted(time, one.start_s))
    high = int(np.searchsorted(time, one.end_s, side="right"))
    over = low + np.flatnonzero(state[low:high] == OVER)
    if not len(over):
        return Stretch(limit, worst, worst, worst)
    return Stretch(limit, min(int(over[0]), worst), max(int(over[-1]), worst), worst)


def _reason(references: tuple[Reference, ...], tells: dict[str, frozenset[str]], quantity: str,
            edges: tuple[Edge, ...], unseen: bool) -> str:
    """Why one judged quantity leaves the exceedance, or its size, unproven; empty if it doesn't."""
    verdicts = [one.verdict for one in references if quantity in tells[one.channel]]
    if CONFIRMS in verdicts:
        return ""
    if CONFIRMS_LESS in verdicts:
        return SHOWS_LESS
    if CONTRADICTS in verdicts:
        return CONTRADICTED
    if any(edge.quantity == quantity for edge in edges):
        return NOT_FLOWN
    return NO_ENTRY if unseen else ""


def _reference(way: Way, difference: Difference, edges: tuple[Edge, ...], judged: float,
               excess: float, low: float, high: float) -> Reference:
    off = abs(difference.shift) > difference.allowed
    # A ground speed doesn't see a gust, which only a step that is none excludes.
    blind = way.channel == "ground_speed" and not any(
        edge.quantity == AIRSPEED for edge in edges)
    if min(low, high) > 0:
        verdict = CONFIRMS_LESS if off and excess < judged else CONFIRMS
    elif off and excess < judged and not blind:
        verdict = CONTRADICTS
    else:
        verdict = CANT_TELL
    unit = KNOT if way.quantity == AIRSPEED else FOOT
    return Reference(way.channel, way.quantity, verdict, difference.shift / unit,
                     difference.allowed / unit, excess, difference.samples)


def _core(analysis: Analysis, one: Stretch, limit: Limit) -> Rows:
    """The rows about the worst one with at least half its excess."""
    time = analysis.time
    state = analysis.columns[f"state_{one.limit}"]
    low, high = np.searchsorted(time, (time[one.worst] - LOOK_S, time[one.worst] + LOOK_S))
    within = np.arange(max(int(low), one.first), min(int(high), one.last + 1))
    rows: Rows = within[state[within] == OVER]
    excess: Floats = -analysis.evaluation.margin(limit, rows)
    here = int(np.searchsorted(rows, one.worst))
    enough = excess >= _HALF * excess[here]
    breaks = np.flatnonzero(~enough)
    first: int = breaks[breaks < here][-1] + 1 if (breaks < here).any() else 0
    stop = breaks[breaks > here][0] if (breaks > here).any() else len(rows)
    return rows[first:stop]


def _beside(analysis: Analysis, one: Stretch) -> tuple[Rows, Rows]:
    """Rows before and after an exceedance, none of which is over the limit."""
    time, state = analysis.time, analysis.columns[f"state_{one.limit}"]
    start = int(np.searchsorted(time, time[one.first] - BASELINE_S))
    stop = int(np.searchsorted(time, time[one.last] + BASELINE_S, side="right"))
    before, after = np.arange(start, one.first), np.arange(one.last + 1, stop)
    return before[state[before] != OVER], after[state[after] != OVER]


def _excesses(
    analysis: Analysis, stretches: Sequence[Stretch],
    compared: Sequence[Sequence[tuple[Way, Difference]]],
) -> list[Floats]:
    """The excess at each worst row as judged, by each way, and at the ends of what it allows.

    float64[ways, 4] for each exceedance, in its limit's quantity.
    """
    found = [np.empty((len(some), 4)) for some in compared]
    for i, limit in enumerate(analysis.sheet.limit):
        # All in one call: a limit ridden in gusts has thousands.
        which = [(k, j) for k, one in enumerate(stretches) if one.limit == i
                 for j in range(len(compared[k]))]
        if not which:
            continue
        rows = np.repeat([stretches[k].worst for k, _ in which], 4)
        shifts = np.array([[0.0, one.shift, one.shift + one.allowed, one.shift - one.allowed]
                           for one in (compared[k][j][1] for k, j in which)]).ravel()
        of_speed = np.repeat([compared[k][j][0].quantity == AIRSPEED for k, j in which], 4)
        values = _excess(analysis, limit, rows, np.where(of_speed, shifts, 0.0),
                         np.where(of_speed, 0.0, shifts)).reshape(-1, 4)
        for (k, j), four in zip(which, values, strict=True):
            found[k][j] = four
    return found


def _excess(analysis: Analysis, limit: Limit, rows: Rows, slower: Floats, lower: Floats) -> Floats:
    """The excess at rows, in the limit's quantity, at so much [m/s, m] less speed and altitude."""
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

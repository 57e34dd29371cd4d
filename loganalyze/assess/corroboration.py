"""What the recording shows of each exceedance besides the judged samples themselves.

Other channels are compared with the judged ones inside the exceedance, and its edges are held
against what an aircraft can fly. An exceedance that other channels contradict, that was entered or
left by a step no aircraft flies, or that is a lone sample with no entry recorded, isn't proven by
any uncertainty of the sensors: a corrupt value isn't a measurement. A channel that confirms the
exceedance outweighs a doubt about its edges.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.assess.edges import LOOK_S, Known, Stretch, edges_of
from loganalyze.assess.references import AIRSPEED, ALTITUDE, BASELINE_S, Way, Ways
from loganalyze.assess.results import (
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
from loganalyze.judge import equivalents, exceedances
from loganalyze.judge.case import OVER
from loganalyze.judge.exceedances import Exceedance
from loganalyze.judge.flight import Analysis
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits import Limit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

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
    ways, known = Ways(analysis), Known.of(analysis)
    return tuple(_evidence(analysis, ways, known, one) for one in analysis.exceedances)


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


def _evidence(analysis: Analysis, ways: Ways, known: Known, one: Exceedance) -> Evidence:
    stretch = _stretch(analysis, one)
    limit = analysis.sheet.limit[stretch.limit]
    with_altitude = (limit.is_mach or limit.by_pressure_altitude is not None
                     or limit.quantity in ("equivalent_airspeed", "true_airspeed"))
    edges, unseen = edges_of(analysis, known, stretch, with_altitude)
    references = _references(analysis, ways, stretch, limit, with_altitude, edges)
    needed = (AIRSPEED, ALTITUDE) if with_altitude else (AIRSPEED,)
    tells = {way.channel: way.tells for way in ways.all}
    reasons = [_reason(references, tells, quantity, edges, unseen) for quantity in needed]
    if any(edge.quantity not in needed for edge in edges):
        reasons.append(NOT_FLOWN)  # Flaps or slats: nothing said of the speed confirms them.
    order = (CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS, "")
    return Evidence(references, edges, unseen, min(reasons, key=order.index))


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


def _references(
    analysis: Analysis, ways: Ways, one: Stretch, limit: Limit, with_altitude: bool,
    edges: tuple[Edge, ...],
) -> tuple[Reference, ...]:
    core = _core(analysis, one, limit)
    before, after = _beside(analysis, one)
    found = []
    for way in ways.all:
        if way.quantity == ALTITUDE and not with_altitude:
            continue
        difference = ways.difference(way, core, before, after)
        if difference is None:
            continue
        shift, allowed = difference.shift, difference.allowed
        excess, *bounds = (_excess(analysis, limit, one.worst, way, by)
                           for by in (shift, shift + allowed, shift - allowed))
        if min(bounds) > 0:
            verdict = CONFIRMS if abs(shift) <= allowed else CONFIRMS_LESS
        elif abs(shift) > allowed and _against(way, edges, excess, analysis, limit, one.worst):
            verdict = CONTRADICTS
        else:
            verdict = CANT_TELL
        unit = KNOT if way.quantity == AIRSPEED else FOOT
        found.append(Reference(way.channel, way.quantity, verdict, shift / unit, allowed / unit,
                               excess, difference.samples))
    return tuple(found)


def _against(way: Way, edges: tuple[Edge, ...], excess: float, analysis: Analysis, limit: Limit,
             worst: int) -> bool:
    """Whether so great a difference speaks against the exceedance.

    It does where the other channel shows less excess. A ground speed doesn't see a gust, which
    only a step that is none excludes.
    """
    if way.channel == "ground_speed" and not any(edge.quantity == AIRSPEED for edge in edges):
        return False
    return excess < _excess(analysis, limit, worst, way, 0.0)


def _core(analysis: Analysis, one: Stretch, limit: Limit) -> Rows:
    """The rows about the worst one with at least half its excess."""
    time = analysis.time
    state = analysis.columns[f"state_{one.limit}"]
    low, high = np.searchsorted(time, (time[one.worst] - LOOK_S, time[one.worst] + LOOK_S))
    within = np.arange(max(int(low), one.first), min(int(high), one.last + 1))
    rows: Rows = within[state[within] == OVER]
    excess: Floats = -exceedances.margin(analysis._case, limit, rows)
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


def _excess(analysis: Analysis, limit: Limit, row: int, way: Way, shift: float) -> float:
    """The excess at a row, in the limit's quantity, with airspeed or altitude less by a shift."""
    at = equivalents.point(analysis._case.air, np.array([row]))
    if way.quantity == AIRSPEED:
        at = replace(at, calibrated_airspeed=np.fmax(at.calibrated_airspeed - shift, 0.0),
                     indicated_airspeed=np.fmax(at.indicated_airspeed - shift, 0.0))
    else:
        at = replace(at, pressure_altitude=at.pressure_altitude - shift,
                     indicated_altitude=at.indicated_altitude - shift)
    at = replace(at, mach=equivalents.mach_at_cas(at.calibrated_airspeed, at.pressure_altitude))
    value = equivalents.published_value(limit, at) - equivalents.published_maximum(limit, at)
    return float(value[0])

"""Stretches over a limit whose samples were rejected as doubtful."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import UNKNOWN, Evaluation
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.screening import redundant_sources

DOUBTS: dict[str, str] = {
    "synchronisation lost": "synchronisation lost",
    "spike": "airspeed spike faster than plausible",
    "altitude spike": "pressure altitude spike faster than plausible",
    "frozen": "airspeed frozen while others moved",
    "altitude frozen": "pressure altitude frozen while others moved",
    "sources disagree": "airspeed sources disagree",
    "altitude sources disagree": "pressure altitude sources disagree",
    "temperature sources disagree": "temperature sources disagree",
    "stale": "airspeed stale",
    "altitude stale": "pressure altitude stale",
}
"""Codes of doubt about a sample's air data, in order of precedence, with the screening reason of
each."""
CONFIGURATION = "configuration outlier"
"""The code of doubt about the flaps or gear that would make the limit apply."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A stretch over a limit that isn't counted, since its samples were rejected.

    ``start_s`` and ``end_s`` [s] : its first and last sample; ``time_s`` : its worst one, when
    the limit was exceeded by ``excess`` (in the limit's published quantity, kt or Mach);
    ``reason`` : a code of `DOUBTS`, or CONFIGURATION; ``unconfirmed_by`` : the channels that
    could have confirmed it and didn't.
    """

    limit: str
    quantity: str
    start_s: float
    end_s: float
    time_s: float
    excess: float
    reason: str
    unconfirmed_by: tuple[str, ...]


def find(evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]) -> tuple[Suspect, ...]:
    """Return the rejected stretches over a limit, ordered by limit and start.

    A stretch consists of consecutive samples with the same doubt.
    """
    return (*_of_air_data(evaluation, columns), *_of_configuration(evaluation, columns))


def _of_configuration(evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]) -> list[Suspect]:
    """Return stretches that are over a limit if an outlier of flaps or gear is real."""
    found: list[Suspect] = []
    for i, limit in enumerate(evaluation.sheet.limit):
        doubted = [alone for condition in condition_states.recorded(
            limit.conditions, evaluation.cleaned, evaluation.declared,
            evaluation.sheet.configuration)
            for alone in condition.doubted]
        if not doubted:
            continue
        rows = np.flatnonzero(~np.isnan(np.stack(doubted)).all(axis=0))
        rows = rows[(columns[f"state_{i}"][rows] == UNKNOWN)
                    & (evaluation.applies(limit, rows) == condition_states.UNKNOWN)]
        at = evaluation.air_data_at(rows)
        value = limit_equivalents.published_value(limit, at)
        maximum = limit_equivalents.published_maximum(limit, at)
        over = limit_equivalents.over(limit, value, maximum, evaluation.air, evaluation.settings)
        rows, excess = rows[over], (value - maximum)[over]
        if not len(rows):
            continue
        flaps = any(condition.channel == "flap" for condition in limit.conditions)
        others = tuple(name for name in ("flap", "flap_lever") if flaps and name in evaluation.log
                       and evaluation.cleaned.of(name)[1] is None)
        for stretch in np.split(np.arange(len(rows)), np.flatnonzero(np.diff(rows) > 1) + 1):
            worst = stretch[int(excess[stretch].argmax())]
            first, last, peak = evaluation.log.time[rows[[stretch[0], stretch[-1], worst]]].tolist()
            found.append(Suspect(limit.name, limit.quantity, first, last, peak,
                                 float(excess[worst]), CONFIGURATION, others))
    return found


def _of_air_data(evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]) -> list[Suspect]:
    """Return stretches over a limit whose air data were rejected by screening."""
    if evaluation.air.rejected is None:
        return []
    rows, reasons = evaluation.air.rejected
    doubted = (reasons & ~sample_reasons.NOTHING) > 0
    rows, reasons = rows[doubted], reasons[doubted]
    found: list[Suspect] = []
    codes = _codes(reasons)
    at = evaluation.air_data_at(rows, reasons & sample_reasons.NOTHING)
    for i, limit in enumerate(evaluation.sheet.limit):
        value = limit_equivalents.published_value(limit, at)
        maximum = limit_equivalents.published_maximum(limit, at)
        over = limit_equivalents.over(limit, value, maximum, evaluation.air, evaluation.settings)
        over &= columns[f"state_{i}"][rows] == UNKNOWN
        over &= evaluation.applies(limit, rows) == condition_states.YES
        some = np.flatnonzero(over)
        if not len(some):
            continue
        excess = value - maximum
        wide = np.diff(evaluation.log.time[rows[some]]) > HELD_INTERVALS * evaluation.log.interval_s
        cuts = (np.diff(rows[some]) > 1) | wide | (np.diff(codes[some]) != 0)
        for stretch in np.split(some, np.flatnonzero(cuts) + 1):
            worst = stretch[int(excess[stretch].argmax())]
            first, last, peak = evaluation.log.time[rows[[stretch[0], stretch[-1], worst]]].tolist()
            reason = tuple(DOUBTS)[codes[worst]]
            found.append(Suspect(
                limit.name, limit.quantity, first, last, peak, float(excess[worst]), reason,
                _not_confirmed_by(evaluation, reason)))
    return found


def _codes(reasons: Bits) -> NDArray[np.intp]:
    """Return the index in `DOUBTS` of each row's first doubt, intp[m]."""
    codes = np.zeros(len(reasons), dtype=np.intp)
    for i, name in reversed(list(enumerate(DOUBTS.values()))):
        codes[(reasons & sample_reasons.bit(name)) > 0] = i
    return codes


def _not_confirmed_by(evaluation: Evaluation, reason: str) -> tuple[str, ...]:
    log, air = evaluation.log, evaluation.air
    if reason == "spike":
        return redundant_sources.Corroboration(log, air, evaluation.settings).looked_at
    if reason in ("frozen", "altitude frozen"):
        ways = (
            redundant_sources.ways_to_the_airspeed
            if reason == "frozen"
            else redundant_sources.ways_to_the_altitude
        )
        return tuple(ways(log, air))
    if reason == "sources disagree":
        return redundant_sources.seconds(log, air.airspeed_sources)
    if reason == "altitude sources disagree":
        return redundant_sources.seconds(log, air.altitude_sources)
    return ()

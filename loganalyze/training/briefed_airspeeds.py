"""Airspeeds that were briefed as indicated: what they are as calibrated ones.

A pilot reads the indicated airspeed (IAS); what is measured is the calibrated one (CAS). Between
them lie the instrument's correction and that for the position of the static source, as the limits
sheet states them. The instrument's counts only where the log's airspeed was recorded from the same
instrument. Without either the indicated airspeed is taken as calibrated, and that is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states, configuration_transit
from loganalyze.events.analysis import Analysis
from loganalyze.phases.phase_definitions import CLIMB, CRUISE, DESCENT, LEVEL_CHANGE
from loganalyze.problems import Problem
from loganalyze.record.arrays import Mask
from loganalyze.record.units import KNOT
from loganalyze.sheets.lesson.schedule_file import ConfigurationSpeed, Schedule


@dataclass(frozen=True, slots=True)
class Converted:
    """A briefed airspeed [kt]: as indicated, and the calibrated one that it is measured as."""

    indicated_kt: float
    calibrated_kt: float


def as_calibrated(
    schedule: Schedule, analysis: Analysis, phases: NDArray[np.uint8]
) -> tuple[Schedule, tuple[Converted, ...]]:
    """Return a schedule with calibrated airspeeds, and each airspeed that was briefed as indicated.

    Parameters
    ----------
    schedule : Schedule
    analysis : Analysis
        Whose sheet states the corrections.
    phases : uint8[n]
        Phase code of each row, by which the flap angle of climb, cruise and descent is known.

    Raises
    ------
    Problem
        Where a correction's table doesn't reach an airspeed.
    """
    if schedule.airspeeds == "calibrated":
        return schedule, ()
    made: dict[float, Converted] = {}
    en_route = np.isin(phases, (CLIMB, CRUISE, DESCENT, LEVEL_CHANGE))

    def convert(indicated: float, rows: Mask) -> float:
        found = _calibrated_kt(indicated, analysis, rows)
        made[indicated] = Converted(indicated, found)
        return found

    changed: dict[str, Any] = {"airspeeds": "calibrated"}
    for name in ("climb", "cruise", "descent"):
        part = getattr(schedule, name)
        if part is not None:
            changed[name] = part.model_copy(update={
                key: convert(getattr(part, key), en_route)
                for key in ("airspeed_kt", "lower_airspeed_kt")
                if getattr(part, key, None) is not None})
    changed["speed"] = tuple(
        speed.model_copy(update={"airspeed_kt": convert(
            speed.airspeed_kt, _configured(speed, analysis, en_route))})
        for speed in schedule.speed)
    return schedule.model_copy(update=changed), tuple(made.values())


def _configured(speed: ConfigurationSpeed, analysis: Analysis, otherwise: Mask) -> Mask:
    """Return the rows in which a configuration is set; others where its channel isn't recorded."""
    log, evaluation = analysis.log, analysis.evaluation
    if not all(configuration_transit.is_available(condition.channel, log, evaluation.declared)
               for condition in speed.conditions):
        return otherwise
    wanted = condition_states.recorded(speed.conditions, evaluation.cleaned, evaluation.declared)
    answer = np.empty(len(log), dtype=np.uint8)
    condition_states.hold(wanted, log.time, slice(None), answer)
    return np.asarray(answer == condition_states.YES)


def _calibrated_kt(indicated_kt: float, analysis: Analysis, rows: Mask) -> float:
    """Return the CAS of an IAS [kt], by the table of the flap angle that most rows have."""
    air, sheet = analysis.evaluation.air, analysis.sheet.airspeed
    speed = indicated_kt * KNOT
    if sheet.instrument_table is not None and sheet.recorded == "indicated":
        speed = float(sheet.instrument_table.corrected(np.array([speed]))[0])
    chosen = np.flatnonzero(rows)
    if air.position is not None and len(chosen):
        position = air.position[chosen]
        values, counts = np.unique(position, return_counts=True)
        chosen = chosen[position == values[np.argmax(counts)]]
    row = chosen[:1] if len(chosen) else np.zeros(1, dtype=np.intp)
    found = float(air.calibrated_from_indicated(np.array([speed]), row)[0]) / KNOT
    if not np.isfinite(found):
        raise Problem(f"the limits sheet's airspeed corrections don't reach {indicated_kt:g} kt",
                      "the schedule", "state the correction there, or brief calibrated airspeeds")
    return found

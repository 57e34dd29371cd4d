"""Quality flags of a recording, computed on demand.

A flag holds where its fault could be checked (*covered*) and where it was found (*raised*). The
faults that affect the verdict were found before, by `screening`, with the same rules.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata.air_data import AirData
from loganalyze.limits.evaluation import Evaluation
from loganalyze.record import sample_reasons
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.intervals import Intervals
from loganalyze.record.quality_flags import QualityFlag
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening import (
    channel_screening,
    quantization,
    redundant_sources,
    sample_checks,
    stuck_channels,
)
from loganalyze.sheets.evaluation_settings import Settings

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_BY_REASON = {
    "missing": "missing",
    "outside its plausible range": "out of range",
    "spike faster than plausible": "faster than plausible",
    "frozen while others moved": "frozen",
    "stale": "stale",
    "sources disagree": "sources disagree",
}
"""The flag of each screening reason, without its subject."""
_CLIMB_S = 10.0
"""Time [s] over which a climb or descent is measured, so that one quantization step is none."""


def flags(evaluation: Evaluation) -> tuple[QualityFlag, ...]:
    """Return every flag of a flight: of the judged channels, the others, and the whole."""
    log, air, settings = evaluation.log, evaluation.air, evaluation.settings
    return (*_judged(evaluation), *_others(evaluation), *_steps(evaluation),
            *_quantised(evaluation), *_ceased(evaluation), *_clamped(log, air, settings),
            _lost(evaluation), on_ground(log, air, settings))


def intervals(log: FlightLog, mask: Mask) -> Intervals:
    """Return the time that the rows marked in `mask` stand for; none for a single sample."""
    interval = log.interval_s if log.interval_s > 0 else 0.0
    return Intervals.from_mask(mask, log.time, interval, log.breaks)


def _raised(evaluation: Evaluation, reason: str) -> Mask:
    """Return the rows rejected for a reason, bool[n]."""
    raised = np.zeros(len(evaluation.log), dtype=bool)
    if evaluation.air.rejected is not None:
        rows, reasons = evaluation.air.rejected
        raised[rows[(reasons & sample_reasons.bit(reason)) > 0]] = True
    return raised


def _subjects(evaluation: Evaluation) -> Iterator[tuple[str, str, Floats, float]]:
    """Yield the judged quantities: subject, channel, values, and the step of staleness [SI]."""
    air, settings = evaluation.air, evaluation.settings
    if air.airspeed_sources:
        yield ("airspeed", air.airspeed_sources[0], air.screened_airspeed,
               settings.stale_kt * KNOT)
    if air.altitude_sources:
        yield ("pressure altitude", air.altitude_sources[0], air.screened_altitude,
               settings.stale_ft * FOOT)
    warm = next((name for name in redundant_sources.TEMPERATURES if name in evaluation.log), None)
    if warm is not None and air.temperature is not None:
        yield "temperature", warm, air.temperature, np.inf


def _judged(evaluation: Evaluation) -> Iterator[QualityFlag]:
    log, settings = evaluation.log, evaluation.settings
    everywhere = intervals(log, np.ones(len(log), dtype=bool))
    for subject, channel, values, step in _subjects(evaluation):
        known = intervals(log, ~np.isnan(values))
        for reason in sample_reasons.REASONS:
            if not reason.startswith(subject):
                continue
            name = _BY_REASON[reason.removeprefix(f"{subject} ")]
            raised = _raised(evaluation, reason)
            covered, counted = known, True
            found: dict[str, Any] = {}
            if name == "missing":
                covered = everywhere
                if subject == "temperature":
                    raised = np.isnan(values)
            elif name == "out of range" and subject == "temperature":
                raised = ~np.isnan(values) & np.isnan(sample_reasons.HEAT.plausible(values))
            elif name == "frozen":
                others = channel_screening.references(log, evaluation.air, settings, subject)
                found = {"witnesses": tuple(reference.name for reference in others)}
                if not others and not raised.any():
                    covered = Intervals.of(())
            elif name == "stale":
                runs = channel_screening.stale_runs(log, subject, values, step, settings)
                counted = bool(raised.any())
                # Rows are rejected only if stale runs are frequent; the flag shows every run.
                raised[stuck_channels.rows_of(runs, skip=1)] = True
                found = {"times": len(runs)}
            elif name == "sources disagree":
                seconds = redundant_sources.seconds(log, (channel,))
                if not seconds:
                    continue
                found = _apart(log, values, seconds)
                both = np.any([~np.isnan(log.aligned(name)) for name in seconds], axis=0)
                covered = intervals(log, both & ~np.isnan(values))
            yield QualityFlag(name, channel, covered, intervals(log, raised) & covered,
                              counted, found)


def _apart(log: FlightLog, values: Floats, seconds: tuple[str, ...]) -> dict[str, Any]:
    """Return the mean and greatest difference [SI] of the other sources from the judged one."""
    found: dict[str, Any] = {"sources": seconds}
    differences = log.aligned(seconds[0]) - values
    if not np.isnan(differences).all():
        found["mean"] = float(np.nanmean(differences))
        found["greatest"] = float(np.nanmax(np.abs(differences)))
    return found


def _others(evaluation: Evaluation) -> Iterator[QualityFlag]:
    """Yield flags of missing, out of range and too fast for the channels that aren't judged."""
    log = evaluation.log
    judged = {channel for _, channel, _, _ in _subjects(evaluation)}
    everywhere = intervals(log, np.ones(len(log), dtype=bool))
    for name in log.channels:
        known = kind(name)
        if name in judged or known is None:
            continue
        values = log.aligned(name)
        missing = np.isnan(values)
        covered = intervals(log, ~missing) if missing.any() else everywhere
        yield QualityFlag("missing", name, everywhere, intervals(log, missing), False)
        if known.discrete:
            continue
        unit = known.unit
        lowest, highest = (edge * unit.factor + unit.offset
                           for edge in (known.lowest, known.highest))
        if np.isfinite(lowest) or np.isfinite(highest):
            outside = (values < lowest) | (values > highest)
            yield QualityFlag("out of range", name, covered, intervals(log, outside), False)
        if np.isfinite(known.greatest_rate) and len(log) > 2:
            _, spike = _fast(log, values, known.greatest_rate * unit.factor, 0.0)
            yield QualityFlag("faster than plausible", name, covered, intervals(log, spike),
                              False)


def _fast(log: FlightLog, values: Floats, rate: float, noise: float) -> tuple[Mask, Mask]:
    """Return the rows after a step faster than `rate` [SI/s], and the spikes, bool[n] each."""
    change = np.diff(values)
    fast = np.abs(change) > rate * np.diff(log.time) + noise
    spike = np.zeros(len(log), dtype=bool)
    twice = np.flatnonzero(fast[:-1] & fast[1:])
    spike[twice + 1] = change[twice] * change[twice + 1] < 0
    return np.concatenate([[False], fast]), spike


def _steps(evaluation: Evaluation) -> Iterator[QualityFlag]:
    """Yield flags of steps faster than plausible in judged channels that aren't spikes."""
    log = evaluation.log
    air = evaluation.air
    for channel, values, bound in (
        (air.airspeed_sources[:1], air.screened_airspeed, sample_reasons.SPEED),
        (air.altitude_sources[:1], air.screened_altitude, sample_reasons.HEIGHT),
    ):
        if channel and len(log) > 2:
            plausible = bound.plausible(values)
            rate = sample_checks.plausible_rate(bound, evaluation.settings)
            fast, spike = _fast(log, plausible, rate, sample_checks.NOISE[bound])
            back = np.concatenate([[False], spike[:-1]])
            yield QualityFlag("implausible step", channel[0],
                              intervals(log, ~np.isnan(plausible)),
                              intervals(log, fast & ~spike & ~back), False)


def _quantised(evaluation: Evaluation) -> Iterator[QualityFlag]:
    """Yield the quantization step of each judged channel, and whether it was truncated."""
    log = evaluation.log
    nowhere = Intervals.of(())
    for subject, channel, values, _ in _subjects(evaluation):
        if subject not in ("airspeed", "pressure altitude"):
            ways = {}
        elif subject == "airspeed":
            ways = redundant_sources.ways_to_the_airspeed(log, evaluation.air)
        else:
            ways = redundant_sources.ways_to_the_altitude(log, evaluation.air)
        found = quantization.step_of(values, log.channels[channel].resolution)
        rounding = quantization.truncated(values, found, ways)
        yield QualityFlag("quantised", channel, intervals(log, ~np.isnan(values)), nowhere, False,
                          {"step": found, **rounding})


def _ceased(evaluation: Evaluation) -> Iterator[QualityFlag]:
    """Yield flags of judged channels that lost their usual noise in a climb or speed change.

    Stretches that a reference channel shows to be frozen are flagged as frozen instead.
    """
    log = evaluation.log
    for subject, channel, values, _ in _subjects(evaluation):
        if subject == "temperature":
            continue
        raised = np.zeros(len(log), dtype=bool)
        raised[
            stuck_channels.rows_of(
                channel_screening.quieter_runs(log, evaluation.air, evaluation.settings, subject)
            )
        ] = True
        raised &= ~_raised(evaluation, f"{subject} frozen while others moved")
        yield QualityFlag("ceased to flicker", channel, intervals(log, ~np.isnan(values)),
                          intervals(log, raised), False)


def _clamped(log: FlightLog, air: AirData, settings: Settings) -> Iterator[QualityFlag]:
    """Yield the flag of an airspeed at the lower end of its range: it was at most that."""
    values = air.screened_airspeed
    known = ~np.isnan(values)
    if not known.any() or not air.airspeed_sources:
        return
    floor = float(sample_reasons.SPEED.plausible(values[known]).min(initial=np.inf))
    raised = np.zeros(len(log), dtype=bool)
    if floor <= settings.floor_kt * KNOT:
        runs = channel_screening.standing(log, values, settings.floor_s)
        raised[stuck_channels.rows_of(runs[values[runs[:, 0]] == floor])] = True
    yield QualityFlag("clamped", air.airspeed_sources[0], intervals(log, known),
                      intervals(log, raised), False, {"floor": floor} if raised.any() else {})


def _lost(evaluation: Evaluation) -> QualityFlag:
    log = evaluation.log
    return QualityFlag("synchronisation lost", "", intervals(log, np.ones(len(log), dtype=bool)),
                       intervals(log, _raised(evaluation, "synchronisation lost")))


def on_ground(log: FlightLog, air: AirData, settings: Settings) -> QualityFlag:
    """Return the flag of ground contact: by weight on wheels, else from low speed and level."""
    channel = "weight_on_wheels" if "weight_on_wheels" in log else ""
    known, raised = rows_on_ground(log, air, settings)
    return QualityFlag("on the ground", channel, intervals(log, known), intervals(log, raised),
                       False)


def rows_on_ground(log: FlightLog, air: AirData, settings: Settings) -> tuple[Mask, Mask]:
    """Return where ground contact is known and where the aircraft was on the ground, bool[n]."""
    if "weight_on_wheels" in log:
        wheels = log.aligned("weight_on_wheels")
        return ~np.isnan(wheels), wheels == 1.0
    speed, altitude = air.screened_airspeed, air.screened_altitude
    known = ~np.isnan(speed)
    slow = np.flatnonzero(speed < settings.ground_kt * KNOT)
    raised = np.zeros(len(log), dtype=bool)
    raised[slow] = True
    if air.altitude_sources and len(slow):
        time = log.time
        before = np.searchsorted(time, time[slow] - _CLIMB_S / 2)
        after = np.searchsorted(time, time[slow] + _CLIMB_S / 2, side="right") - 1
        climb = np.abs(altitude[after] - altitude[before])
        span = np.maximum(time[after] - time[before], _CLIMB_S)
        raised[slow] = climb <= settings.ground_fpm * FOOT / 60 * span
        known[slow[np.isnan(climb)]] = False
    return known, raised


def airborne(log: FlightLog, air: AirData, settings: Settings) -> Intervals:
    """Return the recorded time in which the aircraft wasn't known to be on the ground."""
    recorded = intervals(log, np.ones(len(log), dtype=bool))
    return recorded - intervals(log, rows_on_ground(log, air, settings)[1])


def screened_time(evaluation: Evaluation, within: Intervals) -> dict[str, float]:
    """Return the time [s] within `within` rejected for each screening reason, if any.

    The key "" is for all reasons that reject an airspeed or an altitude. A quantity without a
    channel in the log doesn't count as rejected.
    """
    found: dict[str, float] = {}
    if evaluation.air.rejected is None:
        return found
    rows, reasons = evaluation.air.rejected
    if not evaluation.air.altitude_sources:
        reasons = reasons & ~(sample_reasons.ALTITUDE & ~sample_reasons.LOST)
    for reason in ("", *sample_reasons.REASONS):
        bits = (
            sample_reasons.AIRSPEED | sample_reasons.ALTITUDE
            if not reason
            else sample_reasons.bit(reason)
        )
        mask = np.zeros(len(evaluation.log), dtype=bool)
        mask[rows[(reasons & bits) > 0]] = True
        if mask.any():
            found[reason] = (intervals(evaluation.log, mask) & within).duration
    return found

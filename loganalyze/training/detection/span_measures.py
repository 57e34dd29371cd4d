"""How a stretch was flown that an instructor named, in the measures that its kind has."""

from __future__ import annotations

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.phases.flight_profile import Profile, profiles
from loganalyze.phases.manoeuvres import bank
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.record.arrays import Floats
from loganalyze.training.detection.candidates import cell_noise
from loganalyze.training.detection.limit_approaches import NEAR_KT
from loganalyze.training.exercises import (
    LEVEL_ACCELERATION,
    LIMIT_APPROACH,
    SPEED_CHANGE,
    STALL,
    STEEP_TURN,
    ExerciseKind,
    ExerciseMeasure,
)
from loganalyze.uncertainty.sample_uncertainty import uncertainty_of


def span_measures(
    analysis: Analysis, kind: ExerciseKind, start_s: float, end_s: float
) -> tuple[ExerciseMeasure, ...]:
    """Measure a stretch of a flight as an exercise of a kind.

    Parameters
    ----------
    analysis : Analysis
    kind : ExerciseKind
    start_s, end_s : float
        [s] from the log's first sample.

    Returns
    -------
    tuple of ExerciseMeasure
        Those that need no more than the stretch itself; the duration alone where it holds no
        samples.
    """
    step = analysis.log.interval_s if analysis.log.interval_s > 0 else 1.0
    made = [ExerciseMeasure("duration_s", end_s - start_s, step)]
    held = [(profile, cells) for profile in profiles(analysis, PhaseSettings())
            for cells in [_cells(profile, start_s, end_s)] if cells.stop - cells.start >= 3]
    if not held:
        return tuple(made)
    profile, cells = max(held, key=lambda one: one[1].stop - one[1].start)
    speed, height = profile.airspeed[cells], profile.height[cells]
    noise, rough = cell_noise(profile.airspeed), cell_noise(profile.altitude)
    seconds = max(end_s - start_s, step)
    if kind == STEEP_TURN:
        made += _turn(profile, cells)
    elif kind in (LEVEL_ACCELERATION, SPEED_CHANGE):
        change = float(speed[-1] - speed[0])
        made += [ExerciseMeasure("change_kt", change, noise * np.sqrt(2.0)),
                 ExerciseMeasure("rate_kt_s", change / seconds, noise * np.sqrt(2.0) / seconds),
                 ExerciseMeasure("altitude_range_ft", float(np.ptp(height)), rough)]
    elif kind == STALL:
        slowest = int(speed.argmin())
        made += [ExerciseMeasure("lowest_airspeed_kt", float(speed[slowest]), noise),
                 ExerciseMeasure("altitude_lost_ft",
                                 float(height[slowest] - height[slowest:].min()),
                                 rough * np.sqrt(2.0))]
    elif kind == LIMIT_APPROACH:
        made += _limit(analysis, start_s, end_s)
    else:
        count = max(len(speed) / 20.0, 1.0)
        made += [ExerciseMeasure("speed_sd_kt", float(np.std(speed)),
                                 float(np.std(speed) / np.sqrt(2.0 * count))),
                 ExerciseMeasure("altitude_change_ft", abs(float(height[-1] - height[0])),
                                 rough * np.sqrt(2.0))]
    return tuple(made)


def _cells(profile: Profile, start_s: float, end_s: float) -> slice:
    first = int(np.ceil((start_s - profile.start_s) / profile.step_s))
    stop = int(np.floor((end_s - profile.start_s) / profile.step_s)) + 1
    first, stop = max(first, 0), min(stop, len(profile))
    return slice(first, max(stop, first))


def _turn(profile: Profile, cells: slice) -> list[ExerciseMeasure]:
    height, speed = profile.height[cells], profile.airspeed[cells]
    made = [ExerciseMeasure("altitude_error_ft", float(np.abs(height - height[0]).max()),
                            cell_noise(profile.altitude)),
            ExerciseMeasure("speed_error_kt", float(np.abs(speed - speed[0]).max()),
                            cell_noise(profile.airspeed))]
    banked: Floats | None = bank(profile)
    if banked is not None:
        # The roll in and out at either end is no part of the bank that was held.
        held = banked[cells][np.nan_to_num(banked[cells]) > 0.8 * np.nanmax(banked[cells])]
        made.append(ExerciseMeasure("bank_deg", float(np.median(held))))
        made.append(ExerciseMeasure("bank_sd_deg", float(np.std(held))))
    return made


def _limit(analysis: Analysis, start_s: float, end_s: float) -> list[ExerciseMeasure]:
    rows = np.flatnonzero((analysis.time >= start_s) & (analysis.time <= end_s))
    margin = analysis.columns["margin_kt"][rows].astype(np.float64)
    if not len(rows) or np.isnan(margin).all():
        return []
    lowest = int(np.nanargmin(margin))
    u = float(uncertainty_of(analysis).columns["margin_u_kt"][rows[lowest]])
    step = max(analysis.log.interval_s, 0.0)
    return [ExerciseMeasure("smallest_margin_kt", float(margin[lowest]), u),
            ExerciseMeasure("time_near_s", float((margin < NEAR_KT).sum()) * step, step)]

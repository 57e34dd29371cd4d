"""The exercises of a flight, found in its log."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.phases.flight_profile import Profile, profiles
from loganalyze.phases.ground_legs import AIRBORNE, legs
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.phases.phase_detection import phases_of
from loganalyze.record.arrays import Floats, Mask
from loganalyze.results.assessment_results import PhaseStretch
from loganalyze.training.detection.candidates import Airborne, Candidate
from loganalyze.training.detection.confidence import confidence
from loganalyze.training.detection.level_speeds import (
    acceleration_candidates,
    level_changes,
    speed_change_candidates,
)
from loganalyze.training.detection.limit_approaches import limit_candidates
from loganalyze.training.detection.manoeuvre_exercises import (
    circuit_candidates,
    stall_candidates,
    steep_turn_candidates,
)
from loganalyze.training.detection.steady_climbs import steady_candidates
from loganalyze.training.exercises import (
    CIRCUIT,
    EXERCISE_KINDS,
    LEVEL_ACCELERATION,
    LIMIT_APPROACH,
    SPEED_CHANGE,
    STALL,
    STEEP_TURN,
    Exercise,
    ExerciseFindings,
    ExerciseKind,
)
from loganalyze.uncertainty.sample_uncertainty import Uncertainty, uncertainty_of

NAMED = 0.5
"""A candidate with at least this confidence is named ..."""
NAMED_MARKED = 0.25
"""... or this, where the crew pressed the event marker in it: somebody meant something there."""
MARKER, MARK_S = "event_marker", 15.0
"""The marker's channel; it is pressed within so many seconds [s] of the exercise."""
NOT_EN_ROUTE = ("standing", "taxi", "standing or taxi", "take-off", "initial climb", "approach",
                "landing", "emergency descent")
"""Phases in which no speed is held for an exercise's sake: what is flown there is the phase's."""
_RANK = {CIRCUIT: 0, STALL: 1, STEEP_TURN: 2, LIMIT_APPROACH: 3, LEVEL_ACCELERATION: 4,
         SPEED_CHANGE: 4}
_RANK = {kind: _RANK.get(kind, 5) for kind in EXERCISE_KINDS}
"""Which kind claims a stretch before others: the more particular one."""

NO_BANK, NO_GROUND, NO_PROFILE = (
    "no roll or heading", "no ground recorded", "no altitude or airspeed")
"""Reasons why a kind of exercise can't be found in a log."""


def find_exercises(
    analysis: Analysis, *, settings: PhaseSettings | None = None
) -> ExerciseFindings:
    """Find the exercises of a training flight in its log.

    Parameters
    ----------
    analysis : Analysis
        The judged flight; screened samples count as missing.
    settings : PhaseSettings, optional
        Thresholds of the phases of flight and of the manoeuvres in them.

    Returns
    -------
    ExerciseFindings
        The exercises by start, each with its confidence and measures, and the kinds that can't
        be found in this log. Of several readings of the same stretch the surest is kept.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import find_exercises
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> found = find_exercises(flight)
    >>> found.of("steep turn")
    ()
    """
    settings = settings or PhaseSettings()
    grids = profiles(analysis, settings)
    if not grids:
        return ExerciseFindings((), tuple((kind, NO_PROFILE) for kind in EXERCISE_KINDS))
    marks = event_marks(analysis)
    found = [_exercise(candidate, sure, marks) for flight in _searched(analysis, grids, settings)
             for sure, candidate in _chosen(flight, marks)]
    return ExerciseFindings(tuple(sorted(found, key=lambda one: one.start_s)),
                            _unsearched(grids, settings))


def candidates_of(
    analysis: Analysis, *, settings: PhaseSettings | None = None
) -> tuple[Candidate, ...]:
    """Return everything that may be an exercise, named or not, with its features.

    What the weights of the confidence are fitted to.
    """
    settings = settings or PhaseSettings()
    grids = profiles(analysis, settings)
    return tuple(
        candidate for flight in _searched(analysis, grids, settings) for candidate in flight
    )


def _searched(
    analysis: Analysis, grids: Sequence[Profile], settings: PhaseSettings
) -> list[list[Candidate]]:
    """Return the candidates of each flight of a log."""
    if not grids:
        return []
    _, stretches = phases_of(analysis, settings)
    uncertainty = uncertainty_of(analysis)
    return [_candidates(flown, uncertainty, stretches) for profile in grids
            for flown in _airborne(analysis, profile, settings)]


def event_marks(analysis: Analysis) -> Floats:
    """Return the times at which the event marker was pressed, float64[k] [s], rising.

    Empty where the log has no ``event_marker``.
    """
    if MARKER not in analysis.log:
        return np.zeros(0)
    pressed = np.nan_to_num(analysis.log.aligned(MARKER)) > 0.5
    return np.asarray(analysis.time[np.flatnonzero(np.diff(pressed.view(np.int8), prepend=0) > 0)])


def _airborne(analysis: Analysis, profile: Profile, settings: PhaseSettings) -> list[Airborne]:
    found = [leg for leg in legs(profile, settings) if leg.kind == AIRBORNE]
    begun, ended = {leg.first for leg in found}, {leg.stop for leg in found}
    return [Airborne(analysis, profile, leg, settings, leg.first in ended, leg.stop in begun)
            for leg in found]


def _candidates(
    flown: Airborne, uncertainty: Uncertainty, stretches: Sequence[PhaseStretch]
) -> list[Candidate]:
    """Return the candidates of a flight; what is named early is no part of what comes later."""
    manoeuvres = [*circuit_candidates(flown), *stall_candidates(flown),
                  *steep_turn_candidates(flown)]
    changes = level_changes(flown)
    others = [*limit_candidates(flown, uncertainty), *acceleration_candidates(flown, changes)]
    named = [candidate for candidate in manoeuvres if confidence(candidate) >= NAMED]
    particular = named + [candidate for candidate in others if confidence(candidate) >= NAMED]
    return [*manoeuvres, *others, *speed_change_candidates(flown, changes, particular),
            *steady_candidates(flown, _usable(flown, stretches, named))]


def _usable(
    flown: Airborne, stretches: Sequence[PhaseStretch], manoeuvres: Sequence[Candidate]
) -> Mask:
    """Return the cells in which a speed can be held: en route, and outside any manoeuvre."""
    usable = np.ones(len(flown.profile), dtype=bool)
    times = flown.profile.start_s + flown.step_s * np.arange(len(flown.profile))
    for stretch in stretches:
        if stretch.phase in NOT_EN_ROUTE:
            usable[(times >= stretch.start_s) & (times < stretch.end_s)] = False
    for candidate in manoeuvres:
        usable[(times >= candidate.start_s) & (times < candidate.end_s)] = False
    return usable


def _chosen(candidates: Sequence[Candidate], marks: Floats) -> list[tuple[float, Candidate]]:
    """Return the candidates that are named, each with its confidence.

    Of two that claim the same stretch the one of the earlier kind is kept; a level acceleration
    and a speed change are two readings of one event, of which the surer is.
    """
    kept: list[tuple[float, Candidate]] = []
    rated = [(confidence(candidate), candidate) for candidate in candidates]
    rated.sort(key=lambda pair: (_RANK[pair[1].kind], -pair[0]))
    for sure, candidate in rated:
        if sure >= (NAMED_MARKED if _marked(candidate, marks) else NAMED) and not any(
                _claims(other, candidate) for _, other in kept):
            kept.append((sure, candidate))
    return kept


def _marked(candidate: Candidate, marks: Floats) -> bool:
    return bool(((marks >= candidate.start_s - MARK_S) & (marks <= candidate.end_s + MARK_S)).any())


def _exercise(candidate: Candidate, sure: float, marks: Floats) -> Exercise:
    return Exercise(
        candidate.kind,
        candidate.start_s,
        candidate.end_s,
        sure,
        candidate.evidence,
        candidate.measures,
        marked=_marked(candidate, marks),
    )


def _claims(other: Candidate, candidate: Candidate) -> bool:
    """Whether one candidate's stretch is in good part another's."""
    shared = min(candidate.end_s, other.end_s) - max(candidate.start_s, other.start_s)
    return shared > 0.3 * max(candidate.end_s - candidate.start_s, 1e-9)


def _unsearched(
    grids: list[Profile], settings: PhaseSettings
) -> tuple[tuple[ExerciseKind, str], ...]:
    """Return the kinds that can't be found in a log, each with the reason."""
    missing: list[tuple[ExerciseKind, str]] = []
    if not any(name in profile.more and not np.isnan(profile.more[name]).all()
               for profile in grids for name in ("roll", "heading")):
        missing.append((STEEP_TURN, NO_BANK))
    flights = [leg for profile in grids for leg in legs(profile, settings)
               if leg.kind == AIRBORNE]
    if flights and all(np.isnan(np.fmin(leg.departure_ft, leg.arrival_ft)) for leg in flights):
        missing.append((CIRCUIT, NO_GROUND))
    return tuple(missing)

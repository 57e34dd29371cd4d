"""The exercises of a flight, found in its log."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.phases.flight_profile import Profile, profiles
from loganalyze.phases.ground_legs import AIRBORNE, legs
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.training.detection.candidates import Airborne, Candidate
from loganalyze.training.detection.confidence import confidence
from loganalyze.training.detection.manoeuvre_exercises import (
    circuit_candidates,
    stall_candidates,
    steep_turn_candidates,
)
from loganalyze.training.exercises import (
    CIRCUIT,
    EXERCISE_KINDS,
    STEEP_TURN,
    Exercise,
    ExerciseFindings,
    ExerciseKind,
)

NAMED = 0.5
"""A candidate with at least this confidence is named."""

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
    found = [(confidence(one), one) for profile in grids
             for flown in _airborne(analysis, profile, settings) for one in _candidates(flown)]
    kept: list[tuple[float, Candidate]] = []
    for sure, one in sorted(found, key=lambda pair: (-pair[0], pair[1].start_s)):
        if sure >= NAMED and not any(_clash(one, other) for _, other in kept):
            kept.append((sure, one))
    exercises = tuple(Exercise(one.kind, one.start_s, one.end_s, sure, one.evidence, one.measures)
                      for sure, one in sorted(kept, key=lambda pair: pair[1].start_s))
    return ExerciseFindings(exercises, _unsearched(grids, settings))


def _airborne(analysis: Analysis, profile: Profile, settings: PhaseSettings) -> list[Airborne]:
    found = [leg for leg in legs(profile, settings) if leg.kind == AIRBORNE]
    begun, ended = {leg.first for leg in found}, {leg.stop for leg in found}
    return [Airborne(analysis, profile, leg, settings, leg.first in ended, leg.stop in begun)
            for leg in found]


def _candidates(flown: Airborne) -> Iterator[Candidate]:
    yield from steep_turn_candidates(flown)
    yield from stall_candidates(flown)
    yield from circuit_candidates(flown)


def _clash(one: Candidate, other: Candidate) -> bool:
    """Whether two candidates claim the same stretch."""
    shared = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    shortest = min(one.end_s - one.start_s, other.end_s - other.start_s)
    return shared > 0.3 * max(shortest, 1e-9)


def _unsearched(
    grids: list[Profile], settings: PhaseSettings
) -> tuple[tuple[ExerciseKind, str], ...]:
    """Return the kinds that can't be found in a log, each with the reason."""
    if not grids:
        return tuple((kind, NO_PROFILE) for kind in EXERCISE_KINDS)
    missing: list[tuple[ExerciseKind, str]] = []
    if not any(name in profile.more and not np.isnan(profile.more[name]).all()
               for profile in grids for name in ("roll", "heading")):
        missing.append((STEEP_TURN, NO_BANK))
    flights = [leg for profile in grids for leg in legs(profile, settings)
               if leg.kind == AIRBORNE]
    if flights and all(np.isnan(np.fmin(leg.departure_ft, leg.arrival_ft)) for leg in flights):
        missing.append((CIRCUIT, NO_GROUND))
    return tuple(missing)

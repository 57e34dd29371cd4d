"""Exercises of a training flight: what each kind means, and the record of one that was found.

The kinds are the program's own definitions in terms of what a recorder shows. An exercise can't
be told from ordinary flying by what the crew meant, only by how it was flown:

=========================  =====================================================================
kind                       when
=========================  =====================================================================
level acceleration         at a kept altitude, from a steady speed, the airspeed grows by a third
                           or more in one go
speed change               at a kept altitude, from one steady speed to another that differs by
                           less than a third, and back or on again within minutes: one of a
                           series; a single change is ordinary flying
climb, descent at          a climb or a descent with a steady airspeed or Mach number; every
constant CAS or Mach       such stretch is named, an ordinary flight's too
steep turn                 a level turn banked by more than a turn of ordinary flying is
stall                      a level deceleration, height lost while the speed comes back, then a
                           level or a climb
circuit                    from the ground back to the same ground, or to a low go-around
limit approach             the margin to the limit airspeed closes steadily to a few knots, and is
                           opened again within minutes: the demonstration of the limit pointer
=========================  =====================================================================

An exercise begins and ends where two lines cross: those through the level and the climb, through
the steady speed and its change, or, where an airspeed passes into a Mach number or back, through
the two held speeds. What is rounded off over some seconds has its edge there, whichever threshold
would have been passed before or after.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

ExerciseKind = Literal[
    "level acceleration", "speed change", "climb at constant CAS", "climb at constant Mach",
    "descent at constant CAS", "descent at constant Mach", "steep turn", "stall", "circuit",
    "limit approach"]

LEVEL_ACCELERATION: Final = "level acceleration"
SPEED_CHANGE: Final = "speed change"
CLIMB_CAS: Final = "climb at constant CAS"
CLIMB_MACH: Final = "climb at constant Mach"
DESCENT_CAS: Final = "descent at constant CAS"
DESCENT_MACH: Final = "descent at constant Mach"
STEEP_TURN: Final = "steep turn"
STALL: Final = "stall"
CIRCUIT: Final = "circuit"
LIMIT_APPROACH: Final = "limit approach"

EXERCISE_KINDS: tuple[ExerciseKind, ...] = (
    LEVEL_ACCELERATION, SPEED_CHANGE, CLIMB_CAS, CLIMB_MACH, DESCENT_CAS, DESCENT_MACH, STEEP_TURN,
    STALL, CIRCUIT, LIMIT_APPROACH)
"""Every kind of exercise."""

Origin = Literal["found", "corrected", "added"]
FOUND: Final = "found"
CORRECTED: Final = "corrected"
ADDED: Final = "added"


@dataclass(frozen=True, slots=True)
class ExerciseMeasure:
    """One number about how an exercise was flown.

    ``name`` : ends with its unit ("bank_deg", "altitude_range_ft"); ``value`` : NaN where not
    known; ``uncertainty`` : its standard uncertainty, in the same unit, NaN where not known.
    """

    name: str
    value: float
    uncertainty: float = float("nan")


@dataclass(frozen=True, slots=True)
class Exercise:
    """An exercise in a flight.

    ``start_s``, ``end_s`` [s] : from the log's first sample; ``confidence`` : of the findings
    with a confidence p about a share p is right, on scripted lessons (1 where an instructor
    stated it); ``evidence`` : what supports the finding, (code, number) pairs whose codes end with
    their units; ``measures`` : how it was flown; ``origin`` : FOUND by the program, CORRECTED or
    ADDED by an instructor, ``by`` whom (blank where not stated) and ``at`` which time [UTC];
    ``marked`` : an event marker was recorded within it.
    """

    kind: ExerciseKind
    start_s: float
    end_s: float
    confidence: float
    evidence: tuple[tuple[str, float], ...] = ()
    measures: tuple[ExerciseMeasure, ...] = ()
    origin: Origin = FOUND
    marked: bool = False
    by: str = ""
    at: str = ""

    @property
    def duration_s(self) -> float:
        """How long it took [s]."""
        return self.end_s - self.start_s

    def measure(self, name: str) -> ExerciseMeasure:
        """Return the measure of a name; one of NaN where the exercise has none of it."""
        for measure in self.measures:
            if measure.name == name:
                return measure
        return ExerciseMeasure(name, float("nan"))


@dataclass(frozen=True, slots=True)
class ExerciseFindings:
    """The exercises of a flight.

    ``exercises`` : by start; ``unsearched`` : (kind, reason) pairs, the kinds that can't be found
    in this log and the code of the reason, such as ("steep turn", "no roll or heading");
    ``deleted`` : what was found and an instructor said is none.
    """

    exercises: tuple[Exercise, ...]
    unsearched: tuple[tuple[ExerciseKind, str], ...] = ()
    deleted: tuple[Exercise, ...] = ()

    def of(self, kind: ExerciseKind) -> tuple[Exercise, ...]:
        """Return the exercises of one kind, by start."""
        return tuple(exercise for exercise in self.exercises if exercise.kind == kind)

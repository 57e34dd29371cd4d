"""The results of measuring a flight against a schedule: frozen values, numbers and codes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from loganalyze.sheets.lesson.schedule_file import SegmentKind

Part = Literal["airspeed", "lower airspeed", "mach"]
Unit = Literal["kt", "mach"]
Settled = Literal["no change", "settled", "not settled"]
ChangeCode = Literal["made", "not made", "not recorded"]
CriterionCode = Literal["met", "not met", "in doubt", "not measured"]

NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Measured:
    """A number and its standard uncertainty, in the same unit; NaN where not known."""

    value: float = NAN
    u: float = NAN


@dataclass(frozen=True, slots=True)
class Departure:
    """A stretch outside the tolerance.

    ``furthest`` : beyond the edge of the tolerance, above 0, in the segment's unit, at
    ``furthest_s`` [s]; ``faster`` : on which side; ``sure`` : that it was truly outside, beyond the
    measurement's uncertainty at a confidence of 95 %. One that isn't sure counts against nobody.
    ``seconds_u``, ``furthest_u`` : standard uncertainties of its length and of ``furthest``.
    """

    start_s: float
    end_s: float
    furthest: float
    furthest_s: float
    faster: bool
    sure: bool
    seconds_u: float = NAN
    furthest_u: float = NAN

    @property
    def seconds(self) -> float:
        """How long it was [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class KeptMargin:
    """The margin to one limit that was kept in a segment.

    ``smallest`` : in the limit's own unit (kt or Mach), ``smallest_kt`` as CAS [kt], ``u_kt`` its
    standard uncertainty; ``time_s`` when, ``pressure_altitude_ft`` where; ``near_share`` : share of
    the segment's judged time with less margin than the schedule's `near_kt`, 0 to 1.
    """

    limit: str
    in_mach: bool
    smallest: float
    smallest_kt: float
    u_kt: float
    time_s: float
    pressure_altitude_ft: float
    near_share: float


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing that a rule of the school asks for, and what was flown."""

    key: str
    asked: float
    flown: float
    u: float
    code: CriterionCode


@dataclass(frozen=True, slots=True)
class HeldTurn:
    """A steep turn against its tolerance, from ``start_s`` to ``end_s`` [s].

    ``tolerance_source`` : whose tolerance; ``criteria`` : how far it went from the altitude and the
    airspeed of its entry, each side that the tolerance states.
    """

    start_s: float
    end_s: float
    tolerance_source: str
    criteria: tuple[Criterion, ...]


@dataclass(frozen=True, slots=True)
class LevelOff:
    """A level within a climb or a descent, from ``start_s`` to ``end_s`` [s], at a pressure
    altitude [ft]. It belongs to neither the climb or descent nor the cruise.
    """

    kind: SegmentKind
    start_s: float
    end_s: float
    altitude_ft: float


@dataclass(frozen=True, slots=True)
class Grade:
    """A word of the school for a segment: the first rule that nothing speaks against.

    ``name`` is empty where every rule failed or couldn't be applied; ``tried`` : each rule up to
    the one that counts, as (name, criteria).
    """

    name: str
    tried: tuple[tuple[str, tuple[Criterion, ...]], ...]


@dataclass(frozen=True, slots=True)
class Segment:
    """How one part of a flight was flown against what was briefed.

    Speeds are in ``unit``, kt CAS or Mach. Errors are flown less briefed: positive is faster.
    Errors, shares and departures are of the time after the speed had settled, or of the whole
    segment where it never did; ``counted_s`` is how long that is, without gaps [s].

    Attributes
    ----------
    kind, part, name
        Which part of the schedule; ``name`` is that of a speed by configuration, else empty.
    start_s, end_s, start_ft, end_ft
        Times [s] from the log's first sample, and pressure altitudes [ft].
    target
        The briefed speed.
    slower, faster
        How far below and above it still counts; None where nothing is stated.
    tolerance_source
        Whose tolerance that is; empty where there is none.
    mean, rms
        Mean error, and the root of the mean squared error, both freed of noise.
    largest, largest_s
        The error farthest from 0, and when.
    within, sure_outside, in_doubt
        Shares of the counted time, 0 to 1: within the tolerance (estimate), outside it beyond the
        measurement's uncertainty, and too close to its edge to tell. NaN without a tolerance.
    departures
        Stretches outside the tolerance, by time.
    settled, step, settling_s, overshoot
        Whether the speed had to change at the beginning and came to the new one; by how much it
        had to change; how long it took [s]; how far it went past the new speed.
    unsteadiness
        Root mean square change of the error over ``lag_s`` [s], freed of noise.
    common_u, noise
        Standard uncertainty of the speed that is common to the segment, and the standard
        deviation of a cell's noise, which is counted nowhere.
    margins
        To each limit without conditions, of an airspeed or a Mach number.
    """

    kind: SegmentKind
    part: Part
    name: str
    unit: Unit
    target: float
    start_s: float
    end_s: float
    start_ft: float
    end_ft: float
    counted_s: float
    slower: float | None
    faster: float | None
    tolerance_source: str
    mean: Measured
    rms: Measured
    largest: Measured
    largest_s: float
    within: Measured
    sure_outside: float
    in_doubt: float
    departures: tuple[Departure, ...]
    settled: Settled
    step: float
    settling_s: Measured
    overshoot: Measured
    unsteadiness: Measured
    lag_s: float
    common_u: float
    noise: float
    margins: tuple[KeptMargin, ...] = ()
    grade: Grade | None = None

    @property
    def has_tolerance(self) -> bool:
        """Whether the segment is held against a tolerance."""
        return self.slower is not None or self.faster is not None

    @property
    def sure_departures(self) -> tuple[Departure, ...]:
        """The departures that count."""
        return tuple(departure for departure in self.departures if departure.sure)

    @property
    def longest(self) -> Departure | None:
        """The longest departure that counts; None without one."""
        return max(self.sure_departures, key=lambda one: one.seconds, default=None)

    @property
    def furthest(self) -> Departure | None:
        """The departure that counts and went farthest; None without one."""
        return max(self.sure_departures, key=lambda one: one.furthest, default=None)


@dataclass(frozen=True, slots=True)
class Change:
    """The change from one briefed speed to the other at the crossover, in a climb or a descent.

    ``crossover_ft`` : where both briefed speeds are one (closed form), ``due_s`` : when that
    altitude was passed [s]; ``made_s`` : when the first speed was given up [s], ``made_ft`` :
    where; ``late_s``, ``late_ft`` : later (positive) or earlier than due, with standard
    uncertainties, the height positive where the aircraft had flown on beyond the crossover.
    ``code`` : "made"; "not made" : the first speed was held on, or never held; "not recorded" :
    too little was recorded on one side. ``probability`` : that the change was made, 0 to 1.
    """

    kind: SegmentKind
    first: Part
    crossover_ft: float
    due_s: float
    code: ChangeCode
    made_s: float = NAN
    made_ft: float = NAN
    late_s: Measured = Measured()
    late_ft: Measured = Measured()
    probability: float = NAN

"""Edges of exceedances: steps that no aircraft can fly, and entries that are not recorded.

A stuck bit or a corrupt sample makes a step between two samples; flight and gusts take time. A
step is held against what the aircraft can gain in that time (thrust less drag, and the weight's
part along the path) and what a gust can add.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.atmosphere import G0
from loganalyze.crosscheck.reference_channels import AIRSPEED, ALTITUDE
from loganalyze.events.analysis import Analysis
from loganalyze.limits.evaluation import OVER, UNDER, UNKNOWN
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.channels import CHANNELS
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import DEGREE, FOOT, KNOT
from loganalyze.results.evidence import Edge

GUST_KT = 15.0
"""Change of airspeed that a gust causes within a second [kt], and proportional to the cube root of
the time within less (structure function of turbulence [1]): half of the 50 ft/s gust that 14 CFR
25.341 requires aircraft to withstand at sea level."""
WIND_KT_S = 4.0
"""Sustained rate of change of the wind along the path [kt/s]: a severe upset."""
THRUST_G = 0.4
"""Thrust minus drag, as a fraction of the weight: the greatest along the path in level flight
(engineering judgement, no source)."""
STEEP_FT_S = 300.0
"""The fastest climb or descent at constant airspeed [ft/s]: one and a half times the steepest
emergency descent (engineering judgement, no source)."""
PORT_FT = 100.0
"""Altitude error of a static port in gusts and sideslip [ft] (engineering judgement, no source)."""
GENTLE_KT, GENTLE_KT_S = 3.0, 8.0
"""An exceedance that begins and ends by steps greater than this [kt], plus this a second [kt/s],
without any other evidence, is only suspected: twice the severe upset."""
LOCAL = 5.0
"""Steps up to so many times the usual one nearby are due to the local air or sensor noise."""
SHORT_S = 30.0
"""A stuck bit is known to last up to this long [s] (common practice, no source): a longer stretch
is credible without a recorded entry."""
_ENOUGH = 5
"""So many samples make an exceedance credible by itself where the log holds no others."""
LOOK_S = 60.0
"""Range of the search for the usual step nearby and for the next known sample [s]."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """An exceedance by its rows: the first and the last over the limit, and the worst."""

    limit: int
    first: int
    last: int
    worst: int


@dataclass(frozen=True, eq=False)
class Known:
    """The data that the edges of a flight's exceedances are checked against, looked up once.

    Airspeed and altitude as recorded, NaN where screened; the altitude matters to a limit that
    changes with it. ``ground_speed`` [m/s] is None where it isn't recorded.
    """

    time: Floats
    airspeed: Floats
    altitude: Floats
    ground_speed: Floats | None
    reach: float
    """The longest time for which a sample is valid [s]."""

    @classmethod
    def of(cls, analysis: Analysis) -> Known:
        """Look them up in an analysis."""
        air, log = analysis.evaluation.air, analysis.log
        speed = np.array(air.calibrated_airspeed, dtype=np.float64)
        height = np.array(air.pressure_altitude, dtype=np.float64)
        if air.rejected is not None:
            from_screening = air.rejected[0]
            reasons = air.reasons_at(from_screening)
            speed[from_screening[reasons > 0]] = np.nan
            height[from_screening[reasons > 0]] = np.nan
        interval = log.interval_s
        return cls(log.time, speed, height,
                   log.aligned("ground_speed") if "ground_speed" in log else None,
                   HELD_INTERVALS * interval if interval > 0 else np.inf)


def edges_of(analysis: Analysis, known: Known, stretch: Stretch, needed: Sequence[str]
             ) -> tuple[tuple[Edge, ...], bool]:
    """Return the unflyable steps of an exceedance, and whether its entry is unrecorded.

    Parameters
    ----------
    analysis : Analysis
    known : Known
    stretch : Stretch
        The exceedance.
    needed : sequence of str
        The air data that the excess depends on: AIRSPEED, ALTITUDE.

    Returns
    -------
    tuple of Edge, bool
        The greatest such step into the excess and out of it, of each quantity; and whether the
        exceedance is too short, with its entry or its exit not recorded, to be credible by
        itself.
    """
    state = analysis.columns[f"state_{stretch.limit}"]
    whole = _continued(known, state, stretch)
    found = _airspeed_edges(known, whole) if AIRSPEED in needed else []
    if ALTITUDE in needed:
        found += _altitude_edges(known, whole)
    found += _configuration_edges(analysis, stretch)
    # Other quantities have no known rate limit, so their edges can't be implausible.
    return tuple(found), AIRSPEED in needed and _unseen(known, state, whole)


def _continued(known: Known, state: NDArray[np.uint8], stretch: Stretch) -> Stretch:
    """The exceedance with those before and after it that only a gap separates from it."""
    first, last = stretch.first, stretch.last
    for _ in range(50):
        before = _next(known, first, -1)
        if before is None or state[before] != OVER or not _flown(known, before, first):
            break
        first = before
        while first > 0 and state[first - 1] == OVER and not _gap(known, first - 1):
            first -= 1
    for _ in range(50):
        after = _next(known, last, 1)
        if after is None or state[after] != OVER or not _flown(known, last, after):
            break
        last = after
        while last + 1 < len(state) and state[last + 1] == OVER and not _gap(known, last):
            last += 1
    return Stretch(stretch.limit, first, last, stretch.worst)


def _gap(known: Known, row: int) -> bool:
    return bool(known.time[row + 1] - known.time[row] > known.reach)


def _next(known: Known, row: int, way: int) -> int | None:
    """The next row with an airspeed before (-1) or after (1) a row, no further than LOOK_S."""
    at = row + way
    while 0 <= at < len(known.time) and abs(known.time[at] - known.time[row]) <= LOOK_S:
        if not np.isnan(known.airspeed[at]):
            return at
        at += way
    return None


def _flown(known: Known, before: int, after: int) -> bool:
    step = known.airspeed[after] - known.airspeed[before]
    rows = np.array([before, after])
    return bool(abs(step) <= greatest_steps(known, rows)[0])


def greatest_steps(known: Known, rows: Rows) -> Floats:
    """Return the greatest steps [m/s] of the airspeed between rows: float64[m - 1].

    The ground speed, where it is recorded, shows what the aircraft itself gained.
    """
    seconds = np.diff(known.time[rows])
    gust = GUST_KT * np.minimum(np.cbrt(seconds), 1.0) + WIND_KT_S * seconds
    fallen = np.abs(np.diff(known.altitude[rows]))
    # The path's slope; no steeper than straight down. An unknown altitude allows any.
    travelled = np.fmax(known.airspeed[rows[1:]], known.airspeed[rows[:-1]]) * seconds
    slope = np.where(np.isnan(fallen), 1.0, np.minimum(fallen / np.fmax(travelled, 1.0), 1.0))
    gained = (THRUST_G + slope) * G0 * seconds
    if known.ground_speed is not None:
        over_ground = np.abs(np.diff(known.ground_speed[rows]))
        gained = np.where(np.isnan(over_ground), gained, np.minimum(over_ground, gained))
    return np.asarray(gust * KNOT + gained)


def _window(known: Known, stretch: Stretch, values: Floats) -> Rows:
    """The known rows of an exceedance, with the next one on either side."""
    before, after = (_next(known, stretch.first, -1), _next(known, stretch.last, 1))
    rows = np.arange(stretch.first if before is None else before,
                     (stretch.last if after is None else after) + 1)
    return rows[~np.isnan(values[rows])]


def _airspeed_edges(known: Known, stretch: Stretch) -> list[Edge]:
    """Steps up before the worst sample, and down after it, that no aircraft can fly."""
    rows = _window(known, stretch, known.airspeed)
    if len(rows) < 2:
        return []
    steps, seconds = np.diff(known.airspeed[rows]), np.diff(known.time[rows])
    allowed = greatest_steps(known, rows)
    into = rows[1:] <= stretch.worst
    inwards = np.where(into, steps, -steps)
    chosen = [int(some[np.argmax(inwards[some] - allowed[some])])
              for side in (into, ~into)
              if len(some := np.flatnonzero((inwards > allowed) & side))]
    if not chosen:
        # Short, and square: both its sides are steeper than the air and the aircraft do here.
        allowed = np.minimum(allowed, np.maximum(
            (GENTLE_KT + GENTLE_KT_S * seconds) * KNOT, LOCAL * _usual_step(known, stretch)))
        steep = inwards > allowed
        sides = np.flatnonzero(steep & into), np.flatnonzero(steep & ~into)
        if not len(sides[0]) or not len(sides[1]):
            return []
        chosen = [int(sides[0][-1]), int(sides[1][0])]
        if known.time[rows[chosen[1]]] - known.time[rows[chosen[0] + 1]] > SHORT_S:
            return []
    return [Edge("airspeed", float(known.time[rows[k + 1]]), float(steps[k]) / KNOT,
                 float(allowed[k]) / KNOT, float(seconds[k]))
            for k in chosen if not _after_a_dip(known, stretch, int(rows[k]), int(rows[k + 1]))]


def _usual_step(known: Known, stretch: Stretch) -> float:
    """The usual step [m/s] of the airspeed nearby."""
    low, high = np.searchsorted(known.time, (known.time[stretch.first] - LOOK_S,
                                             known.time[stretch.last] + LOOK_S))
    steps = np.abs(np.diff(known.airspeed[low:high]))
    steps = steps[~np.isnan(steps)]
    return float(np.median(steps)) if len(steps) else 0.0


def _after_a_dip(known: Known, stretch: Stretch, before: int, after: int) -> bool:
    """Whether the step is that of a short dip between two stretches that were both flown.

    Then the samples in the dip are corrupt, not those beside it.
    """
    into = after <= stretch.worst
    low_row, high_row = (before, after) if into else (after, before)
    way = -1 if into else 1
    edge, level = low_row, known.airspeed[high_row]
    while True:
        at = _next(known, edge, way)
        if at is None or abs(known.time[at] - known.time[low_row]) > SHORT_S:
            return False
        pair = np.array(sorted((edge, at)))
        rise = known.airspeed[at] - known.airspeed[edge]
        if rise > greatest_steps(known, pair)[0]:
            far = np.array(sorted((at, high_row)))
            if abs(known.airspeed[at] - level) > greatest_steps(known, far)[0]:
                return False
            break
        edge = at
    # The stretch beyond the dip must be one that was flown into: not itself a short step up.
    edge = at
    while True:
        further = _next(known, edge, way)
        if further is None:
            return False
        if abs(known.time[further] - known.time[at]) > SHORT_S:
            return True
        pair = np.array(sorted((edge, further)))
        if known.airspeed[edge] - known.airspeed[further] > greatest_steps(known, pair)[0]:
            return False
        edge = further


def _altitude_edges(known: Known, stretch: Stretch) -> list[Edge]:
    """Steps of the pressure altitude inside the exceedance and at its ends that can't be flown."""
    rows = _window(known, stretch, known.altitude)
    if len(rows) < 2:
        return []
    steps, seconds = np.diff(known.altitude[rows]), np.diff(known.time[rows])
    allowed = (PORT_FT + STEEP_FT_S * seconds) * FOOT
    k = int(np.argmax(np.abs(steps) - allowed))
    if abs(steps[k]) <= allowed[k]:
        return []
    return [Edge("pressure altitude", float(known.time[rows[k + 1]]), float(steps[k]) / FOOT,
                 float(allowed[k]) / FOOT, float(seconds[k]))]


def _configuration_edges(analysis: Analysis, stretch: Stretch) -> list[Edge]:
    """A flap or slat surface that brings the limit into force faster than it can move."""
    limit, log = analysis.sheet.limit[stretch.limit], analysis.log
    if stretch.first == 0:
        return []
    found = []
    depends_on = {part.channel for part in limit.conditions}
    surfaces: tuple[Literal["flap", "slat"], ...] = ("flap", "slat")
    for channel in surfaces:
        if channel not in depends_on or channel not in log:
            continue
        rows = np.array([stretch.first - 1, stretch.first])
        step = float(np.diff(log.aligned(channel)[rows])[0]) / DEGREE
        seconds = float(np.diff(log.time[rows])[0])
        allowed = CHANNELS[channel].greatest_rate * seconds + 2.0
        if abs(step) > allowed:
            found.append(Edge(channel, float(log.time[stretch.first]), step, allowed, seconds))
    return found


def _unseen(known: Known, state: NDArray[np.uint8], stretch: Stretch) -> bool:
    """Whether an end of the exceedance isn't recorded, and the rest isn't credible by itself."""
    seen = []
    for row, way in ((stretch.first, -1), (stretch.last, 1)):
        beside = row + way
        at_end = not 0 <= beside < len(state)
        seen.append(not at_end and not _gap(known, min(row, beside))
                    and state[beside] != UNKNOWN and not np.isnan(known.airspeed[beside]))
    over = int((state[stretch.first : stretch.last + 1] == OVER).sum())
    if all(seen) or known.time[stretch.last] - known.time[stretch.first] > SHORT_S:
        return False
    if not any(seen):
        # A recording that is over from end to end shows no entry, but no step either.
        return over < _ENOUGH or stretch.first > 0 or stretch.last + 1 < len(state)
    row, beside = ((stretch.first, stretch.first - 1) if seen[0]
                   else (stretch.last, stretch.last + 1))
    if state[beside] != UNDER:
        return over == 1  # The limit came into force or ceased: at one sample only.
    step = abs(known.airspeed[row] - known.airspeed[beside])
    seconds = abs(known.time[row] - known.time[beside])
    return bool(step > max((GENTLE_KT + GENTLE_KT_S * seconds) * KNOT,
                           LOCAL * _usual_step(known, stretch)))

"""Two flights aligned with each other: by altitude in the descent, by time, or from an instant.

Each flight keeps its own judgement; nothing here changes or repeats it. At each step of the
alignment both are read by straight lines between two judged samples, never across a gap, and
where one of them wasn't judged there is no difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.explain.margin_contributions import contributions
from loganalyze.problems import Problem
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.results.assessment_results import Contributions

Floats = NDArray[np.float64]

Alignment = Literal["altitude", "descent", "instant"]
Note = Literal[
    "two aircraft", "other limits", "other rates", "gaps", "little overlap", "same recording"]

STEP_FT, STEP_S = 100.0, 1.0
"""Steps of the alignment."""
TOP_FT = 300.0
"""The descent begins where the altitude was last so near its greatest."""
LEAST_DESCENT_FT = 1000.0
"""Less is no descent."""
SLOWEST_KT = 60.0
"""Slower than this the aircraft rolls, and nothing is compared."""
LITTLE_FT, LITTLE_S = 2000.0, 60.0
"""An overlap shorter than this is said to be little."""
NEAR_KT = (0.0, 5.0, 10.0, 20.0)
"""Time with less margin than each of these is counted; 0 is over a limit."""

COLUMNS = ("time_s", "pressure_altitude_ft", "calibrated_airspeed_kt", "limit_airspeed_kt",
           "margin_kt")


@dataclass(frozen=True, eq=False)
class ComparedFlight:
    """One of the two flights, where both were flown.

    ``origin_s`` : the top of its descent, or the instant marked [s from the log's first sample];
    ``values`` : at each step of the alignment, float64[n] by the names of `COLUMNS`, NaN where not
    known; ``judged_s`` : judged time in the part compared; ``near_s`` : (margin [kt], time with
    less [s]) for each of NEAR_KT; ``smallest_kt``, ``smallest_s`` : the smallest margin there and
    when, ``smallest_altitude_ft`` where; ``run_in`` : what led to it, None where it can't be told.
    """

    analysis: Analysis
    origin_s: float
    values: dict[str, Floats]
    judged_s: float
    near_s: tuple[tuple[float, float], ...]
    smallest_kt: float
    smallest_s: float
    smallest_altitude_ft: float
    governing: str
    run_in: Contributions | None


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two flights side by side.

    ``steps`` : float64[n], pressure altitude [ft], falling, or time from the origins [s], rising;
    ``difference_kt`` : the second flight's margin less the first's at each step, NaN where either
    isn't known: negative is less margin than the first had; ``notes`` : what to keep in mind.
    """

    by: Alignment
    steps: Floats
    first: ComparedFlight
    second: ComparedFlight
    difference_kt: Floats
    notes: tuple[Note, ...]

    @property
    def flights(self) -> tuple[ComparedFlight, ComparedFlight]:
        """Both flights."""
        return self.first, self.second

    @property
    def compared(self) -> int:
        """At how many steps a difference is known."""
        return int(np.isfinite(self.difference_kt).sum())

    def extreme(self, sign: int) -> int | None:
        """Return the step of the greatest (1) or smallest (-1) difference near a limit.

        That is where either margin is less than the last of NEAR_KT: on a slow approach margins
        differ by a lot, and it matters little. None where none was so near.
        """
        margins = [flight.values["margin_kt"] for flight in self.flights]
        near = np.isfinite(self.difference_kt) & (np.fmin(*margins) < NEAR_KT[-1])
        if not near.any():
            return None
        return int(np.nanargmax(np.where(near, sign * self.difference_kt, np.nan)))


def compare(
    first: Analysis, second: Analysis, *, by: Alignment = "altitude",
    marks: Sequence[float] | None = None,
) -> Comparison:
    """Lay two flights side by side.

    Parameters
    ----------
    first, second : Analysis
        The two judged flights, such as an instructor's demonstration and a student's descent. They
        may have been judged against different sheets, and recorded at different rates.
    by : {"altitude", "descent", "instant"}
        At the same pressure altitude in the last descent from the greatest altitude; at the same
        time from the top of that descent; or at the same time from the instants in `marks`.
    marks : sequence of two floats, optional
        The instants [s from each log's first sample]; for "instant" only.

    Returns
    -------
    Comparison

    Raises
    ------
    Problem
        Where a flight has no descent or no altitude, a mark lies outside its flight, or the two
        have no altitude or no time in common.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> flights = [la.analyze(la.read_log(f"sample_logs/{name}.csv"), sheet)
    ...            for name in ("clean_flight", "descent_through_mmo_and_vmo")]
    >>> found = la.compare(*flights)
    >>> found.by, bool(found.second.smallest_kt < 0 < found.first.smallest_kt)
    ('altitude', True)
    """
    both = (first, second)
    if (marks is not None) != (by == "instant"):
        raise Problem("two flights are aligned from instants exactly where these are given",
                      "compare", 'give marks with by="instant", and with nothing else')
    if by == "instant":
        assert marks is not None
        origins = _marked(both, marks)
        spans = [_airborne(analysis) for analysis in both]
    else:
        spans = [_descent(analysis) for analysis in both]
        origins = [start for start, _ in spans]
    if by == "altitude":
        steps, times = _by_altitude(both, spans)
    else:
        steps, times = _by_time(both, spans, origins)
    flights = [_flight(analysis, origin, at) for analysis, origin, at in zip(
        both, origins, times, strict=True)]
    difference = flights[1].values["margin_kt"] - flights[0].values["margin_kt"]
    return Comparison(by, steps, flights[0], flights[1], difference,
                      _notes(both, by, steps, flights))


def _name(analysis: Analysis) -> str:
    return str(analysis.log.source.path)


def _airborne(analysis: Analysis) -> tuple[float, float]:
    """Return from when to when a flight was fast enough to be compared [s]."""
    fast = np.flatnonzero(analysis.columns["calibrated_airspeed_kt"] >= SLOWEST_KT)
    if not len(fast):
        raise Problem(f"at no time is the airspeed known to be {SLOWEST_KT:g} kt or more",
                      _name(analysis), "compare recordings of flights")
    return float(analysis.time[fast[0]]), float(analysis.time[fast[-1]])


def _descent(analysis: Analysis) -> tuple[float, float]:
    """Return when the descent from the greatest altitude began and ended [s]."""
    start, end = _airborne(analysis)
    rows = np.flatnonzero((analysis.time >= start) & (analysis.time <= end))
    altitude = analysis.columns["pressure_altitude_ft"][rows].astype(np.float64)
    if np.isnan(altitude).all():
        raise Problem("the pressure altitude is not known, so there is no descent to align by",
                      _name(analysis), "align the flights from a marked instant")
    greatest = float(np.nanmax(altitude))
    top = int(np.flatnonzero(altitude >= greatest - TOP_FT)[-1])
    bottom = top + int(np.nanargmin(altitude[top:]))
    if greatest - float(np.nanmin(altitude[top:])) < LEAST_DESCENT_FT:
        raise Problem(f"after its greatest altitude, {greatest:,.0f} ft, the flight descended by "
                      f"less than {LEAST_DESCENT_FT:,.0f} ft", _name(analysis),
                      "align the flights from a marked instant")
    return float(analysis.time[rows[top]]), float(analysis.time[rows[bottom]])


def _marked(both: Sequence[Analysis], marks: Sequence[float]) -> list[float]:
    if len(marks) != 2:
        raise Problem(f"{len(marks)} instants mark two flights", "compare", "give one for each")
    for analysis, mark in zip(both, marks, strict=True):
        if not analysis.time[0] <= mark <= analysis.time[-1]:
            raise Problem(f"the instant {mark:g} s lies outside the flight, which lasts from "
                          f"{analysis.time[0]:g} to {analysis.time[-1]:g} s", _name(analysis),
                          "count the seconds from the log's first sample")
    return [float(mark) for mark in marks]


def _by_altitude(both: Sequence[Analysis], spans: Sequence[tuple[float, float]]
                 ) -> tuple[Floats, list[Floats]]:
    """Return altitudes that both descended through [ft], and when each first did [s]."""
    reached = []
    for analysis, (start, end) in zip(both, spans, strict=True):
        rows = np.flatnonzero((analysis.time >= start) & (analysis.time <= end))
        altitude = analysis.columns["pressure_altitude_ft"][rows].astype(np.float64)
        known = ~np.isnan(altitude)
        # The lowest so far: a level-off or a short climb is passed over, not met twice.
        reached.append((analysis.time[rows][known], np.minimum.accumulate(altitude[known])))
    high = min(float(lowest[0]) for _, lowest in reached)
    low = max(float(lowest[-1]) for _, lowest in reached)
    if high - low < STEP_FT:
        parts = [f"{lowest[0]:,.0f} to {lowest[-1]:,.0f} ft" for _, lowest in reached]
        raise Problem(f"the two descents have no altitude in common: {parts[0]} and {parts[1]}",
                      _name(both[1]), "align them by time from the top of descent")
    steps = np.arange(np.floor(high / STEP_FT) * STEP_FT, low - 1e-6, -STEP_FT)
    times = []
    for time, lowest in reached:
        # The first sample at or below each altitude, and the way to it from the one before.
        at = np.clip(np.searchsorted(-lowest, -steps, side="left"), 1, len(time) - 1)
        drop = lowest[at - 1] - lowest[at]
        share = np.clip((lowest[at - 1] - steps) / np.where(drop > 0, drop, 1.0), 0.0, 1.0)
        times.append(time[at - 1] + share * (time[at] - time[at - 1]))
    return steps, times


def _by_time(both: Sequence[Analysis], spans: Sequence[tuple[float, float]],
             origins: Sequence[float]) -> tuple[Floats, list[Floats]]:
    """Return times from the origins that both flights have [s], and each flight's own times."""
    low = max(start - origin for (start, _), origin in zip(spans, origins, strict=True))
    high = min(end - origin for (_, end), origin in zip(spans, origins, strict=True))
    if high - low < STEP_S:
        raise Problem("the two flights have no time in common about these instants",
                      _name(both[1]), "mark others")
    steps = np.arange(np.ceil(low / STEP_S) * STEP_S, high + 1e-6, STEP_S)
    return steps, [steps + origin for origin in origins]


def _flight(analysis: Analysis, origin: float, times: Floats) -> ComparedFlight:
    values = {"time_s": times}
    for name in COLUMNS[1:]:
        values[name] = _read(analysis, analysis.columns[name].astype(np.float64), times)
    rows = np.flatnonzero((analysis.time >= times[0]) & (analysis.time <= times[-1]))
    margin = analysis.columns["margin_kt"][rows].astype(np.float64)
    interval = max(analysis.log.interval_s, 0.0)
    hold = np.minimum(np.diff(analysis.time, append=analysis.time[-1] + interval),
                      HELD_INTERVALS * interval)[rows]
    known = ~np.isnan(margin)
    near = tuple((band, float(hold[known & (margin < band)].sum())) for band in NEAR_KT)
    nothing = float("nan")
    if not known.any():
        return ComparedFlight(
            analysis, origin, values, 0.0, near, nothing, nothing, nothing, "", None
        )
    row = int(rows[np.nanargmin(margin)])
    code = int(analysis.columns["governing_limit"][row])
    return ComparedFlight(
        analysis,
        origin,
        values,
        float(hold[known].sum()),
        near,
        float(np.nanmin(margin)),
        float(analysis.time[row]),
        float(analysis.columns["pressure_altitude_ft"][row]),
        analysis.limit_names[code] if code < len(analysis.limit_names) else "",
        contributions(analysis, row),
    )


def _read(analysis: Analysis, values: Floats, times: Floats) -> Floats:
    """Read a column at some times, by straight lines between samples, never across a gap."""
    after = np.clip(np.searchsorted(analysis.time, times, side="left"), 1, len(analysis.time) - 1)
    before = after - 1
    span = analysis.time[after] - analysis.time[before]
    share = (times - analysis.time[before]) / span
    read = values[before] + share * (values[after] - values[before])
    read = np.where(share == 1.0, values[after], np.where(share == 0.0, values[before], read))
    return np.where(span > HELD_INTERVALS * analysis.log.interval_s, np.nan, read)


def _notes(both: Sequence[Analysis], by: Alignment, steps: Floats,
           flights: Sequence[ComparedFlight]) -> tuple[Note, ...]:
    first, second = both
    notes: list[Note] = []
    if all(np.array_equal(first.columns[name], second.columns[name], equal_nan=True)
           for name in COLUMNS[1:3]):
        notes.append("same recording")
    if first.sheet.aircraft != second.sheet.aircraft:
        notes.append("two aircraft")
    if first.sheet.limit != second.sheet.limit:
        notes.append("other limits")
    rates = [analysis.log.interval_s for analysis in both]
    if max(rates) > 1.01 * min(rates):
        notes.append("other rates")
    if any(np.isnan(flight.values["margin_kt"]).any() for flight in flights):
        notes.append("gaps")
    if abs(steps[-1] - steps[0]) < (LITTLE_FT if by == "altitude" else LITTLE_S):
        notes.append("little overlap")
    return tuple(notes)

"""One true airspeed error from turns: the wind stays, the heading doesn't.

In a turn the ground velocity is the air velocity plus a wind that is taken as constant:

    G_j = k TAS_j R(delta) u(psi_j) + W_turn + noise

with u the unit vector of the heading psi and R(delta) a rotation for what heading and track
differ by (magnetic variation, sideslip). It is linear in k cos(delta), k sin(delta) and W: least
squares, with the winds taken out by subtracting each turn's mean. Noise that lasts from sample
to sample is counted by its effective number of samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed
from loganalyze.judge import equivalents
from loganalyze.judge.flight import Analysis
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import FOOT, KNOT

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class TurnSettings:
    """What counts as a turn, and when a fit may be split; engineering judgement."""

    least_rate_deg_s: float = 0.5
    """Below this turn rate [deg/s] it is a drift of the heading, not a turn."""
    least_turn_deg: float = 60.0
    """A turn through less than this [deg] can't tell wind from airspeed."""
    greatest_climb_ft: float = 1000.0
    """Over more height than this [ft] the wind isn't one."""
    step_s: float = 1.0
    """Samples closer than this [s] are thinned: they bring no news."""
    greatest_condition: float = 10.0
    """Airspeed and temperature errors are told apart up to this condition number."""


@dataclass(frozen=True, slots=True)
class ScaleError:
    """The true airspeed error that the turns tell.

    ``scale`` : true speed over reconstructed one, less 1; ``scale_u`` its standard uncertainty;
    ``reads_high_kt`` : reconstructed less true, at the turns' mean true airspeed, with
    ``reads_high_u_kt``; ``heading_offset_deg`` : track less heading without wind;
    ``condition`` : condition number of the split; the split's errors (what the recorded value
    reads too high) are NaN where it doesn't allow it.
    """

    turns: int
    samples: int
    scale: float
    scale_u: float
    reads_high_kt: float
    reads_high_u_kt: float
    heading_offset_deg: float
    condition: float
    airspeed_reads_high_kt: float = float("nan")
    airspeed_u_kt: float = float("nan")
    temperature_reads_high_k: float = float("nan")
    temperature_u_k: float = float("nan")


def scale_error(analysis: Analysis, settings: TurnSettings | None = None) -> ScaleError | None:
    """Estimate one scale error of the reconstructed true airspeed from the flight's turns.

    Parameters
    ----------
    analysis : Analysis
        The judged flight, with ground speed, track, heading and air temperature recorded.
    settings : TurnSettings, optional
        What counts as a turn.

    Returns
    -------
    ScaleError or None
        None where a channel is missing or no turn was flown. Nothing is applied to the flight.
    """
    settings = settings or TurnSettings()
    log = analysis.log
    if any(name not in log for name in ("ground_speed", "track", "heading")):
        return None
    rows = _thinned(analysis.time, settings.step_s)
    ground, track, heading = (log.aligned(name)[rows]
                              for name in ("ground_speed", "track", "heading"))
    at = equivalents.point(analysis._case.air, rows)
    swift = equivalents.within(airspeed.tas_from_mach, at.mach, at.temperature)
    known = ~np.isnan(ground + track + heading + swift)
    rows = rows[known]
    ground, track, heading, swift = (values[known] for values in (ground, track, heading, swift))
    turns = _turns(analysis, rows, heading, at.pressure_altitude[known], settings)
    if not turns:
        return None
    which = np.concatenate([np.full(stop - first, i) for i, (first, stop) in enumerate(turns)])
    chosen = np.concatenate([np.arange(first, stop) for first, stop in turns])
    at = equivalents.point(analysis._case.air, rows[chosen])
    swift, psi = swift[chosen], heading[chosen]
    over_ground = _stacked(ground[chosen] * np.cos(track[chosen]),
                           ground[chosen] * np.sin(track[chosen]))
    twice = np.concatenate([which, which + len(turns)])
    speed = np.concatenate([swift, swift])
    along, across = _directions(psi)
    rough = _least_squares([speed * along, speed * across], over_ground, twice)
    offset = float(np.arctan2(rough.found[1], rough.found[0]))
    # With the headings turned into track's frame, what is left across is small.
    along, across = _directions(psi + offset)
    left = over_ground - speed * along
    fit = _least_squares([speed * along, speed * across], left, twice)
    scale, mean = float(fit.found[0]), float(swift.mean()) / KNOT
    by_speed, by_warmth = _sensitivities(at)
    split = _least_squares(
        [np.concatenate([by_speed, by_speed]) * along * KNOT,
         np.concatenate([by_warmth, by_warmth]) * along, speed * across], left, twice)
    one = ScaleError(
        len(turns), len(chosen), scale, float(fit.u[0]), -scale * mean, float(fit.u[0]) * mean,
        float(np.degrees(offset)), split.condition)
    if split.condition > settings.greatest_condition:
        return one
    return replace(
        one, airspeed_reads_high_kt=-float(split.found[0]), airspeed_u_kt=float(split.u[0]),
        temperature_reads_high_k=-float(split.found[1]), temperature_u_k=float(split.u[1]))


def _stacked(north: Floats, east: Floats) -> Floats:
    return np.concatenate([north, east])


def _directions(heading: Floats) -> tuple[Floats, Floats]:
    """Unit vectors along and across the headings, north parts before east parts."""
    north, east = np.cos(heading), np.sin(heading)
    return _stacked(north, east), _stacked(-east, north)


def _thinned(time: Floats, step: float) -> Rows:
    """Rows at least `step` seconds apart."""
    if not len(time):
        return np.empty(0, dtype=np.intp)
    return np.unique(np.floor((time - time[0]) / step + 1e-9), return_index=True)[1]


def _turns(analysis: Analysis, rows: Rows, heading: Floats, altitude: Floats,
           settings: TurnSettings) -> list[tuple[int, int]]:
    """First and past-the-last of each turn among the thinned samples."""
    if len(rows) < 3:
        return []
    time = analysis.time[rows]
    steps = np.diff(time)
    change = np.degrees((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)
    reach = HELD_INTERVALS * max(settings.step_s, analysis.log.interval_s)
    turning = (np.abs(change) >= settings.least_rate_deg_s * steps) & (steps <= reach)
    side = np.where(turning, np.sign(change), 0)
    edges = np.flatnonzero(np.diff(side, prepend=0, append=0))
    found = []
    for first, stop in pairwise(edges.tolist()):
        if side[first] == 0 or abs(change[first:stop].sum()) < settings.least_turn_deg:
            continue
        if np.ptp(altitude[first : stop + 1]) <= settings.greatest_climb_ft * FOOT:
            found.append((first, stop + 1))
    return found


def _sensitivities(at: equivalents.Point) -> tuple[Floats, Floats]:
    """True airspeed gained for each calibrated airspeed and for each kelvin."""
    step = 0.1 * KNOT
    swift = [airspeed.tas_from_cas(at.calibrated_airspeed + change, at.pressure_altitude,
                                   at.temperature) for change in (-step, step)]
    return (swift[1] - swift[0]) / (2 * step), (swift[0] + swift[1]) / 4 / at.temperature


@dataclass(frozen=True, eq=False)
class _Fit:
    found: Floats
    u: Floats
    condition: float


def _least_squares(columns: list[Floats], wanted: Floats, groups: Rows) -> _Fit:
    """Fit with a free constant for each group; `condition` is that of the first two columns."""
    counts = np.bincount(groups)

    def centred(values: Floats) -> Floats:
        return np.asarray(values - (np.bincount(groups, values) / counts)[groups])

    matrix = np.column_stack([centred(column) for column in columns])
    wanted = centred(wanted)
    lengths = np.linalg.norm(matrix, axis=0)
    lengths[lengths == 0] = 1.0
    found, _, rank, _ = np.linalg.lstsq(matrix / lengths, wanted, rcond=None)
    left = wanted - matrix / lengths @ found
    free = max(len(wanted) - matrix.shape[1] - len(counts), 1)
    # What is wrong at one sample is wrong at the next: fewer samples count than there are.
    same = groups[1:] == groups[:-1]
    power = float(left @ left)
    lasting = float(np.sum((left[1:] * left[:-1])[same])) / power if power > 0 else 0.0
    lasting = min(max(lasting, 0.0), 0.99)
    spread = power / free * (1 + lasting) / (1 - lasting)
    inverse = np.linalg.pinv(matrix.T @ matrix / np.outer(lengths, lengths))
    u = np.sqrt(np.maximum(spread * np.diag(inverse), 0.0)) / lengths
    two = (matrix / lengths)[:, :2]
    condition = float(np.linalg.cond(two)) if rank == matrix.shape[1] else float("inf")
    return _Fit(found / lengths, u, condition)

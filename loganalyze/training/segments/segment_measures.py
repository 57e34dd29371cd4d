"""How one part of a flight was flown: errors, departures, settling, overshoot, steadiness.

Every measure is of the flown speed without the recording's noise (`speed_smoothing`), and has a
standard uncertainty. Two errors make it: by how much the recording may differ from what was
displayed, which moves every error of a segment alike, and what is left of the noise. The airspeed
system's own error is in both, so that no pilot can see it.

- Mean: of the recorded errors. RMS: of the smoothed errors, the variance of their standard error
  added, so that smoothing takes nothing off.
- Share within: mean over the cells of the probability that the true speed was within; it changes
  with the common error, which makes its uncertainty. Outside counts what lies beyond the edge by
  more than `SURE` standard uncertainties, in doubt what lies closer to it on either side.
- Settling: from the beginning until the smoothed error first comes within the schedule's band and
  stays for its time. Overshoot: how far the speed went past the new one soon after.
- Unsteadiness: sqrt(mean((e(t + lag) - e(t))**2) - 2 noise**2), the structure function of the
  errors freed of noise, which needs no smoothing; for a first-order process of standard deviation
  s and correlation time T it is s sqrt(2 (1 - exp(-lag / T))).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from loganalyze.record.arrays import Floats, Mask, Rows
from loganalyze.sheets.lesson.schedule_file import Settling
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.segment_finding import Found
from loganalyze.training.segments.segment_results import (
    NAN,
    Departure,
    Measured,
    Segment,
    Settled,
)
from loganalyze.training.segments.speed_smoothing import Smoothed, smoothed

SURE = 1.6449
"""So many standard uncertainties beyond an edge are beyond it at a confidence of 95 %."""
LAG_S = 8.0
"""[s] Within it the change of the error is taken; every usual rate has it as a multiple."""
JOINED_S = 4.0
"""[s] Departures with a shorter return between them are one."""
START_U_S = 4.3
"""[s] Standard uncertainty of a beginning that is known from the flight path: its slope is taken
over 15 s, 15 / sqrt(12)."""
OVERSHOOT = 3.0
"""An overshoot is sought for this many times the time that the speed took to come near."""
NOISE_U = 0.3
"""Relative standard uncertainty of the noise's variance that is allowed for."""


@dataclass(frozen=True, eq=False)
class _Errors:
    """Flown less briefed in the known cells of a segment, float64[m], in the segment's unit."""

    time: Floats
    recorded: Floats
    flown: Floats
    held: Floats
    error: float
    noise: float
    common: float
    interval: float

    def kept(self, which: Mask) -> _Errors:
        return _Errors(self.time[which], self.recorded[which], self.flown[which],
                       self.held[which], self.error, self.noise, self.common, self.interval)


def measured(speeds: FlownSpeeds, found: Found, settling: Settling) -> Segment | None:
    """Measure one part of a flight; None where too little of its speed is known.

    Parameters
    ----------
    speeds : FlownSpeeds
    found : Found
    settling : Settling
        When a speed counts as settled.

    Returns
    -------
    Segment or None
    """
    errors = _errors(speeds, found)
    if errors is None:
        return None
    band = settling.within_kt if found.unit == "kt" else settling.within_mach
    settled, step, settling_s, since, otherwise = _settling(
        errors, band, settling.for_s, found.at_once)
    overshoot = _overshoot(errors, step, band) if settled == "settled" else Measured()
    counted = errors.kept(errors.time >= since)
    others = [errors.kept(errors.time >= other) for other in otherwise]
    slower, faster = found.tolerance.band(found.unit)
    stated = slower is not None or faster is not None
    low = -math.inf if slower is None else -slower
    high = math.inf if faster is None else faster
    within, outside, doubt = Measured(), NAN, NAN
    if stated:
        within = _either(lambda part: _within(part, low, high), counted, others)
        outside, doubt = _outside(counted, low, high)
    most = int(np.argmax(np.abs(counted.flown)))
    cells = found.cells
    return Segment(
        kind=found.kind, part=found.part, name=found.name, unit=found.unit, target=found.target,
        start_s=float(speeds.time[cells[0]]),
        end_s=float(speeds.time[cells[-1]] + speeds.held_s[cells[-1]]),
        start_ft=_first_known(speeds.altitude_ft[cells]),
        end_ft=_first_known(speeds.altitude_ft[cells[::-1]]),
        counted_s=float(counted.held.sum()), slower=slower, faster=faster,
        tolerance_source=found.tolerance.source if stated else "",
        mean=_either(_mean, counted, others), rms=_either(_rms, counted, others),
        largest=_largest(counted, most), largest_s=float(counted.time[most]), within=within,
        sure_outside=outside, in_doubt=doubt,
        departures=_departures(counted, low, high) if stated else (),
        settled=settled, step=step, settling_s=settling_s, overshoot=overshoot,
        unsteadiness=_either(_unsteadiness, counted, others),
        lag_s=_lag(counted) * counted.interval, common_u=errors.common, noise=errors.noise)


def _first_known(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known[0]) if len(known) else NAN


def _errors(speeds: FlownSpeeds, found: Found) -> _Errors | None:
    """Return the errors of a segment, run by run without its noise."""
    step = speeds.step(found.unit, found.cells)
    kept: list[Rows] = []
    smooth: list[Smoothed] = []
    for run in speeds.unbroken(found.cells, found.unit):
        kept.append(run)
        smooth.append(smoothed(speeds.speed(found.unit)[run], speeds.interval_s, step))
    if not kept:
        return None
    cells = np.concatenate(kept)
    size = np.array([len(run) for run in kept], dtype=np.float64) / len(cells)
    recorded = speeds.speed(found.unit)[cells] - found.target
    flown = np.concatenate([part.values for part in smooth]) - found.target
    common = speeds.uncertainty(found.unit)[cells]
    known = common[np.isfinite(common)]
    return _Errors(
        speeds.time[cells], recorded, flown, speeds.held_s[cells],
        math.sqrt(float(size @ np.array([stretch.error for stretch in smooth]) ** 2)),
        math.sqrt(float(size @ np.array([stretch.noise for stretch in smooth]) ** 2)),
        float(np.median(known)) if len(known) else NAN, speeds.interval_s)


def _settling(errors: _Errors, band: float, for_s: float, at_once: bool
              ) -> tuple[Settled, float, Measured, float, Sequence[float]]:
    """Return whether the speed had to change and came to the new one, by how much, how long it
    took, from when on [s] the errors count, and from when on they may count as well.
    """
    start = float(errors.time[0])
    at = _settled_at(errors, band, for_s)
    if at is not None and at <= start:
        return "no change", 0.0, Measured(), start, ()
    step = -float(errors.flown[0])
    if at is None:
        if abs(step) <= band and not _leaves(errors, band, for_s):
            return "no change", 0.0, Measured(), start, ()
        return "not settled", step, Measured(), start, ()
    # How much later or earlier it would have been with the band as wide as its uncertainty allows.
    doubt = math.hypot(errors.error, errors.common if math.isfinite(errors.common) else 0.0)
    others = [start if (other := _settled_at(errors, max(band + shift, 0.1 * band), for_s)) is None
              else other for shift in (-doubt, doubt)]
    base = errors.interval / math.sqrt(12.0)
    return "settled", step, Measured(at - start, math.hypot(
        max(abs(other - at) for other in others) / math.sqrt(3.0), base,
        base if at_once else math.hypot(START_U_S, base))), at, others


def _settled_at(errors: _Errors, band: float, for_s: float) -> float | None:
    """Return when the error first came within the band and stayed for a time [s], or None."""
    time, size = errors.time, np.abs(errors.flown)
    stays = _stays(time, size <= band, for_s)
    if not stays.any():
        return None
    first = int(np.argmax(stays))
    if first == 0:
        return float(time[0])
    share = (size[first - 1] - band) / max(size[first - 1] - size[first], 1e-12)
    return float(time[first - 1] + min(max(share, 0.0), 1.0) * (time[first] - time[first - 1]))


def _leaves(errors: _Errors, band: float, for_s: float) -> bool:
    """Whether the speed leaves the band although there is time enough to stay in it."""
    return bool(errors.time[-1] - errors.time[0] >= for_s and (np.abs(errors.flown) > band).any())


def _stays(time: Floats, inside: Mask, for_s: float) -> Mask:
    """Return at which instants the speed is inside and stays so for a time, or to the end."""
    out = np.flatnonzero(~inside)
    stays = np.zeros(len(time), dtype=np.bool_)
    for first in np.flatnonzero(inside).tolist():
        after = int(np.searchsorted(out, first))
        until = float(time[out[after]]) if after < len(out) else math.inf
        # At the end half the time is enough: there is no more to be seen.
        end = float(time[-1])
        stays[first] = until - time[first] >= for_s and (
            end - time[first] >= for_s or (math.isinf(until) and end - time[first] >= for_s / 2))
    return stays


def _overshoot(errors: _Errors, step: float, band: float) -> Measured:
    """Return how far the speed went past the new one, 0 where not at all.

    It is sought until `OVERSHOOT` times as long after the beginning as the speed took to come
    within the band: a damped oscillation has its first peak before then.
    """
    past = np.sign(step) * errors.flown
    time = errors.time - errors.time[0]
    near = np.flatnonzero(past >= -band)
    u = math.hypot(errors.common, errors.error, _between(errors))
    if not len(near):
        return Measured(0.0, u)
    first = int(near[0])
    stop = int(np.searchsorted(time, OVERSHOOT * time[first], side="right"))
    top = first + int(np.argmax(past[first : max(stop, first + 1)]))
    return Measured(max(_vertex(past, top), 0.0), u)


def _vertex(values: Floats, top: int) -> float:
    """Return the greatest value of the parabola through the value at `top` and its neighbours."""
    if not 0 < top < len(values) - 1:
        return float(values[top])
    before, here, after = (float(value) for value in values[top - 1 : top + 2])
    bend = before - 2.0 * here + after
    return here - (after - before) ** 2 / (8.0 * bend) if bend < 0 else here


def _either(measure: Callable[[_Errors], Measured], counted: _Errors, others: Sequence[_Errors]
            ) -> Measured:
    """Return a measure; that the speed may have settled earlier or later widens it."""
    found = measure(counted)
    moved = [abs(measure(other).value - found.value) for other in others if len(other.time)]
    return Measured(found.value, math.hypot(found.u, max(moved, default=0.0) / math.sqrt(3.0)))


def _largest(errors: _Errors, most: int) -> Measured:
    """Return the error farthest from 0.

    The greatest of many true values exceeds the greatest of their estimates, and what lies between
    two cells isn't known: by simulation .4 standard errors of both, within 1.5 of them.
    """
    spread = math.hypot(errors.error, _between(errors))
    value = float(errors.flown[most])
    return Measured(value + math.copysign(0.4 * spread, value),
                    math.hypot(errors.common, 1.5 * spread))


def _mean(errors: _Errors) -> Measured:
    weight = errors.held / errors.held.sum()
    return Measured(float(weight @ errors.recorded), math.hypot(
        errors.common, math.hypot(errors.noise, _between(errors)) / math.sqrt(len(weight))))


def _rms(errors: _Errors) -> Measured:
    weight = errors.held / errors.held.sum()
    rms = math.sqrt(float(weight @ errors.flown**2) + errors.error**2)
    mean = abs(float(weight @ errors.recorded))
    by_common = errors.common * max(mean, errors.common / 2.0) / max(rms, 1e-12)
    by_noise = NOISE_U * errors.error**2 / max(rms, 1e-12)
    return Measured(rms, math.hypot(min(by_common, errors.common), by_noise,
                                    errors.noise / math.sqrt(len(weight))))


def _chance(errors: _Errors, low: float, high: float) -> Floats:
    """Return how likely each true error lies within the tolerance, float64[m]."""
    scale = math.sqrt(2.0) * max(errors.error, 1e-12)
    return np.array([0.5 * (math.erfc((at - high) / scale) - math.erfc((at - low) / scale))
                     for at in errors.flown.tolist()])


def _within(errors: _Errors, low: float, high: float) -> Measured:
    """Return the share of the time within the tolerance."""
    weight = errors.held / errors.held.sum()
    common = errors.common if math.isfinite(errors.common) else 0.0
    chance = _chance(errors, low, high)
    middle = min(float(weight @ chance), 1.0)
    by_common = max(abs(float(weight @ _chance(errors, low + shift, high + shift)) - middle)
                    for shift in (-common, common))
    by_noise = math.sqrt(float(weight**2 @ (chance * (1.0 - chance))) * 4.0)
    return Measured(middle, math.hypot(by_common, by_noise))


def _outside(errors: _Errors, low: float, high: float) -> tuple[float, float]:
    """Return the shares of the time surely outside the tolerance, and too close to its edge."""
    weight = errors.held / errors.held.sum()
    common = errors.common if math.isfinite(errors.common) else 0.0
    total = SURE * math.hypot(common, errors.error)
    beyond = np.maximum(errors.flown - high, low - errors.flown)
    return float(weight @ (beyond > total)), float(weight @ (np.abs(beyond) <= total))


def _departures(errors: _Errors, low: float, high: float) -> tuple[Departure, ...]:
    """Return the stretches outside the tolerance, each with what another edge would make of it."""
    beyond = np.maximum(errors.flown - high, low - errors.flown)
    common = errors.common if math.isfinite(errors.common) else 0.0
    doubt = math.hypot(common, errors.error)
    wide = math.hypot(doubt, _between(errors))
    shifts = [(sigmas, sigmas * wide) for sigmas in (-2.0, -1.0, 1.0, 2.0)]
    shifted = [_stretches(errors, beyond + shift) for _, shift in shifts]
    found = []
    for run in _stretches(errors, beyond):
        top = int(run[np.argmax(beyond[run])])
        start, end = _span(errors, beyond, run)
        moved = 0.0
        for (sigmas, shift), runs in zip(shifts, shifted, strict=True):
            about = [other for other in runs if other[0] <= top <= other[-1]]
            ends = _span(errors, beyond + shift, about[0]) if about else (0.0, 0.0)
            moved = max(moved, abs(end - start - (ends[1] - ends[0])) / abs(sigmas))
        found.append(Departure(
            start, end, _vertex(beyond, top), float(errors.time[top]),
            bool(errors.flown[top] > 0), bool(beyond[top] > SURE * doubt),
            math.hypot(moved, errors.interval / math.sqrt(6.0)),
            wide))
    return tuple(found)


def _stretches(errors: _Errors, beyond: Floats) -> list[Rows]:
    """Return the runs of cells outside, joined over short returns, and of one side each."""
    out = np.flatnonzero(beyond > 0)
    if not len(out):
        return []
    apart = errors.time[out[1:]] - errors.time[out[:-1]] > max(JOINED_S, 1.6 * errors.interval)
    side = np.sign(errors.flown[out])
    return np.split(out, np.flatnonzero(apart | (np.diff(side) != 0)) + 1)


def _span(errors: _Errors, beyond: Floats, run: Rows) -> tuple[float, float]:
    return (_edge(errors.time, beyond, int(run[0]), -1),
            _edge(errors.time, beyond, int(run[-1]), 1))


def _edge(time: Floats, beyond: Floats, at: int, way: int) -> float:
    """Return when the edge was crossed beside a cell outside it [s], by a straight line."""
    other = at + way
    if not 0 <= other < len(time) or beyond[other] > 0:
        return float(time[at])
    share = beyond[at] / max(beyond[at] - beyond[other], 1e-12)
    return float(time[at] + share * (time[other] - time[at]))


def _lag(errors: _Errors) -> int:
    return max(1, round(LAG_S / errors.interval))


def _structure(errors: _Errors, lag: int) -> tuple[float, int]:
    """Return the mean squared change of the recorded error over some cells, and of how many."""
    if len(errors.time) <= lag:
        return NAN, 0
    apart = errors.time[lag:] - errors.time[:-lag]
    whole = np.abs(apart - lag * errors.interval) < 0.5 * errors.interval
    changes = (errors.recorded[lag:] - errors.recorded[:-lag])[whole]
    return (float(np.mean(changes**2)), len(changes)) if len(changes) else (NAN, 0)


def _unsteadiness(errors: _Errors) -> Measured:
    square, count = _structure(errors, _lag(errors))
    if not count:
        return Measured()
    noise = errors.noise**2
    real = max(square - 2.0 * noise, 0.0)
    variance = (12.0 * noise**2 + 8.0 * noise * real) / count + (2.0 * NOISE_U * noise) ** 2
    size = math.sqrt(real)
    u = math.sqrt(variance)
    return Measured(size, u / (2.0 * size) if size**2 > u else math.sqrt(u))


def _between(errors: _Errors) -> float:
    """Return how far a greatest error between two cells may be from the greatest of the cells.

    .58 of the standard deviation of the change from one to the next, as of a random walk.
    """
    square, count = _structure(errors, 1)
    return 0.58 * math.sqrt(max(square - 2.0 * errors.noise**2, 0.0)) if count else 0.0

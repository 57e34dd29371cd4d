"""Demonstrations of the limit pointer: the limit is approached, and left again.

A demonstration differs from a descent near the limit in that the margin both closes and opens
again by several times what is left of it, and from a gust in that this takes many seconds.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from loganalyze.explain.margin_contributions import worsening
from loganalyze.phases.ground_legs import runs
from loganalyze.record.arrays import Floats
from loganalyze.training.detection.candidates import Airborne, Candidate, cell_noise
from loganalyze.training.detection.edge_fitting import ramp
from loganalyze.training.exercises import LIMIT_APPROACH, ExerciseMeasure
from loganalyze.uncertainty.sample_uncertainty import Uncertainty

NEAR_KT = 5.0
"""[kt] Less margin than this is near the limit: one pointer's width (common practice, no
source)."""
CLOSE_KT = 12.0
"""[kt] An approach that keeps more margin than this demonstrates nothing."""
CLEAR = 6.0
"""A margin closes and opens by at least so many times its noise: less is rough air."""
OPENED_KT = 12.0
"""[kt] The margin before and after is larger than the smallest one by at least this."""
WITHIN_S = 240.0
"""[s] ... within this time before, and after."""
CLIMBED_FT = 1000.0
"""[ft] A climb of less than this doesn't bring the limit airspeed down by itself."""
SMOOTHED_S = 5.0
SETTLED = 0.1
"""The margin has closed, or opened again, to within this share of its change."""


def limit_candidates(flown: Airborne, uncertainty: Uncertainty) -> Iterator[Candidate]:
    """Yield the approaches to the limit airspeed in a flight."""
    margin = _margin(flown)
    cells = flown.profile.cells
    smooth = _smooth(margin, cells(SMOOTHED_S))
    inside = np.zeros(len(margin), dtype=bool)
    inside[flown.first : flown.stop] = True
    close = np.nan_to_num(smooth, nan=np.inf) < CLOSE_KT
    joined: list[tuple[int, int]] = []
    for first, stop in runs(close & inside):
        between = smooth[joined[-1][1] : first] if joined else smooth[:0]
        if joined and np.nanmax(between, initial=-np.inf) < CLOSE_KT + OPENED_KT / 2:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((first, stop))
    for first, stop in joined:
        made = _candidate(flown, uncertainty, margin, smooth, first, stop)
        if made is not None:
            yield made


def _margin(flown: Airborne) -> Floats:
    """Return the margin to the limit airspeed at each cell of the profile [kt], NaN unknown."""
    analysis = flown.analysis
    column = analysis.columns["margin_kt"].astype(np.float64)
    known = np.flatnonzero(np.isfinite(column))
    grid = flown.profile.start_s + flown.step_s * np.arange(len(flown.profile))
    if len(known) < 2:
        return np.full(len(grid), np.nan)
    # The mean of a cell's samples, as the profile's own values are.
    cell = np.round((analysis.time[known] - grid[0]) / flown.step_s).astype(np.int64)
    within = (cell >= 0) & (cell < len(grid))
    sums = np.bincount(cell[within], column[known][within], len(grid))
    counts = np.bincount(cell[within], minlength=len(grid))
    means = np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
    held = np.flatnonzero(counts)
    even = np.interp(np.arange(len(grid)), held, means[held])
    gap = np.minimum(np.abs(np.arange(len(grid)) - held[np.clip(
        np.searchsorted(held, np.arange(len(grid)), side="right") - 1, 0, None)]), 10**9)
    return np.asarray(np.where(gap * flown.step_s <= flown.settings.bridge_s / 2, even, np.nan))


def _smooth(values: Floats, width: int) -> Floats:
    if width < 2:
        return values
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def _candidate(
    flown: Airborne, uncertainty: Uncertainty, margin: Floats, smooth: Floats, first: int,
    stop: int,
) -> Candidate | None:
    cells = flown.profile.cells
    lowest = first + int(np.nanargmin(smooth[first:stop]))
    least = float(smooth[lowest])
    left = smooth[max(flown.first, lowest - cells(WITHIN_S)) : lowest + 1][::-1]
    right = slice(lowest, min(flown.stop, lowest + cells(WITHIN_S)))
    before, after = (
        _opening(part, least, cells(15.0)) for part in (left, smooth[right]))
    if before is None or after is None:
        return None
    guess_start, guess_end = lowest - before, lowest + after
    # Where it stays near before the last of it is lost, the closing ramp ends earlier.
    near = runs(smooth[guess_start : guess_end + 1] <= least + max(3.0, 0.2 * (
        float(smooth[guess_start]) - least)))
    begun = guess_start + near[0][0]
    left_at = guess_start + near[-1][1] - 1
    lead = cells(30.0)
    closing = ramp(margin[: lowest + 1] if begun >= lowest else margin[: begun + 2], guess_start,
                   begun, cells(12.0), lead)
    opening = ramp(margin[max(left_at - 1, 0) :], 1, guess_end - max(left_at - 1, 0), cells(12.0),
                   lead)
    start, end = closing.start, opening.end + max(left_at - 1, 0)
    closed = float(closing.before - least)
    opened = float(opening.after - least)
    if closed < OPENED_KT or opened < OPENED_KT or end <= start or _lowered(
            flown, margin, round(start), lowest, closed):
        return None
    near_s = float((margin[round(start) : round(end) + 1] < NEAR_KT).sum()) * flown.step_s
    stay_s = (left_at - begun) * flown.step_s
    closing_s = max((begun - start) * flown.step_s, flown.step_s)
    opening_s = max((end - left_at) * flown.step_s, flown.step_s)
    noise = cell_noise(margin[flown.first : flown.stop])
    if min(closed, opened) < CLEAR * (0.0 if np.isnan(noise) else noise):
        return None
    return Candidate(
        LIMIT_APPROACH, flown.time(start), flown.time(end),
        {"far": max(least, 0.0) / 5.0, "stay": stay_s / 60.0,
         "closing": abs(np.log(closing_s / 40.0)), "opening": abs(np.log(opening_s / 40.0)),
         "little": OPENED_KT / min(closed, opened),
         "noisy": (0.0 if np.isnan(noise) else noise) / 2.0},
        (("smallest_margin_kt", least), ("closed_kt", closed), ("opened_kt", opened),
         ("stay_s", stay_s)),
        _measures(flown, uncertainty, lowest, round(end), least, near_s,
                  (closing.before - float(smooth[begun])) / closing_s,
                  (opening.after - float(smooth[left_at])) / opening_s, closing_s, opening_s,
                  noise))


def _lowered(flown: Airborne, margin: Floats, start: int, lowest: int, closed: float) -> bool:
    """Whether the margin closed because the limit came down, and not by a climb to the Mach limit:
    flaps and gear bring limits of their own."""
    limit = margin + flown.profile.airspeed
    height = flown.profile.height
    return (float(limit[start] - limit[lowest]) > closed / 2
            and float(height[lowest] - height[start]) < CLIMBED_FT)


def _opening(smooth: Floats, least: float, ahead_cells: int) -> int | None:
    """Return how many cells from the smallest margin it takes until the margin has opened.

    To the first cell from which on, for `ahead_cells`, it grows by no more than a tenth.
    """
    known = np.nan_to_num(smooth, nan=-np.inf)
    opened = np.flatnonzero(known >= least + OPENED_KT)
    if not len(opened):
        return None
    at = int(opened[0])
    while at < len(known) - 1:
        ahead = known[at + 1 : at + 1 + ahead_cells]
        best = int(np.argmax(ahead))
        gain = float(ahead[best] - known[at])
        if gain < max(1.5, SETTLED * (float(known[at]) - least)):
            break
        at += 1 + best
    return at


def _measures(
    flown: Airborne, uncertainty: Uncertainty, lowest: int, end: int, least: float,
    near_s: float, closing_rate: float, opening_rate: float, closing_s: float, opening_s: float,
    noise: float,
) -> tuple[ExerciseMeasure, ...]:
    analysis = flown.analysis
    row = _row(flown, lowest)
    u = float(uncertainty.columns["margin_u_kt"][row])
    cells = max(SMOOTHED_S / flown.step_s, 1.0)
    scatter = (0.0 if np.isnan(noise) else noise) / np.sqrt(cells)
    made = [
        ExerciseMeasure("smallest_margin_kt", least, float(np.hypot(u, scatter))),
        ExerciseMeasure("time_near_s", near_s, flown.step_s),
        ExerciseMeasure("closing_rate_kt_s", closing_rate,
                        noise * np.sqrt(2.0) / closing_s),
        ExerciseMeasure("recovery_rate_kt_s", opening_rate,
                        noise * np.sqrt(2.0) / opening_s),
        ExerciseMeasure("recovery_s", opening_s, flown.step_s)]
    governing = int(analysis.columns["governing_limit"][row])
    if governing < len(analysis.sheet.limit):
        parts = worsening(analysis, row, _row(flown, end), governing)
        if parts is not None:
            # Without an air temperature height and energy can't be told apart.
            by_speed = ((("recovered_by_energy_kt", parts.energy_kt),
                         ("recovered_by_height_kt", parts.height_trade_kt)) if parts.split
                        else (("recovered_by_speed_kt", parts.speed_change_kt),))
            moved = parts.limit_moved_kt + parts.configuration_kt
            made += [ExerciseMeasure(name, -lost)
                     for name, lost in (*by_speed, ("recovered_by_limit_kt", moved))]
    return tuple(made)


def _row(flown: Airborne, cell: int) -> int:
    """Return the row of the log that is nearest a cell and was judged."""
    time = flown.analysis.time
    at = int(np.searchsorted(time, flown.time(cell)))
    at = min(max(at, 0), len(time) - 1)
    margin: NDArray[np.floating] = flown.analysis.columns["margin_kt"]
    near = np.arange(max(at - 8, 0), min(at + 9, len(time)))
    known = near[np.isfinite(margin[near])]
    return int(known[np.argmin(np.abs(known - at))]) if len(known) else at



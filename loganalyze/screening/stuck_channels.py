"""Channels that repeat a value wrongly: frozen, or stale.

A repeated value isn't wrong by itself: values repeat in level cruise, and in the middle of a
quantization step. A channel is *frozen* where a reference channel shows that the quantity changed
by more than the steps and the uncertainty of both, or where it varies less than in any flight. It
is *stale* where its value is held and then updated by a large step, if that is frequent in the
recording.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Runs = NDArray[np.intp]

_PARTS = 8
"""Number of parts of a run. A reference channel has changed only if the ranges of two parts don't
overlap, so that a single bad sample shows nothing."""
_MANY = 8
"""Samples per part from which ranges of parts don't separate by noise alone. A reference must then
change by more than the drift between both channels and its quantization step (the 10 % quantile of
its changes). With fewer samples, ..."""
_REFERENCE_STEPS = 2.5
"""... by this multiple of the upper quartile of its changes from sample to sample: in white noise
four standard deviations."""
_BESIDE = 12
"""Samples of the reference on either side of a run from which its changes are estimated."""
_PLACES = 4096
_LEAST_STEPS = 30
"""Least number of changes from which noise is recognized."""
_REVERSALS = 0.25
"""Share of steps that reverse direction from which a series is noise (white noise: two thirds; a
ramp: none)."""
_REPEATS = 1 / 3
"""Noise that repeats a value in less than this share of its steps has a standard deviation of at
least .85 quantization steps, wherever in a step the quantity lies (normal distribution) ..."""
_STAYS = 0.45
"""... and stays in one step from sample to sample with at most this probability."""


@dataclass(frozen=True, eq=False)
class Reference:
    """A reference channel for a quantity, and the thresholds by which it shows a change.

    ``at`` : function of rows, float64 in SI of the channel judged; ``recorded`` : gives bool[n],
    where it was sampled and not interpolated; ``least`` [SI] : least change, which must
    also exceed the sum of ``drift`` [SI], the drift between the two sources, and the quantization
    steps of both; ``steady`` : quantities that must not change meanwhile, each with its greatest
    change; ``window_s`` [s] : time within which changes are evaluated, since slower ones may be
    those of the atmosphere.
    """

    name: str
    at: Callable[[Rows], Floats]
    recorded: Callable[[], NDArray[np.bool_]]
    least: float
    drift: float
    steady: tuple[tuple[Callable[[Rows], Floats], float], ...] = ()
    window_s: float = np.inf


def standstills(values: Floats, least: int) -> Runs:
    """Return the runs of equal values of at least `least` rows.

    Returns intp[k, 2], the first and last row of each. NaN isn't equal to NaN. Comparing widely
    spaced rows first decides most channels quickly.
    """
    stride = max(least // 2, 1)
    looks = values[::stride]
    same = _between(values, np.flatnonzero(looks[1:] == looks[:-1]), stride)
    if not len(same):
        return np.empty((0, 2), dtype=np.intp)
    near = np.zeros(len(looks) + 1, dtype=bool)
    for shift in (-1, 0, 1):
        near[np.clip(same + shift, 0, len(looks))] = True
    rows = (np.flatnonzero(near)[:, None] * stride + np.arange(stride)).ravel()
    rows = rows[rows < len(values)]
    some = values[rows]
    new = np.concatenate([[True], (some[1:] != some[:-1]) | (np.diff(rows) > 1)])
    firsts = np.flatnonzero(new)
    lasts = np.append(firsts[1:], len(rows)) - 1
    long = lasts - firsts + 1 >= least
    return np.stack([rows[firsts[long]], rows[lasts[long]]], axis=1)


def without(runs: Runs, gaps: Rows, least: int) -> Runs:
    """Split runs after the rows `gaps`, ascending; keep the parts of at least `least` rows."""
    if not len(runs) or not len(gaps):
        return runs
    pieces = [
        (first, last)
        for start, stop in runs.tolist()
        for cuts in [gaps[np.searchsorted(gaps, start) : np.searchsorted(gaps, stop)]]
        for first, last in zip([start, *(cuts + 1)], [*cuts, stop], strict=True)
        if last - first + 1 >= least]
    return np.array(pieces, dtype=np.intp).reshape(-1, 2)


def standing_often(values: Floats, least: int, share: float) -> bool:
    """Whether runs of at least `least` rows may make up this share of the rows.

    Estimated from some thousand places; False only if even half the share is impossible.
    """
    stride = max(least // 2, 1)
    places = len(values) // stride - 1
    if places < 2 * _PLACES:
        return True
    looks = np.arange(0, places, places // _PLACES)
    here = looks[values[looks * stride] == values[(looks + 1) * stride]]
    return len(_between(values, here, stride)) > share / 2 * len(looks)


def _between(values: Floats, looks: Rows, stride: int) -> Rows:
    """Keep those of the pairs, `stride` rows apart, with equal values at points between too."""
    # The points farthest from both ends first: they exclude most.
    parts = (8, 4, 12, 2, 6, 10, 14, *range(1, 16, 2))
    rows = looks * stride
    level = values[rows]
    for offset in dict.fromkeys(part * stride // 16 for part in parts):
        if not len(rows):
            break
        same = values[rows + offset] == level
        if not same.all():
            rows, level = rows[same], level[same]
    return np.asarray(rows // stride)


def moved(at: Callable[[Rows], Floats], runs: Runs) -> Floats:
    """Return the least change of a quantity in each run: from its lowest to its highest part.

    float64[k] [unit of `at`], the greatest minimum less the least maximum of the parts; negative
    or NaN where no two parts are separate.
    """
    if not len(runs):
        return np.empty(0)
    lengths = runs[:, 1] - runs[:, 0] + 1
    parts = np.minimum(_PARTS, np.maximum(lengths // 2, 1))
    rows = np.repeat(runs[:, 0] - np.concatenate([[0], np.cumsum(lengths)[:-1]]), lengths)
    rows = rows + np.arange(int(lengths.sum()))
    starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
    owner = np.repeat(np.arange(len(runs)), parts)
    step = np.arange(len(owner)) - np.repeat(np.concatenate([[0], np.cumsum(parts)[:-1]]), parts)
    cuts = starts[owner] + step * lengths[owner] // parts[owner]
    values = at(rows)
    least, most = np.fmin.reduceat(values, cuts), np.fmax.reduceat(values, cuts)
    firsts = np.concatenate([[0], np.cumsum(parts)[:-1]])
    return np.asarray(np.fmax.reduceat(least, firsts) - np.fmin.reduceat(most, firsts))


def frozen(
    runs: Runs, references: Sequence[Reference], step: float, interval: float
) -> NDArray[np.bool_]:
    """Whether a reference channel changed while the channel repeated its value, bool[k].

    `step` [SI] : the channel's quantization step, 0 or NaN without one; `interval` [s].
    """
    found = np.zeros(len(runs), dtype=bool)
    for reference in references:
        pieces, owner = _pieces(runs, reference.window_s / interval)
        by = moved(reference.at, pieces)
        shown = by > reference.least
        for steady, greatest in reference.steady:
            shown &= moved(steady, pieces) <= greatest
        if not shown.any():
            continue
        own = np.flatnonzero(reference.recorded())
        for i in np.flatnonzero(shown).tolist():
            low, high = np.searchsorted(own, pieces[i])
            near = own[max(low - _BESIDE, 0) : high + _BESIDE]
            change = np.abs(np.diff(reference.at(near)))
            change = change[change > 0]
            if not len(change):
                shown[i] = False
                continue
            own_step = float(np.quantile(change, 0.1))
            if high - low < _MANY * _PARTS:
                own_step = _REFERENCE_STEPS * float(np.quantile(change, 0.75))
            shown[i] = by[i] > reference.drift + np.nan_to_num(step) + own_step
        found[owner[shown]] = True
    return found


def _pieces(runs: Runs, rows: float) -> tuple[Runs, Rows]:
    """Divide runs into equal parts of at most `rows` rows; return these and their runs' indices."""
    lengths = runs[:, 1] - runs[:, 0] + 1
    counts = np.maximum(np.ceil(lengths / max(rows, 1.0)).astype(np.intp), 1)
    owner = np.repeat(np.arange(len(runs)), counts)
    order = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    starts = runs[owner, 0] + order * lengths[owner] // counts[owner]
    stops = runs[owner, 0] + (order + 1) * lengths[owner] // counts[owner]
    return np.stack([starts, stops - 1], axis=1), owner


def too_still(values: Floats, first: int, last: int, finest: float, chance: float) -> bool:
    """Whether a run between noisy stretches is steadier than any aircraft flies.

    On either side, for the length of the run, the channel must show noise of about a quantization
    step or more, such that the probability of the run by chance is less than `chance` wherever in
    the step the quantity lies. Since that could be calm air, the step must also be at most
    `finest` [SI]: an aircraft that climbs or changes speed doesn't hold the quantity so steadily.
    """
    length = last - first + 1
    for low, high in ((first - length, first), (last + 1, last + 1 + length)):
        changes = _changes(values, low, high)
        if not _noisy(changes) or (changes == 0).mean() > _REPEATS:
            return False
        # A few changes may be smaller than a step, by averaging or the rounding of floats.
        if not np.quantile(np.abs(changes[changes != 0]), 0.05, method="lower") <= finest:
            return False
    return bool((length - 1) * np.log(_STAYS) < np.log(chance))


def quieter(values: Floats, first: int, last: int, chance: float) -> bool:
    """Whether the channel is noisy beside the run and constant within it.

    That isn't a fault by itself: a value changes at the edge of a quantization step but not in its
    middle, and the air may become calm. `chance` : greatest probability of the run by chance.
    """
    reach = last - first + 1
    changes = np.concatenate([
        _changes(values, first - reach, first), _changes(values, last + 1, last + 1 + reach)])
    if not _noisy(changes):
        return False
    repeats = max(float((changes == 0).mean()), 1 / len(changes))
    return bool((last - first) * np.log(repeats) < np.log(chance))


def _changes(values: Floats, low: int, high: int) -> Floats:
    changes = np.diff(values[max(low, 0) : high])
    return np.asarray(changes[~np.isnan(changes)])


def _noisy(changes: Floats) -> bool:
    """Whether the changes from sample to sample are noise rather than a ramp."""
    turns = np.sign(changes[changes != 0])
    return len(turns) >= _LEAST_STEPS and bool((turns[1:] != turns[:-1]).mean() >= _REVERSALS)


def stale(
    time: Floats, values: Floats, runs: Runs, step: float, interval: float, gust_s: float
) -> NDArray[np.bool_]:
    """Whether each run ends in a step of more than `step`, and more than `step` a second.

    `values` and `step` in SI; `interval` [s] : the usual one; steps across gaps don't count. A
    value that returns to within half a step within `gust_s` [s] may be a gust and isn't stale. Nor
    is a step back to the value before the run, or one that the next step reverses: a held value is
    updated to a new one.
    """
    if not len(runs):
        return np.zeros(0, dtype=bool)
    inside = runs[:, 1] + 1 < len(values)
    after = np.minimum(runs[:, 1] + 1, len(values) - 1)
    wait = time[after] - time[runs[:, 1]]
    level = values[runs[:, 1]]
    off = np.abs(values[after] - level)
    back = values[after] == values[np.maximum(runs[:, 0] - 1, 0)]
    followed = np.append(after[:-1] == runs[1:, 0], False)
    back |= followed & (np.append(values[after[1:]], np.nan) == level)
    rows = np.minimum(after[:, None] + np.arange(math.ceil(gust_s / interval)), len(values) - 1)
    back |= (np.abs(values[rows] - level[:, None]) <= step / 2).any(axis=1)
    return np.asarray(inside & ~back & (off > step * np.maximum(wait, 1.0))
                      & (wait <= 1.5 * interval))


def beside_steps(time: Floats, values: Floats, rate: float, noise: float) -> Rows:
    """Return the rows on either side of every step faster than `rate` [SI/s] and `noise` [SI]."""
    fast = np.flatnonzero(np.abs(np.diff(values)) > rate * np.diff(time) + noise)
    return np.union1d(fast, fast + 1)


def rows_of(runs: Runs, skip: int = 0) -> Rows:
    """Return the rows of all runs, without the first `skip` of each."""
    if not len(runs):
        return np.empty(0, dtype=np.intp)
    return np.concatenate([np.arange(first + skip, last + 1) for first, last in runs.tolist()])

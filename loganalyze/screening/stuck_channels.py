"""Channels that stand still: frozen, or stale.

A value that repeats isn't wrong by itself. A level cruise repeats, and so does a quantity that
lies in the middle of a quantization step, though it flickered at the edge of one before. It is
*frozen* where another channel shows that it moved by more than the steps and the uncertainty of
both, or where it stands more still than any aircraft is flown. It is *stale* where it is held
and then off at one step, to be held again, and that is a habit of the recording.
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
"""A run is cut into so many parts, and two of them must lie wholly apart: one bad sample of a
reference channel can't make it seem to have moved."""
_MANY = 8
"""Parts of so many samples don't come to lie wholly apart by noise. Then a reference must move by
more than the two channels may drift apart and its quantization step (of ten changes the smallest
shows it). With fewer samples, ..."""
_REFERENCE_STEPS = 2.5
"""... by so many of its greater changes from sample to sample (the upper quartile): in white noise
four standard deviations."""
_BESIDE = 12
"""So many samples of the reference on either side of a run are used to find its changes."""
_PLACES = 4096
_LEAST_STEPS = 30
"""Fewer changes than this don't show a noise."""
_REVERSALS = 0.25
"""Noise turns back at more than this share of its steps (white noise at two thirds); a ramp never
does."""
_REPEATS = 1 / 3
"""Noise that repeats a value in less than this share of its steps has a standard deviation of at
least .85 quantization steps, wherever in a step the quantity lies (normal distribution) ..."""
_STAYS = 0.45
"""... and stays in one step from sample to sample with at most this probability."""


@dataclass(frozen=True, eq=False)
class Reference:
    """Another way to the same quantity, and what it takes to show that the quantity moved.

    ``at`` : function of rows, float64 in SI of the channel judged; ``recorded`` : gives bool[n],
    where it was sampled itself and not interpolated; ``least`` [SI] : it must move
    by more than this, and by more than ``drift`` [SI], what the two sources may drift apart by,
    together with the quantization steps of both; ``steady`` : quantities that mustn't move
    meanwhile, each with its greatest movement; ``window_s`` [s] : movements are looked for
    within so long, for what is slower may be the air's.
    """

    name: str
    at: Callable[[Rows], Floats]
    recorded: Callable[[], NDArray[np.bool_]]
    least: float
    drift: float
    steady: tuple[tuple[Callable[[Rows], Floats], float], ...] = ()
    window_s: float = np.inf


def standstills(values: Floats, least: int) -> Runs:
    """Return the runs of one repeated value that are at least `least` rows long.

    Returns intp[k, 2], the first and last row of each. NaN repeats nothing. A look at every so
    many rows settles a channel that moves.
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
    """Cut runs after the rows `gaps`, rising; keep the pieces of at least `least` rows."""
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
    """Whether the channel may stand for at least `least` rows in as great a share of its rows.

    A look at some thousand places; False only where half the share is out of the question.
    """
    stride = max(least // 2, 1)
    places = len(values) // stride - 1
    if places < 2 * _PLACES:
        return True
    looks = np.arange(0, places, places // _PLACES)
    here = looks[values[looks * stride] == values[(looks + 1) * stride]]
    return len(_between(values, here, stride)) > share / 2 * len(looks)


def _between(values: Floats, looks: Rows, stride: int) -> Rows:
    """Keep those looks, `stride` rows apart, between which the value stands at some points too."""
    # The farthest apart first: they show most.
    for part in (8, 4, 12, 2, 6, 10, 14, *range(1, 16, 2)):
        offset = part * stride // 16
        looks = looks[values[looks * stride + offset] == values[looks * stride]]
    return looks


def moved(at: Callable[[Rows], Floats], runs: Runs) -> Floats:
    """How far a quantity surely moved in each run: the gap between its highest and lowest part.

    Returns float64[k] [unit of `at`]; negative or NaN where no two parts lie apart.
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
    """Whether a reference channel moved while the channel stood still, bool[k].

    `step` [SI] : the channel's quantization step, 0 or NaN where it has none; `interval` [s].
    """
    found = np.zeros(len(runs), dtype=bool)
    for one in references:
        pieces, owner = _pieces(runs, one.window_s / interval)
        by = moved(one.at, pieces)
        shown = by > one.least
        for steady, greatest in one.steady:
            shown &= moved(steady, pieces) <= greatest
        if not shown.any():
            continue
        own = np.flatnonzero(one.recorded())
        for i in np.flatnonzero(shown).tolist():
            low, high = np.searchsorted(own, pieces[i])
            near = own[max(low - _BESIDE, 0) : high + _BESIDE]
            change = np.abs(np.diff(one.at(near)))
            change = change[change > 0]
            if not len(change):
                shown[i] = False
                continue
            own_step = float(np.quantile(change, 0.1))
            if high - low < _MANY * _PARTS:
                own_step = _REFERENCE_STEPS * float(np.quantile(change, 0.75))
            shown[i] = by[i] > one.drift + np.nan_to_num(step) + own_step
        found[owner[shown]] = True
    return found


def _pieces(runs: Runs, rows: float) -> tuple[Runs, Rows]:
    """Cut runs into equal pieces of at most so many rows; return them, and whose each is."""
    lengths = runs[:, 1] - runs[:, 0] + 1
    counts = np.maximum(np.ceil(lengths / max(rows, 1.0)).astype(np.intp), 1)
    owner = np.repeat(np.arange(len(runs)), counts)
    order = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    starts = runs[owner, 0] + order * lengths[owner] // counts[owner]
    stops = runs[owner, 0] + (order + 1) * lengths[owner] // counts[owner]
    return np.stack([starts, stops - 1], axis=1), owner


def too_still(values: Floats, first: int, last: int, finest: float, chance: float) -> bool:
    """Whether a run stands more still than any aircraft is flown, between stretches of noise.

    On either side of the run, for as long as it lasts, the channel must flicker in noise of about
    a quantization step or more: so strongly that the run isn't chance wherever in the step the
    quantity lies (it has less probability than `chance`). That alone shows a quiet air, not a
    fault. So the step must be `finest` [SI] or less, too: then the quantity was held, while the
    aircraft climbed or changed speed, more steadily than any aircraft flies.
    """
    length = last - first + 1
    for low, high in ((first - length, first), (last + 1, last + 1 + length)):
        changes = _changes(values, low, high)
        if not _noisy(changes) or (changes == 0).mean() > _REPEATS:
            return False
        # A few of the changes may be smaller than a step: an average, or a float's rounding.
        if not np.quantile(np.abs(changes[changes != 0]), 0.05, method="lower") <= finest:
            return False
    return bool((length - 1) * np.log(_STAYS) < np.log(chance))


def quieter(values: Floats, first: int, last: int, chance: float) -> bool:
    """Whether the channel flickers beside the run, and not within.

    That is no fault by itself: a value flickers at the edge of a quantization step and stands
    still in its middle, and the air grows calm.
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
    """Whether the changes from sample to sample are those of a noise, not of a ramp."""
    turns = np.sign(changes[changes != 0])
    return len(turns) >= _LEAST_STEPS and bool((turns[1:] != turns[:-1]).mean() >= _REVERSALS)


def stale(
    time: Floats, values: Floats, runs: Runs, step: float, interval: float, gust_s: float
) -> NDArray[np.bool_]:
    """Whether each run ends in a step of more than `step`, and more than `step` a second.

    `values` and `step` in SI; `interval` [s] : the normal one, for a gap is no step. A value that
    comes back to within half a step within `gust_s` [s] was met by a gust. A step back to the value
    from before the run, or to one from which the next step comes back, is none either: a reply
    that was held meets no old value.
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

"""Channels that stand still: frozen, or stale.

A value that repeats isn't wrong by itself: a level cruise repeats. It is *frozen* where another
channel says that this one must have moved meanwhile, or where the noise that the channel has
elsewhere stops dead while the aircraft climbs or changes speed. It is *stale* where it is held
and then off at one step, and that is a habit of the recording.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Runs = NDArray[np.intp]

_PARTS = 8
"""A run is cut into so many parts, and two of them must lie wholly apart: one bad sample of a
witness can't make it seem to have moved."""
_NEIGHBOURHOOD = 10
"""How many times its own length on either side of a run tells how the channel flickers."""
_PLACES = 4096
_LEAST_STEPS = 30
"""Fewer changes than this don't show a noise."""
_REVERSALS = 0.25
"""Noise turns back at more than this share of its steps (white noise at two thirds); a ramp never
does."""


@dataclass(frozen=True, eq=False)
class Witness:
    """Another way to the same quantity: its value at some rows, and by how much it must move.

    ``at`` : function of rows, float64 in SI of the channel judged; ``moved`` : [SI];
    ``steady`` : quantities that mustn't move meanwhile, each with its greatest movement, for
    the witness to count.
    """

    name: str
    at: Callable[[Rows], Floats]
    moved: float
    steady: tuple[tuple[Callable[[Rows], Floats], float], ...] = ()


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
    # The farthest apart first: they tell most.
    for part in (8, 4, 12, 2, 6, 10, 14, *range(1, 16, 2)):
        offset = part * stride // 16
        looks = looks[values[looks * stride + offset] == values[looks * stride]]
    return looks


def moved(at: Callable[[Rows], Floats], runs: Runs) -> Floats:
    """How far a quantity surely moved in each run: the gap between its highest and lowest part.

    Returns float64[k] [unit of `at`]; negative or NaN where no two parts lie apart.
    """
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
    values: Floats, runs: Runs, witnesses: Sequence[Witness], other: Witness | None,
    chance: float,
) -> NDArray[np.bool_]:
    """Whether the channel was frozen in each run, bool[k].

    `other` is a quantity that shows that the aircraft climbs or changes speed; where it moves
    the channel's own noise must go on, unless so long a standstill has more chance than `chance`.
    """
    found = np.zeros(len(runs), dtype=bool)
    if not len(runs):
        return found
    for one in witnesses:
        told = moved(one.at, runs) > one.moved
        for steady, greatest in one.steady:
            told &= moved(steady, runs) <= greatest
        found |= told
    if other is not None:
        stirred = np.flatnonzero(~found & (moved(other.at, runs) > other.moved))
        for i in stirred.tolist():
            found[i] = _silenced(values, int(runs[i, 0]), int(runs[i, 1]), chance)
    return found


def _silenced(values: Floats, first: int, last: int, chance: float) -> bool:
    """Whether the channel flickers so much beside the run that the run can't be chance."""
    reach = min(_NEIGHBOURHOOD * (last - first + 1), 20000)
    steps = np.concatenate([
        np.diff(values[max(first - reach, 0) : first]), np.diff(values[last + 1 : last + reach])])
    steps = steps[~np.isnan(steps)]
    turns = np.sign(steps[steps != 0])
    if len(turns) < _LEAST_STEPS or (turns[1:] != turns[:-1]).mean() < _REVERSALS:
        return False
    repeats = max(float((steps == 0).mean()), 1 / len(steps))
    return bool((last - first) * np.log(repeats) < np.log(chance))


def stale(
    time: Floats, values: Floats, runs: Runs, step: float, interval: float
) -> NDArray[np.bool_]:
    """Whether each run ends in a step of more than `step`, and more than `step` a second.

    `values` and `step` in SI; `interval` [s] : the normal one, for a gap is no step. A step back
    to the value from before the run, or to one from which the next step comes back, is none: a
    reply that was held meets no old value.
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

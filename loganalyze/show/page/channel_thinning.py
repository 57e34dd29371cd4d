"""Which recorded channels a page keeps sample by sample, where all of them would make it too large.

What was judged is always kept whole. Of the other recorded channels the largest are drawn, away
from exceedances and near ones, by the least and the greatest of each short step of time: no chart
of a whole flight shows more, and no peak is lost.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.show.page.column_packing import packed

BESIDE_S = 60.0
"""So long before and after what was over a limit, or near one, every sample is kept [s]."""
BLOCKS = (16, 64, 256)
"""Samples in a step, of which two are kept; more where fewer don't do."""
KEPT_OF_A_STEP = 3.0
"""Samples that a step takes the space of: two, and that they stand further apart."""


@dataclass(frozen=True)
class Thinned:
    """Channels as they are kept: by name, and which of them are kept in steps of so many samples.

    ``texts``, ``recipes`` : as `packed` makes them; ``beside_s`` : how long around what was over or
    near every sample is kept [s], 0 where the steps are everywhere.
    """

    channels: Mapping[str, NDArray[np.float32]]
    texts: Mapping[str, str]
    recipes: Mapping[str, dict[str, Any]]
    names: tuple[str, ...] = ()
    samples: int = 1
    beside_s: float = BESIDE_S


def thinned(channels: Mapping[str, NDArray[np.float32]], time: NDArray[np.float64],
            kept: Sequence[tuple[float, float]], space: int) -> Thinned:
    """Return channels so that all of them take no more than some space.

    Parameters
    ----------
    channels : mapping of ndarray
        float32[n] by name.
    time : ndarray
        float64[n], [s].
    kept : sequence of tuple of float
        Stretches [s] in which every sample is kept, with `BESIDE_S` around them.
    space : int
        In bytes of text, as `packed` makes it.

    Returns
    -------
    Thinned
        The channels themselves where they fit; else as many in steps as are needed, the largest
        first; around the stretches, too, where nothing less does.
    """
    texts, recipes = packed(dict(channels))
    sizes = {name: len(text) for name, text in texts.items()}
    surplus = sum(sizes.values()) - space
    found = Thinned(channels, texts, recipes)
    if surplus <= 0:
        return found
    largest = sorted(sizes, key=lambda name: -sizes[name])
    for beside_s in (BESIDE_S, 0.0):
        whole = np.zeros(len(time), dtype=np.bool_)
        for start, end in kept if beside_s else ():
            whole |= (time >= start - beside_s) & (time <= end + beside_s)
        for samples in BLOCKS:
            # What thinning a channel saves, by the share of its samples that it drops.
            saves = (1 - float(whole.mean())) * (1 - KEPT_OF_A_STEP / samples)
            names, expected = [], 0.0
            for name in largest:
                if expected > surplus:
                    break
                names.append(name)
                expected += saves * sizes[name]
            if expected <= surplus and (beside_s, samples) != (0.0, BLOCKS[-1]):
                continue
            steps = {name: in_steps(channels[name], samples, whole) for name in names}
            less, how = packed(dict(steps))
            found = Thinned({**channels, **steps}, {**texts, **less}, {**recipes, **how},
                            tuple(names), samples, beside_s)
            if sum(map(len, found.texts.values())) <= space:
                return found
    return found


def in_steps(values: NDArray[np.float32], samples: int, whole: NDArray[np.bool_]
             ) -> NDArray[np.float32]:
    """Return the least and the greatest of each step, each for half of it, as they came.

    Parameters
    ----------
    values : ndarray
        float32[n]; NaN stays NaN.
    samples : int
        In a step.
    whole : ndarray
        bool[n], where every sample is kept: a step that touches it is left as it is.
    """
    count = -(-len(values) // samples)
    padding = count * samples - len(values)
    blocks = np.append(values, np.full(padding, np.nan, np.float32)).reshape(count, samples)
    least, greatest = np.fmin.reduce(blocks, axis=1), np.fmax.reduce(blocks, axis=1)
    known = np.isfinite(blocks)
    first = np.where(known, blocks, np.inf).argmin(axis=1)
    rising = first <= np.where(known, blocks, -np.inf).argmax(axis=1)
    halves = np.where(rising, [least, greatest], [greatest, least])
    # The earlier half of the samples that are known, and the later.
    half = np.cumsum(known, axis=1) > known.sum(axis=1, keepdims=True) // 2
    steps = np.where(half, halves[1][:, None], halves[0][:, None])
    steps = np.where(known, steps, blocks)
    keep = np.append(whole, np.zeros(padding, np.bool_)).reshape(count, samples).any(axis=1)
    steps[keep] = blocks[keep]
    return np.asarray(steps.reshape(-1)[: len(values)], dtype=np.float32)

"""Recorder words: a value split into a coarse and a fine one, or one that starts again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DOUBTFUL = 0.45
"""Where the coarse word is further than this share of the span from the fine one, it can't tell
which turn the fine word is in: half a span is a toss-up."""


def joined(coarse: Floats, fine: Floats, span: float) -> Floats:
    """Return the value whose fine word starts again after `span`, float64[n].

    `coarse` says which turn the fine word is in. NaN where either is, or where the coarse word
    lies nearly half a span from the fine one.
    """
    turns = np.round((coarse - fine) / span)
    value = fine + turns * span
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(value - coarse) > DOUBTFUL * span, np.nan, value)


def unwrapped(values: Floats, time: Floats, span: float, longest: float) -> tuple[Floats, int]:
    """Return a value that starts again after `span` as it runs on, and how many rows are lost.

    It counts from the turn of its first sample. Over a gap of more than `longest` [s] it may
    have turned unseen, so that what follows is NaN, as is what lies outside the span.
    """
    result = np.full(len(values), np.nan)
    with np.errstate(invalid="ignore"):
        good = np.flatnonzero((values > -span) & (values <= span))
    if not len(good):
        return result, 0
    steps = np.diff(values[good], prepend=values[good[0]])
    turns = np.cumsum((steps < -span / 2).astype(float) - (steps > span / 2))
    gaps = np.flatnonzero(np.diff(time[good]) > longest)
    stop = int(gaps[0]) + 1 if len(gaps) else len(good)
    result[good[:stop]] = values[good[:stop]] + turns[:stop] * span
    return result, len(good) - stop

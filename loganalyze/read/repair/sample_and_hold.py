"""Channels that are recorded less often than the rows: blank between, or each value repeated.

A repeat of a held value is no measurement. What tells a held channel from one that just moves
slowly is that its changes keep a beat: a value that creeps over its resolution changes at any
row, one that is held only at every n-th. A steady ramp keeps a beat as well where it crosses one
quantization step after the other in a whole number of rows: then each change is by one step and
comes as long after the last as that one did. Such a channel is taken as held only where another
one, of which there is no doubt, is held at the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.clocks.time_codes import SAMPLED_STEPS, stretches

Floats = NDArray[np.float64]

SLOW_SHARE = 0.6
"""A channel recorded at most at this share of rows may be a slow one."""
SAMPLED_VALUES = 1 << 14
"""Values looked at for a channel's rate and resolution."""
FIRST = 1024
"""Of them the first, which show whether values come back."""
ON_THE_BEAT = 0.98
"""At least this share of changes must keep the beat; rows that were lost break it now and then."""
OF_ONE_BEAT = 0.5
"""At least this share of values must last one beat alone: else nothing shows that it is one."""
BY_CHANCE = 1e-4
"""Changes at any row keep the beat by chance with less than this probability."""
ENOUGH = 200
"""Values between changes that leave no doubt."""
FEWEST = 7
"""Values between changes that are needed at least."""
SHOWING = 1 << 12
"""Rows in the middle of a log, most of which is flight, that may show that nothing is held."""

BY_ONE_STEP = 0.9
"""Where more than this share of changes are by the smallest one, quantization explains them."""
UNLIKE_SHARE = 0.25
"""Changes by one quantization step show a held channel only where at least this share of values
last another number of beats than the one before: a ramp's last alike, but where its slope
changes."""


def blank_between(values: Floats) -> NDArray[np.int32] | None:
    """Return the rows of a channel that is blank except at every n-th row or so, else None."""
    some = values if len(values) <= SAMPLED_STEPS else np.concatenate(
        [part[:256] for part in stretches(values)])
    if np.count_nonzero(np.isnan(some)) < max(1, (1 - SLOW_SHARE) * len(some)):
        return None
    rows = np.flatnonzero(~np.isnan(values))
    if len(rows) < 2 or len(rows) > SLOW_SHARE * len(values):
        return None
    gaps = np.diff(rows)
    usual = float(np.median(gaps))
    if usual < 1.5 or (gaps <= 1.5 * usual).mean() < 0.75:
        return None
    return rows.astype(np.int32)


Grid = tuple[int, int]
"""The beat of a held channel, and the first of its rows."""


def held_between(values: Floats, others: Callable[[], Sequence[Grid]] = tuple
                 ) -> tuple[NDArray[np.int32], int] | None:
    """Return the rows at which a channel was recorded that is held between, and the beat.

    None where the channel isn't held, or where too little changes to tell. The beat is the
    number of rows from one value to the next. A value that stands for several beats was
    recorded once a beat. `others` gives the grids of the log's other channels that are surely
    held: a channel that may be a quantized ramp is held where one of them changes at its rows.
    """
    if len(values) < 2 * FEWEST:
        return None
    middle = _new(values[len(values) // 2 :][:SHOWING])
    if np.count_nonzero(middle[1:] & middle[:-1]) > (1 - ON_THE_BEAT) * len(values):
        return None  # So many changes at neighbouring rows are too many for the whole log.
    if len(values) > SAMPLED_STEPS:
        parts = np.stack([part[:1024] for part in stretches(values)])
        for some in (parts[::8], parts):  # Most channels show at once that they aren't held.
            part, row = np.nonzero(_new(some))
            sampled = np.diff(row)[np.diff(part) == 0]
            if _beat(sampled) == 0 and (len(sampled) > ENOUGH or some is parts):
                return None
    new = _new(values)
    together, count = np.count_nonzero(new[1:] & new[:-1]), np.count_nonzero(new)
    if together > (1 - ON_THE_BEAT) * (count - 1):
        return None  # What changes at any row shows it before its changes are looked up.
    changes = np.flatnonzero(new) + 1
    beat = _beat(np.diff(changes))
    if beat == 0:
        return None
    if _ramps(values, changes) and not any(
            max(beat, other) % min(beat, other) == 0
            and (first - int(changes[0])) % min(beat, other) == 0 for other, first in others()):
        return None
    edges = np.append(changes, len(values))
    before = np.arange(changes[0] - beat, -1, -beat)[::-1]
    counts = np.maximum(1, np.round(np.diff(edges) / beat)).astype(np.intp)
    # The last value may have been cut off: it counts for what has begun of its beats.
    counts[-1] = max(1, -(-(edges[-1] - edges[-2]) // beat))
    place = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    rows = np.concatenate([before, np.repeat(changes, counts) + place * beat])
    rows = rows[rows < len(values)]
    return rows[~np.isnan(values[rows])].astype(np.int32), beat


def _ramps(values: Floats, changes: NDArray[np.intp]) -> bool:
    """Whether quantization of a smooth signal explains why `values` change at these rows alone."""
    steps = np.abs(values[changes] - values[changes - 1])
    known = steps[np.isfinite(steps)]
    if not len(known) or (known <= 1.5 * known.min()).mean() <= BY_ONE_STEP:
        return False
    lasting = np.diff(changes)
    return bool((np.diff(lasting) != 0).mean() < UNLIKE_SHARE) if len(lasting) > 1 else True


def _new(values: Floats) -> NDArray[np.bool_]:
    """Tell of all values but the first, along the last axis, whether they differ from the last."""
    now, before = values[..., 1:], values[..., :-1]
    differs: NDArray[np.bool_] = now != before
    blank = np.isnan(values)
    if blank.any():  # Blank cells follow each other without a change.
        differs &= ~(blank[..., 1:] & blank[..., :-1])
    return differs


def _beat(lasting: NDArray[np.intp]) -> int:
    """Return the beat that values kept which lasted so many rows each, 0 for none."""
    if len(lasting) < FEWEST or (lasting == 1).mean() > 1 - ON_THE_BEAT:
        return 0
    beat = int(np.bincount(np.minimum(lasting, 4096)).argmax())
    if beat < 2 or (lasting == beat).mean() < OF_ONE_BEAT:
        return 0
    if (lasting % beat == 0).mean() < ON_THE_BEAT or len(lasting) * np.log(beat) < -np.log(
            BY_CHANCE):
        return 0
    return beat


def _different(values: Floats) -> Floats:
    """Return the different values, each once, in the order in which they first stand."""
    # Through buffers: to turn an array into one of the other's, pyarrow would load pandas.
    once = pa.Array.from_buffers(pa.float64(), len(values), [
        None, pa.py_buffer(np.ascontiguousarray(values, dtype=np.float64))]).unique()
    different: Floats = np.frombuffer(once.buffers()[1], np.float64, len(once), 8 * once.offset)
    return different


def resolution(values: Floats, rounding: float, lowest: float = -np.inf, highest: float = np.inf
               ) -> float:
    """Return the smallest step between the plausible values of a bounded sample, or NaN.

    `lowest` and `highest` : the plausible range, in the unit of the values; what a recorder or a
    damaged cell holds beyond it is no step of the channel.
    """
    stride = max(1, len(values) // SAMPLED_VALUES)
    some = values[::stride][:SAMPLED_VALUES]
    if len(_different(some[:FIRST])) < 0.9 * FIRST:
        # Where values come back, finding the different ones takes less than sorting all.
        some = _different(some)
    rising = np.sort(some[np.isfinite(some) & (some >= lowest) & (some <= highest)])
    steps = np.diff(rising)
    apart = np.flatnonzero(steps)
    # Each step against its own numbers' rounding: one absurd number must not hide the others'.
    size = np.maximum(np.abs(rising[apart + 1]), np.abs(rising[apart]))
    steps = steps[apart]
    steps = steps[steps > max(4 * rounding, 1e-12) * size]
    return float(steps.min()) if len(steps) else float("nan")

"""Outliers of the configuration: isolated samples of flaps, slats or gear.

Flaps and landing gear take seconds to move, and longer to move out and back. A sample that differs
from both its neighbours is therefore not a movement but a corrupt value, or a lever touched
briefly. It is replaced by what the neighbours show, and a limit that only the outlier would bring
into force is unknown at that row.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.arrays import Floats
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import FlightLog, aligned
from loganalyze.record.units import DEGREE

LEAST = {
    "flap": 2.0 * DEGREE,
    "slat": 2.0 * DEGREE,
    "flap_lever": 0.5 * DEGREE,
    "gear_down": 0.5,
    "gear_extending": 0.5,
    "gear_retracting": 0.5,
}
"""Least difference from the neighbours [SI] that makes a value an outlier, by channel: more than a
sensor's noise, and less than the distance between two detents of a lever."""
ALONE_S = 10.0
"""One sample is an outlier where its neighbours are at most this far apart [s]: flaps or gear take
longer to travel out and back (common practice, no source)."""
TOGETHER_S = 2.0
"""Several samples are outliers where the equal values on either side of them are at most this far
apart [s]: less than a crew needs to select a position, notice the error and reverse it."""


def outliers(time: Floats, values: Floats, least: float) -> tuple[NDArray[np.intp], Floats]:
    """Return the outliers of a channel, and what their neighbours show instead.

    One sample that lies beyond both its neighbours is replaced by the nearer of them; several are
    replaced by the value before them, where it returns.

    Parameters
    ----------
    time : float64[n]  [s]
        Rising.
    values : float64[n]  any unit
        NaN where missing; missing values are skipped.
    least : float
        How far an outlier lies from its neighbours, in the unit of the values.

    Returns
    -------
    intp[k], float64[k]
        Rising indices of the outliers, and their replacements.
    """
    # Only the first and last of consecutive equal values matter: a handful in a million samples
    # of a flap.
    changes = np.flatnonzero(values[1:] != values[:-1])
    beside = np.stack([changes, changes + 1], axis=1).ravel()
    known = np.concatenate([[0], beside, [len(values) - 1]])
    known = known[np.append(len(values) > 0, known[1:] > known[:-1])]
    known = known[~np.isnan(values[known])]
    at, value = time[known], values[known]
    changed = (np.flatnonzero(np.abs(np.diff(value)) > least) + 1).tolist()
    found: list[NDArray[np.intp]] = [np.empty(0, dtype=np.intp)]
    instead: list[float] = []
    done = 0
    for i in changed:
        if i < done:
            continue
        after, shown = i, float(value[i - 1])
        if i + 1 < len(value) and at[i + 1] - at[i - 1] <= ALONE_S:
            middle = float(np.median(value[i - 1 : i + 2]))
            if abs(value[i] - middle) > least:
                after, shown = i + 1, middle
        if after == i:
            stop = int(np.searchsorted(at, at[i - 1] + TOGETHER_S, side="right"))
            back = np.flatnonzero(np.abs(value[i:stop] - value[i - 1]) <= least)
            after = i + int(back[0]) if len(back) else i
        if after > i:
            rows = np.arange(known[i], known[after])
            found.append(rows[~np.isnan(values[rows])])
            instead += [shown] * len(found[-1])
            done = after + 1  # The sample after an outlier is the new state, whatever its value.
    return np.concatenate(found), np.array(instead)


@dataclass(frozen=True, eq=False)
class CleanedChannels:
    """The channels of one log without their outliers, each searched once."""

    log: FlightLog
    _found: dict[str, tuple[Floats, Floats | None]] = field(default_factory=dict)

    def of(self, name: str) -> tuple[Floats, Floats | None]:
        """Return a channel at every row, its outliers replaced, and the outliers alone.

        Both float64[n] in SI; the second is NaN except at the rows of outliers, and None where
        there are none. Channels without an entry in `LEAST` have none.
        """
        if name not in self._found:
            self._found[name] = _cleaned(self.log, name)
        return self._found[name]


def _cleaned(log: FlightLog, name: str) -> tuple[Floats, Floats | None]:
    plain = log.aligned(name)
    least = LEAST.get(name)
    if least is None:
        return plain, None
    channel = log.channels[name]
    stamps = log.time if channel.rows is None else log.time[channel.rows]
    found, instead = outliers(stamps, channel.values, least)
    if not len(found):
        return plain, None
    values, alone = channel.values.copy(), np.full(len(channel.values), np.nan)
    values[found], alone[found] = instead, channel.values[found]
    if channel.rows is None:
        return values, alone
    known = kind(name)
    smooth = known is not None and known.smooth
    return (aligned(log.time, stamps, values, channel.interval_s, smooth),
            aligned(log.time, stamps, alone, channel.interval_s, smooth=False))

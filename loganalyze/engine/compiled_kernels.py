"""The innermost loops of the judgement, compiled: the same sums as the plain block loop.

Imported only for much data, and only where numba is installed; see `kernel_loading`. Operation
for operation these loops do what `speed_tables`, `block_evaluation` and `screening.sample_checks`
do with whole arrays, so the
results are the same to the bit. They hold no GIL, and a stretch of samples stays in the
processor's nearest cache on its way through all formulas.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

from loganalyze.engine.kernel_arguments import Columns, Numbers, TableNumbers

types: Any = numba.types
F = TypeVar("F", bound=Callable[..., Any])
Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Bits = NDArray[np.uint16]
Bytes = NDArray[np.uint8]
Rows = NDArray[np.int64]

CHUNK = 1024
"""Samples taken through all formulas at a time: a dozen arrays of them fit the nearest cache."""
GIVEN_NOT = -1.0
"""Stands in `given` where the Mach number comes from the table."""

# Inputs are declared read-only, so that arrays of either kind come without another compilation.
_FLOATS = types.Array(types.float64, 1, "C", readonly=True)
_BITS = types.Array(types.uint16, 1, "C", readonly=True)
_TABLE = types.Array(types.float64, 2, "C", readonly=True)
_READ_BYTES = types.Array(types.uint8, 1, "C", readonly=True)
_SINGLE, _BYTES, _ROWS = types.float32[::1], types.uint8[::1], types.int64[::1]
_NUMBERS = types.NamedUniTuple(types.float64, len(Numbers.__annotations__), Numbers)
_TABLE_NUMBERS = types.NamedUniTuple(types.float64, len(TableNumbers.__annotations__), TableNumbers)
_COLUMNS = types.NamedUniTuple(_SINGLE, len(Columns.__annotations__), Columns)


def _compiled(result: Any, *arguments: Any) -> Callable[[F], F]:
    # No fast maths: every sum as written, so that it's the same with and without compiling.
    return cast(Callable[[F], F], numba.njit(
        result(*arguments), nogil=True, cache=True, error_model="numpy"))


@_compiled(types.int64, *[_FLOATS] * 4, types.int64, types.int64, _TABLE, types.uint16[::1],
           *[types.int64[:, ::1]] * 2, *[_ROWS] * 2)
def screen(
    time: Floats, speed: Floats, altitude: Floats, felt: Floats, low: int, high: int,
    bounds: Floats, bits: Bits, spikes: Rows, leaps: Rows, spiked: Rows, leapt: Rows,
) -> int:
    """Find what each sample of rows `low` to before `high` and its neighbours tell.

    Parameters
    ----------
    time, speed, altitude, felt : float64[n]
        [s], [m/s], [m], [K] as recorded; `felt` empty where there is none.
    bounds : float64[3, 6]
        Of each channel: lowest and highest plausible value, greatest rate, what noise may add
        to a step, the place of the bit that says missing (out of range comes next), and the
        rate of a leap.
    bits : uint16[high - low]
        Zeros; receives those bits.
    spikes, leaps : int64[2, high - low + 1]
        Receive, for speed and altitude, the rows that are out and at once back, faster than
        plausible, and those after which a step between plausible values is faster than a
        leap's rate.
    spiked, leapt : int64[2]
        Zeros; receive how many rows `spikes` and `leaps` hold.

    Returns
    -------
    int
        How many bits were set.
    """
    marked = 0
    for first in range(low, high, CHUNK):
        last = min(first + CHUNK, high)
        for channel in range(3):
            values = speed if channel == 0 else (altitude if channel == 1 else felt)
            if not values.size:
                continue
            lowest, highest = bounds[channel, 0], bounds[channel, 1]
            here = values[first:last]
            bad = 0
            for i in range(here.size):
                bad += not (here[i] >= lowest) & (here[i] <= highest)
            if bad:
                missing = np.uint16(1 << int(bounds[channel, 4]))
                outside = np.uint16(2 << int(bounds[channel, 4]))
                marked += bad
                for i in range(here.size):
                    if not (here[i] >= lowest) & (here[i] <= highest):
                        bits[first - low + i] |= missing if np.isnan(here[i]) else outside
            if channel == 2:
                continue
            rate, noise, leap = bounds[channel, 2], bounds[channel, 3], bounds[channel, 5]
            begin, end = max(first - 1, 0), min(last, time.size - 1)
            # Slices rather than i and i + 1, which could be negative and bar vector steps.
            here, after = values[begin:end], values[begin + 1 : end + 1]
            now, next_ = time[begin:end], time[begin + 1 : end + 1]
            least = min(rate, leap)
            bad = 0
            for i in range(here.size):
                bad += np.abs(after[i] - here[i]) > least * (next_[i] - now[i]) + noise
            if not bad:
                continue
            away = False
            for i in range(here.size):
                step, lasts = after[i] - here[i], next_[i] - now[i]
                fast = np.abs(step) > rate * lasts + noise
                # A fill value beside it makes no good sample a spike.
                good = lowest <= here[i] <= highest and lowest <= after[i] <= highest
                if (good and np.abs(step) > leap * lasts + noise
                        and (i or first == low)):  # The step before was seen with its chunk.
                    leaps[channel, leapt[channel]] = begin + i
                    leapt[channel] += 1
                # Row i, within the chunk, is out and at once back.
                if (i and away and fast and good and begin + i >= first
                        and (here[i] - here[i - 1]) * step < 0
                        and lowest <= here[i - 1] <= highest):
                    spikes[channel, spiked[channel]] = begin + i
                    spiked[channel] += 1
                away = fast
    return marked


@_compiled(types.int64, _FLOATS, _FLOATS, _BITS, types.uint16, types.uint16, _BITS, _TABLE,
           _NUMBERS, _SINGLE, _ROWS)
def verdict(
    speed: Floats, altitude: Floats, bits: Bits, speed_mask: np.uint16, altitude_mask: np.uint16,
    which: Bits, table: Floats, numbers: Numbers, margin_kt: Singles, near: Rows,
) -> int:
    """Write the margin alone; return how many rows are near a limit or can't be told.

    The arguments are those of `columns`, of which this is a part.
    """
    start, scale = numbers.altitude_start, numbers.altitude_scale
    count = int(numbers.altitude_cells)
    knots, guard = numbers.knots, numbers.guard
    bent, slope, value = table[3], table[4], table[5]
    close = 0
    kept_speed, kept_altitude, over = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    offset, row = np.empty(CHUNK), np.empty(CHUNK, np.int64)
    for first in range(0, speed.size, CHUNK):
        n = min(CHUNK, speed.size - first)
        v, h = speed[first : first + n], altitude[first : first + n]
        if bits.size:
            some = bits[first : first + n]
            for i in range(n):
                kept_speed[i] = np.nan if some[i] & speed_mask else v[i]
                kept_altitude[i] = np.nan if some[i] & altitude_mask else h[i]
            v, h = kept_speed[:n], kept_altitude[:n]
        for i in range(n):
            x = (h[i] - start) * scale
            x = x if (x >= 0.0) & (x <= count - 1.0) else np.nan
            cell = np.int32(x if x > 0.0 else 0.0)
            row[i] = cell
            offset[i] = x - cell - 0.5
        if which.size:
            chosen = which[first : first + n]
            for i in range(n):
                row[i] += chosen[i] * count
        margin = margin_kt[first : first + n]
        bad = 0
        for i in range(n):
            r, u = row[i], offset[i]
            x = (bent[r] * u + slope[r]) * u + value[r] - v[i]
            over[i] = x
            margin[i] = x * knots
        for i in range(n):
            bad += not over[i] > guard
        if bad:
            for i in range(n):
                if not over[i] > guard:
                    near[close] = first + i
                    close += 1
    return close


@_compiled(
    types.UniTuple(types.int64, 3), _FLOATS, _FLOATS, _FLOATS, _BITS, types.uint16, types.uint16,
    types.uint16, _BITS, _TABLE, _READ_BYTES, _TABLE, _TABLE, _NUMBERS, _TABLE_NUMBERS, _FLOATS,
    _COLUMNS, _BYTES, *[_ROWS] * 3,
)
def columns(
    speed: Floats, altitude: Floats, felt: Floats, bits: Bits, speed_mask: np.uint16,
    altitude_mask: np.uint16, felt_mask: np.uint16, which: Bits, table: Floats, who: Bytes,
    expansion: Floats, thinness: Floats, numbers: Numbers, tables: TableNumbers, given: Floats,
    written: Columns, governing: Bytes, near: Rows, ends: Rows, beyond: Rows,
) -> tuple[int, int, int]:
    """Write every column of a block of n samples.

    Parameters
    ----------
    speed, altitude, felt : float64[n]
        Calibrated airspeed [m/s], pressure altitude [m], temperature that the probe felt [K]
        (empty where there is none).
    bits : uint16[n] or empty
        What screening has against each sample; a sample is NaN where its mask has a bit of it.
    which : uint16[n] or empty
        The part of the table that each sample's limits have.
    table : float64[12, parts * cells]
        Parabolas over pressure altitude (curvature, slope, value): of the pressure ratio, the
        limit airspeed, the limit Mach number and the limit pointer. ``who`` : uint8[parts *
        cells], the governing limit.
    expansion, thinness : float64[2, .], float64[3, .]
        Straight lines of (1 + q_c/p)^(2/7), and parabolas of the density altitude over the
        density ratio.
    numbers, tables, written
        See `kernel_arguments`.
    given : float64[n] or empty
        Mach numbers known better than from the table; `GIVEN_NOT` elsewhere.
    near, ends, beyond : int64[n]
        Receive the rows near a limit, or whose margin can't be told; those too slow or too fast
        for the table of powers; those whose density ratio its table doesn't hold.

    Returns
    -------
    tuple of int
        How many rows `near`, `ends` and `beyond` hold.
    """
    start, scale = numbers.altitude_start, numbers.altitude_scale
    count = int(numbers.altitude_cells)
    factor, knots, feet = numbers.ratio_of_speed, numbers.knots, numbers.feet
    sonic, slow, fast = numbers.sonic_ratio, numbers.slow, numbers.fast
    guard, freezing = numbers.guard, numbers.freezing
    sound, sound_root = numbers.sound_kt, numbers.sound_root_kt
    lapse, ground = numbers.lapse, numbers.sea_level_temperature
    tropopause = numbers.tropopause_temperature
    recovery, per_expansion = tables.recovery, tables.expansion_scale
    thin, thick, per_thinness = tables.thinnest, tables.densest, tables.thinness_scale
    # A coefficient lies in a row of its own, which `verdict` reads quicker than from a column.
    bent_delta, slope_delta, value_delta = table[0], table[1], table[2]
    bent_limit, slope_limit, value_limit = table[3], table[4], table[5]
    bent_mach, slope_mach, value_mach = table[6], table[7], table[8]
    bent_pointer, slope_pointer, value_pointer = table[9], table[10], table[11]
    slope_expansion, value_expansion = expansion[0], expansion[1]
    bent_thinness, slope_thinness, value_thinness = thinness[0], thinness[1], thinness[2]
    close = ending = outside = 0
    v, h, t = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    offset, row, cell = np.empty(CHUNK), np.empty(CHUNK, np.int64), np.empty(CHUNK, np.int64)
    delta, limit, there = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    mach, squared, spare = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    for first in range(0, speed.size, CHUNK):
        n = min(CHUNK, speed.size - first)
        last = first + n
        for i in range(n):
            v[i] = speed[first + i]
            h[i] = altitude[first + i]
        if felt.size:
            for i in range(n):
                t[i] = felt[first + i]
        if bits.size:
            some = bits[first:last]
            for i in range(n):
                v[i] = np.nan if some[i] & speed_mask else v[i]
                h[i] = np.nan if some[i] & altitude_mask else h[i]
                t[i] = np.nan if some[i] & felt_mask else t[i]
        for i in range(n):
            x = (h[i] - start) * scale
            x = x if (x >= 0.0) & (x <= count - 1.0) else np.nan
            h[i] = h[i] if x == x else np.nan
            whole = np.int32(x if x > 0.0 else 0.0)
            row[i] = whole
            offset[i] = x - whole - 0.5
        if which.size:
            chosen = which[first:last]
            for i in range(n):
                row[i] += chosen[i] * count
        pointer = written.limit_pointer_kt[first:last]
        for i in range(n):
            r, u = row[i], offset[i]
            delta[i] = (bent_delta[r] * u + slope_delta[r]) * u + value_delta[r]
        for i in range(n):
            r, u = row[i], offset[i]
            limit[i] = (bent_limit[r] * u + slope_limit[r]) * u + value_limit[r]
        for i in range(n):
            r, u = row[i], offset[i]
            there[i] = (bent_mach[r] * u + slope_mach[r]) * u + value_mach[r]
        for i in range(n):
            r, u = row[i], offset[i]
            spare[i] = (bent_pointer[r] * u + slope_pointer[r]) * u + value_pointer[r]
        for i in range(n):
            pointer[i] = spare[i] * knots
        governs = governing[first:last]
        for i in range(n):
            governs[i] = who[row[i]]
        for i in range(n):
            x = v[i] * factor
            x = x * x + 1.0
            x = ((x * x) * (np.sqrt(x) * x) - 1.0) / delta[i]
            squared[i] = sonic if x > sonic else x
        for i in range(n):
            x = squared[i] * per_expansion
            whole = np.int32(x if x > 0.0 else 0.0)
            cell[i] = whole
            spare[i] = x - whole - 0.5
        for i in range(n):
            r = cell[i]
            squared[i] = (slope_expansion[r] * spare[i] + value_expansion[r] - 1.0) * 5.0
        for i in range(n):
            mach[i] = np.sqrt(squared[i])
        if given.size:
            known = given[first:last]
            for i in range(n):
                if known[i] != GIVEN_NOT:
                    mach[i] = known[i]
                    squared[i] = known[i] * known[i]
        else:
            bad = 0
            for i in range(n):
                bad += (v[i] < slow) | (mach[i] >= fast)
            if bad:
                for i in range(n):
                    if (v[i] < slow) | (mach[i] >= fast):
                        ends[ending] = first + i
                        ending += 1
        out = written.calibrated_airspeed_kt[first:last]
        for i in range(n):
            out[i] = v[i] * knots
        out = written.pressure_altitude_ft[first:last]
        for i in range(n):
            out[i] = h[i] * feet
        out = written.mach[first:last]
        for i in range(n):
            out[i] = mach[i]
        out = written.equivalent_airspeed_kt[first:last]
        for i in range(n):
            out[i] = np.sqrt(delta[i]) * mach[i] * sound
        out = written.limit_airspeed_kt[first:last]
        for i in range(n):
            out[i] = limit[i] * knots
        out = written.margin_mach[first:last]
        for i in range(n):
            out[i] = there[i] - mach[i]
        out = written.margin_kt[first:last]
        bad = 0
        for i in range(n):
            x = limit[i] - v[i]
            spare[i] = x
            out[i] = x * knots
        for i in range(n):
            bad += not spare[i] > guard
        if bad:
            for i in range(n):
                if not spare[i] > guard:
                    near[close] = first + i
                    close += 1
        if not felt.size:
            continue
        if recovery != 0.0:
            for i in range(n):
                t[i] = t[i] / (squared[i] * recovery + 1.0)
        out = written.static_air_temperature_degc[first:last]
        for i in range(n):
            out[i] = t[i] - freezing
        out = written.isa_deviation_degc[first:last]
        for i in range(n):
            x = h[i] * lapse + ground
            out[i] = t[i] - (tropopause if x < tropopause else x)
        out = written.true_airspeed_kt[first:last]
        for i in range(n):
            out[i] = np.sqrt(t[i]) * mach[i] * sound_root
        for i in range(n):
            spare[i] = delta[i] / t[i] * ground
        bad = 0
        for i in range(n):
            bad += (spare[i] < thin) | (spare[i] > thick)
        if bad:
            for i in range(n):
                if (spare[i] < thin) | (spare[i] > thick):
                    spare[i] = np.nan
                    beyond[outside] = first + i
                    outside += 1
        for i in range(n):
            x = (spare[i] - thin) * per_thinness
            whole = np.int32(x if x > 0.0 else 0.0)
            cell[i] = whole
            spare[i] = x - whole - 0.5
        out = written.density_altitude_ft[first:last]
        for i in range(n):
            r, u = cell[i], spare[i]
            out[i] = ((bent_thinness[r] * u + slope_thinness[r]) * u + value_thinness[r]) * feet
    return close, ending, outside

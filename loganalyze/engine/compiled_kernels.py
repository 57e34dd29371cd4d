"""The innermost loops of the evaluation, compiled by numba.

Imported only for many samples, and only where numba is installed; see `kernel_loading`. These
loops repeat, operation by operation, what `speed_tables`, `block_evaluation` and
`screening.sample_checks` do with NumPy arrays, so the results are bitwise equal. They release the
interpreter's lock, and take chunks that fit the first-level cache through all formulas.
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
"""Samples taken through all formulas at a time: a dozen arrays of them fit the first cache."""
FROM_TABLE = -1.0
"""Marks in `exact_mach` the rows whose Mach number comes from the table."""

# Read-only types accept writable arrays too, so that one compilation serves both.
_FLOATS = types.Array(types.float64, 1, "C", readonly=True)
_BITS = types.Array(types.uint16, 1, "C", readonly=True)
_TABLE = types.Array(types.float64, 2, "C", readonly=True)
_READ_BYTES = types.Array(types.uint8, 1, "C", readonly=True)
_SINGLE, _BYTES, _ROWS = types.float32[::1], types.uint8[::1], types.int64[::1]
_NUMBERS = types.NamedUniTuple(types.float64, len(Numbers.__annotations__), Numbers)
_TABLE_NUMBERS = types.NamedUniTuple(types.float64, len(TableNumbers.__annotations__), TableNumbers)
_COLUMNS = types.NamedUniTuple(_SINGLE, len(Columns.__annotations__), Columns)


def _compiled(result: Any, *arguments: Any) -> Callable[[F], F]:
    # Without fast maths no operation is reordered, so that results equal NumPy's.
    return cast(Callable[[F], F], numba.njit(
        result(*arguments), nogil=True, cache=True, error_model="numpy"))


@_compiled(types.int64, *[_FLOATS] * 4, types.int64, types.int64, _TABLE, types.uint16[::1],
           *[types.int64[:, ::1]] * 2, *[_ROWS] * 2)
def screen(
    time: Floats, speed: Floats, altitude: Floats, probe: Floats, low: int, high: int,
    bounds: Floats, bits: Bits, spikes: Rows, fast_steps: Rows, n_spikes: Rows, n_fast_steps: Rows,
) -> int:
    """Check each sample of rows `low` to `high` - 1 by its range and its neighbours.

    Parameters
    ----------
    time, speed, altitude, probe : float64[n]
        Time [s], airspeed [m/s], pressure altitude [m] and probe temperature [K] as recorded; NaN
        where missing; `probe` is empty without a temperature channel.
    bounds : float64[3, 6]
        For airspeed, altitude and temperature: lowest and highest plausible value; greatest
        plausible rate; allowance for noise in a step; number of the bit for a missing value (that
        for one out of range is the next); rate above which an excursion may begin or end.
    bits : uint16[high - low]
        Zeros on entry; receives the bits.
    spikes, fast_steps : int64[2, high - low + 1]
        Receive, for airspeed and altitude: rows that differ from both neighbours in the same
        direction by more than the plausible rate; rows after which a step between plausible
        values exceeds the excursion rate.
    n_spikes, n_fast_steps : int64[2]
        Zeros on entry; receive the number of rows in `spikes` and `fast_steps`.

    Returns
    -------
    int
        The number of bits set.
    """
    marked = 0
    for first in range(low, high, CHUNK):
        last = min(first + CHUNK, high)
        for channel in range(3):
            values = speed if channel == 0 else (altitude if channel == 1 else probe)
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
            rate, noise, excursion_rate = bounds[channel, 2], bounds[channel, 3], bounds[channel, 5]
            begin, end = max(first - 1, 0), min(last, time.size - 1)
            # Slices, since an index such as i + 1, possibly negative, prevents vectorization.
            here, after = values[begin:end], values[begin + 1 : end + 1]
            now, following = time[begin:end], time[begin + 1 : end + 1]
            least = min(rate, excursion_rate)
            bad = 0
            for i in range(here.size):
                bad += np.abs(after[i] - here[i]) > least * (following[i] - now[i]) + noise
            if not bad:
                continue
            away = False
            for i in range(here.size):
                step, duration = after[i] - here[i], following[i] - now[i]
                fast = np.abs(step) > rate * duration + noise
                # A sample beside a fill value isn't a spike for that.
                good = lowest <= here[i] <= highest and lowest <= after[i] <= highest
                if (good and np.abs(step) > excursion_rate * duration + noise
                        and (i or first == low)):  # Earlier steps: previous chunk.
                    fast_steps[channel, n_fast_steps[channel]] = begin + i
                    n_fast_steps[channel] += 1
                # Two fast steps of opposite sign: row i is a spike.
                if (i and away and fast and good and begin + i >= first
                        and (here[i] - here[i - 1]) * step < 0
                        and lowest <= here[i - 1] <= highest):
                    spikes[channel, n_spikes[channel]] = begin + i
                    n_spikes[channel] += 1
                away = fast
    return marked


@_compiled(types.int64, _FLOATS, _FLOATS, _BITS, types.uint16, types.uint16, _BITS, _TABLE,
           _NUMBERS, _SINGLE, _ROWS)
def verdict(
    speed: Floats, altitude: Floats, bits: Bits, speed_mask: np.uint16, altitude_mask: np.uint16,
    config: Bits, table: Floats, numbers: Numbers, margin_kt: Singles, near: Rows,
) -> int:
    """Write the margin alone; return the number of rows near a limit or with a margin of NaN.

    The arguments are as those of `columns`; `near` receives those rows.
    """
    start, scale = numbers.altitude_start, numbers.altitude_scale
    count = int(numbers.altitude_cells)
    knots, guard = numbers.knots, numbers.guard
    curvature, slope, value = table[3], table[4], table[5]
    n_near = 0
    kept_speed, kept_altitude, over = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    offset, row = np.empty(CHUNK), np.empty(CHUNK, np.int64)
    for first in range(0, speed.size, CHUNK):
        n = min(CHUNK, speed.size - first)
        v, h = speed[first : first + n], altitude[first : first + n]
        if bits.size:
            reasons = bits[first : first + n]
            for i in range(n):
                kept_speed[i] = np.nan if reasons[i] & speed_mask else v[i]
                kept_altitude[i] = np.nan if reasons[i] & altitude_mask else h[i]
            v, h = kept_speed[:n], kept_altitude[:n]
        for i in range(n):
            x = (h[i] - start) * scale
            x = x if (x >= 0.0) & (x <= count - 1.0) else np.nan
            cell = np.int32(x if x > 0.0 else 0.0)
            row[i] = cell
            offset[i] = x - cell - 0.5
        if config.size:
            chosen = config[first : first + n]
            for i in range(n):
                row[i] += chosen[i] * count
        margin = margin_kt[first : first + n]
        bad = 0
        for i in range(n):
            r, u = row[i], offset[i]
            x = (curvature[r] * u + slope[r]) * u + value[r] - v[i]
            over[i] = x
            margin[i] = x * knots
        for i in range(n):
            bad += not over[i] > guard
        if bad:
            for i in range(n):
                if not over[i] > guard:
                    near[n_near] = first + i
                    n_near += 1
    return n_near


@_compiled(
    types.UniTuple(types.int64, 3), _FLOATS, _FLOATS, _FLOATS, _BITS, types.uint16, types.uint16,
    types.uint16, _BITS, _TABLE, _READ_BYTES, _TABLE, _TABLE, _NUMBERS, _TABLE_NUMBERS, _FLOATS,
    _COLUMNS, _BYTES, *[_ROWS] * 3,
)
def columns(
    speed: Floats, altitude: Floats, probe: Floats, bits: Bits, speed_mask: np.uint16,
    altitude_mask: np.uint16, probe_mask: np.uint16, config: Bits, table: Floats,
    cell_governing: Bytes, expansion: Floats, density: Floats, numbers: Numbers,
    tables: TableNumbers, exact_mach: Floats, written: Columns, governing: Bytes, near: Rows,
    extremes: Rows, beyond: Rows,
) -> tuple[int, int, int]:
    """Write every column of a block of n samples.

    Parameters
    ----------
    speed, altitude, probe : float64[n]
        Calibrated airspeed [m/s], pressure altitude [m], temperature as the probe reads it [K]
        (empty without one).
    bits : uint16[n] or empty
        Screening reasons of each sample; a value is taken as NaN where a bit of its mask is set.
    config : uint16[n] or empty
        The set of limits that applies at each sample, as the number of its part of the table.
    table : float64[12, parts * cells]
        Quadratics over pressure altitude (curvature, slope, value): of the pressure ratio, the
        limit airspeed, the limit Mach number and the limit pointer. ``cell_governing`` :
        uint8[parts * cells], the index of the governing limit.
    expansion, density : float64[2, .], float64[3, .]
        Linear pieces of (1 + q_c/p)^(2/7) over q_c/p, and quadratics of the density altitude over
        the density ratio.
    numbers, tables, written
        See `kernel_arguments`.
    exact_mach : float64[n] or empty
        Mach numbers computed exactly beforehand; `FROM_TABLE` elsewhere.
    near, extremes, beyond : int64[n]
        Receive the rows near a limit or with a margin of NaN; those too slow or too fast for the
        table of powers; those whose density ratio lies outside its table.

    Returns
    -------
    tuple of int
        The numbers of rows in `near`, `extremes` and `beyond`.
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
    thinnest, densest, per_density = tables.thinnest, tables.densest, tables.density_scale
    # Each coefficient has its own row: `verdict` reads rows faster than columns.
    curvature_delta, slope_delta, value_delta = table[0], table[1], table[2]
    curvature_limit, slope_limit, value_limit = table[3], table[4], table[5]
    curvature_mach, slope_mach, value_mach = table[6], table[7], table[8]
    curvature_pointer, slope_pointer, value_pointer = table[9], table[10], table[11]
    slope_expansion, value_expansion = expansion[0], expansion[1]
    curvature_density, slope_density, value_density = density[0], density[1], density[2]
    n_near = n_extremes = n_beyond = 0
    v, h, t = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    offset, row, cell = np.empty(CHUNK), np.empty(CHUNK, np.int64), np.empty(CHUNK, np.int64)
    delta, limit, limit_mach = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    mach, squared, spare = np.empty(CHUNK), np.empty(CHUNK), np.empty(CHUNK)
    for first in range(0, speed.size, CHUNK):
        n = min(CHUNK, speed.size - first)
        last = first + n
        for i in range(n):
            v[i] = speed[first + i]
            h[i] = altitude[first + i]
        if probe.size:
            for i in range(n):
                t[i] = probe[first + i]
        if bits.size:
            reasons = bits[first:last]
            for i in range(n):
                v[i] = np.nan if reasons[i] & speed_mask else v[i]
                h[i] = np.nan if reasons[i] & altitude_mask else h[i]
                t[i] = np.nan if reasons[i] & probe_mask else t[i]
        for i in range(n):
            x = (h[i] - start) * scale
            x = x if (x >= 0.0) & (x <= count - 1.0) else np.nan
            h[i] = h[i] if x == x else np.nan
            whole = np.int32(x if x > 0.0 else 0.0)
            row[i] = whole
            offset[i] = x - whole - 0.5
        if config.size:
            chosen = config[first:last]
            for i in range(n):
                row[i] += chosen[i] * count
        pointer = written.limit_pointer_kt[first:last]
        for i in range(n):
            r, u = row[i], offset[i]
            delta[i] = (curvature_delta[r] * u + slope_delta[r]) * u + value_delta[r]
        for i in range(n):
            r, u = row[i], offset[i]
            limit[i] = (curvature_limit[r] * u + slope_limit[r]) * u + value_limit[r]
        for i in range(n):
            r, u = row[i], offset[i]
            limit_mach[i] = (curvature_mach[r] * u + slope_mach[r]) * u + value_mach[r]
        for i in range(n):
            r, u = row[i], offset[i]
            spare[i] = (curvature_pointer[r] * u + slope_pointer[r]) * u + value_pointer[r]
        for i in range(n):
            pointer[i] = spare[i] * knots
        governs = governing[first:last]
        for i in range(n):
            governs[i] = cell_governing[row[i]]
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
        if exact_mach.size:
            known = exact_mach[first:last]
            for i in range(n):
                if known[i] != FROM_TABLE:
                    mach[i] = known[i]
                    squared[i] = known[i] * known[i]
        else:
            bad = 0
            for i in range(n):
                bad += (v[i] < slow) | (mach[i] >= fast)
            if bad:
                for i in range(n):
                    if (v[i] < slow) | (mach[i] >= fast):
                        extremes[n_extremes] = first + i
                        n_extremes += 1
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
            out[i] = limit_mach[i] - mach[i]
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
                    near[n_near] = first + i
                    n_near += 1
        if not probe.size:
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
            bad += (spare[i] < thinnest) | (spare[i] > densest)
        if bad:
            for i in range(n):
                if (spare[i] < thinnest) | (spare[i] > densest):
                    spare[i] = np.nan
                    beyond[n_beyond] = first + i
                    n_beyond += 1
        for i in range(n):
            x = (spare[i] - thinnest) * per_density
            whole = np.int32(x if x > 0.0 else 0.0)
            cell[i] = whole
            spare[i] = x - whole - 0.5
        out = written.density_altitude_ft[first:last]
        for i in range(n):
            r, u = cell[i], spare[i]
            out[i] = ((curvature_density[r] * u + slope_density[r]) * u + value_density[r]) * feet
    return n_near, n_extremes, n_beyond

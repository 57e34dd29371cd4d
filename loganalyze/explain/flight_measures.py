"""Measures of every flight, with or without exceedances, for each limit and for all together.

Time is counted as in the evaluation: a sample stands for the time to the next one, at most 1.5
intervals.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from loganalyze.engine.limit_curves import Curve
from loganalyze.events.analysis import Analysis
from loganalyze.events.smallest_margins import Smallest
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import OVER, UNKNOWN
from loganalyze.phases.phase_detection import PHASES
from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.limited_speed import LimitedAirspeed, LimitedMach
from loganalyze.record.arrays import Floats, Mask, Rows
from loganalyze.record.threads import side_by_side
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import LimitMeasure
from loganalyze.screening import sample_checks
from loganalyze.sheets.limits_sheet import Limit

BLOCK = 65536

_SLACK = 1e-7
"""[kt or Mach] Columns are kept in float32: a Mach number of exactly the limit isn't over it."""
_APART = {LimitedAirspeed.suffix: 0.1, LimitedMach.suffix: 1e-4}
"""By how much a margin must be beyond the widest band for it not to be looked at: far more than the
rounding to float32 and the tables' errors."""


@dataclass(frozen=True, slots=True)
class MeasureSettings:
    """Bands and bins of the measurement; each operator sets its own, these are common ones."""

    bands_kt: tuple[float, ...] = (0.0, 5.0, 10.0, 20.0)
    """[kt] Time with less margin than each of these is reported; 0 is over the limit."""
    bands_mach: tuple[float, ...] = (0.0, 0.01, 0.02, 0.05)
    """The same for Mach limits."""
    lowest_kt: float = -30.0
    """[kt] Lower edge of the first bin of the histogram; it takes in all below, too."""
    highest_kt: float = 100.0
    """[kt] Lower edge of the last bin, which takes in all above."""
    width_kt: float = 5.0
    """[kt] Width of a bin."""

    def __post_init__(self) -> None:
        if not (self.width_kt > 0 and self.highest_kt > self.lowest_kt):
            raise ValueError("the histogram needs rising edges")
        for bands in (self.bands_kt, self.bands_mach):
            if any(not low < high for low, high in pairwise(bands)):
                raise ValueError("bands must rise")

    def bands_of(self, quantity: LimitedQuantity) -> tuple[float, ...]:
        """Return the bands for the limits of a quantity, in its unit."""
        ours = {LimitedAirspeed.suffix: self.bands_kt, LimitedMach.suffix: self.bands_mach}
        return ours.get(quantity.suffix, quantity.bands)

    @property
    def edges(self) -> tuple[float, ...]:
        """Lower edges of the bins [kt]."""
        count = int(np.ceil((self.highest_kt - self.lowest_kt) / self.width_kt)) + 1
        return tuple(self.lowest_kt + self.width_kt * i for i in range(count))


@dataclass(eq=False)
class _Sums:
    """Sums over the blocks for one limit [s]."""

    bands: Floats
    bins: Floats
    """None of them where no histograms are wanted."""
    judged: float = 0.0
    unknown: float = 0.0


def highest(analysis: Analysis) -> tuple[float, float]:
    """Return the highest calibrated airspeed and Mach number of the judged samples.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    calibrated_airspeed, mach : float
        [kt] and [1]; NaN where no sample has one. The Mach number is NaN, too, where the analysis
        was made without the columns of speeds (``verdict_only``).
    """
    speed, mach = (
        float(np.fmax.reduce(analysis.columns[name], initial=np.nan))
        if name in analysis.columns else float("nan")
        for name in ("calibrated_airspeed_kt", "mach"))
    return speed, mach


def measures_of(
    analysis: Analysis, phases: NDArray[np.uint8], settings: MeasureSettings | None = None,
    *, histograms: bool = True,
) -> tuple[LimitMeasure, ...]:
    """Measure a flight against each limit.

    Parameters
    ----------
    analysis : Analysis
    phases : uint8[n]
        The phase of each row, as `phases_of` gave it.
    settings : MeasureSettings, optional
    histograms : bool
        Whether to count the margins' histograms, which are empty otherwise.

    Returns
    -------
    tuple of LimitMeasure
        All limits together (``limit`` empty), then each limit in the sheet's order. Bands of a
        Mach limit are in Mach, those of a quantity that is no speed in its own unit, all others
        and all histograms in kt CAS. ``judged_s`` is the time
        in which the limit applied and was judged; ``unknown_s`` that in which it may have
        applied but couldn't be judged, gaps included. For all together they are the
        analysis's.
    """
    settings = settings or MeasureSettings()
    edges = settings.edges if histograms else ()
    sums = _summed(analysis, settings, len(edges))
    lost = analysis.gaps.duration
    measures = []
    for i, (total, smallest) in enumerate(zip(sums, analysis.smallest, strict=True)):
        bands = settings.bands_of(analysis.sheet.limit[i - 1].kind) if i else settings.bands_kt
        measures.append(LimitMeasure(
            smallest.limit, smallest.margin_kt, smallest.margin_mach, smallest.time_s,
            smallest.pressure_altitude_ft, _phase(analysis, phases, smallest),
            tuple(zip(bands, total.bands.tolist(), strict=True)),
            tuple(zip(edges, total.bins.tolist(), strict=True)),
            total.judged if i else analysis.judged_s,
            total.unknown + lost if i else analysis.unknown_s,
            smallest_margin=smallest.margin if i and not analysis.sheet.limit[i - 1].kind.is_speed
            else float("nan"),
        ))
    return tuple(measures)


def _phase(analysis: Analysis, phases: NDArray[np.uint8], smallest: Smallest) -> str:
    if np.isnan(smallest.time_s):
        return PHASES[0]
    return PHASES[int(phases[np.searchsorted(analysis.time, smallest.time_s)])]


def _summed(analysis: Analysis, settings: MeasureSettings, bins: int) -> list[_Sums]:
    """Evaluate the blocks, on two threads if there are enough."""
    n = len(analysis.log)
    starts = list(range(0, n, BLOCK))
    # The halves don't depend on the threads: a sum of other parts differs in its last bit.
    half = len(starts) // 2
    halves = [starts[:half], starts[half:]] if half else [starts]
    # Created before the threads that share it start.
    curves = {i: analysis.limit_curves.curve((i,)) for i in analysis.limit_curves.tabulated}
    parts = side_by_side([partial(_run, analysis, settings, curves, bins, some) for some in halves])
    total = parts[0]
    for part in parts[1:]:
        for so_far, more in zip(total, part, strict=True):
            so_far.bands += more.bands
            so_far.bins += more.bins
            so_far.judged += more.judged
            so_far.unknown += more.unknown
    return total


def _run(
    analysis: Analysis, settings: MeasureSettings, curves: Mapping[int, Curve], bins: int,
    starts: Sequence[int],
) -> list[_Sums]:
    limits, columns, log = analysis.sheet.limit, analysis.columns, analysis.log
    bands = [settings.bands_kt, *(settings.bands_of(limit.kind) for limit in limits)]
    sums = [_Sums(np.zeros(len(some)), np.zeros(bins)) for some in bands]
    for start in starts:
        stop = min(start + BLOCK, len(log))
        hold = np.zeros(stop - start)
        if log.interval_s > 0:
            hold = sample_checks.held(log.time[start : stop + 1], log.interval_s)[: stop - start]
        together = columns["margin_kt"][start:stop]
        _add_bands(sums[0], together.astype(np.float64), hold, bands[0])
        if bins:
            _add_bins(sums[0], together.astype(np.float64), hold, settings)
        for i, limit in enumerate(limits):
            state = columns[f"state_{i}"][start:stop]
            judged = state <= OVER
            held = hold
            if not judged.all():
                held = hold[judged]
                sums[i + 1].unknown += float(hold[state == UNKNOWN].sum())
                if not len(held):
                    continue
            sums[i + 1].judged += float(held.sum())
            if limit.kind.is_speed:
                if bins:
                    rows = np.flatnonzero(judged)
                    knots, _ = _margins(analysis, limit, curves.get(i), start + rows)
                    _add_bins(sums[i + 1], knots, held, settings)
                rows = np.flatnonzero(
                    judged & _near(analysis, limit, slice(start, stop), bands[i + 1]))
                _, own = _margins(analysis, limit, curves.get(i), start + rows)
            else:
                rows = np.flatnonzero(judged)
                own = analysis.evaluation.margin(limit, start + rows)
            _add_bands(sums[i + 1], own, hold[rows], bands[i + 1])
    return sums


def _near(analysis: Analysis, limit: Limit, rows: slice, bands: Sequence[float]) -> Mask:
    """Return at which rows a limit's margin may be within its widest band, bool[m].

    No speed limit's margin in kt is less than that to the lowest limit; a margin in Mach is known
    from the columns.
    """
    columns = analysis.columns
    within = max(bands, default=-np.inf) + _APART.get(limit.kind.suffix, 0.0)
    if limit.kind.suffix == LimitedAirspeed.suffix:
        return ~(columns["margin_kt"][rows] >= within)
    if limit.kind.suffix == LimitedMach.suffix and "mach" in columns:
        if limit.constant is not None:
            return ~(columns["mach"][rows] <= limit.constant - within)
        altitude = columns["pressure_altitude_ft"][rows] * np.float64(FOOT)
        return ~(columns["mach"][rows] <= limit.maximum_at(altitude) - within)
    return np.ones(rows.stop - rows.start, dtype=bool)


def _add_bins(sums: _Sums, knots: Floats, hold: Floats, settings: MeasureSettings) -> None:
    """Add rows to the histogram by their margin in kt CAS; `knots` is overwritten."""
    bins = knots
    bins -= settings.lowest_kt
    bins /= settings.width_kt
    np.clip(bins, 0, len(sums.bins) - 1, out=bins)
    if np.isnan(bins.max(initial=0.0)):
        known = ~np.isnan(bins)
        bins, hold = bins[known], hold[known]
    sums.bins += np.bincount(bins.astype(np.intp), hold, len(sums.bins))


def _add_bands(sums: _Sums, own: Floats, hold: Floats, bands: Sequence[float]) -> None:
    """Add rows to the bands, which rise, by their margin in the bands' own quantity."""
    for i, band in reversed(list(enumerate(bands))):
        within = np.flatnonzero(own < band - _SLACK)
        own, hold = own[within], hold[within]
        sums.bands[i] += float(hold.sum())


def _margins(
    analysis: Analysis, limit: Limit, curve: Curve | None, rows: Rows
) -> tuple[Floats, Floats]:
    """Margin [kt CAS], and in Mach for a Mach limit, from the limit's table where it has one."""
    columns = analysis.columns
    if curve is None or "mach" not in columns:  # as in an analysis without columns of speeds
        return _direct(analysis, limit, rows)
    altitude = columns["pressure_altitude_ft"][rows] * np.float64(FOOT)
    cell, offset = np.empty(len(rows), dtype=np.intp), np.empty(len(rows))
    curve.limit_airspeed.locate(altitude, cell, offset)
    limit_airspeed, scratch = np.empty(len(rows)), np.empty(len(rows))
    curve.limit_airspeed.evaluate(cell, offset, limit_airspeed, scratch)
    knots = limit_airspeed / KNOT - columns["calibrated_airspeed_kt"][rows]
    own = knots
    if limit.kind.suffix == LimitedMach.suffix:
        own = limit.maximum_at(altitude) - columns["mach"][rows]
    # In cells with a node, or without altitude, the exact evaluation may have a value.
    bad = np.flatnonzero(np.isnan(knots) | np.isnan(own))
    if len(bad):
        own = own.copy()
        knots[bad], own[bad] = _direct(analysis, limit, rows[bad])
    return knots, own


def _direct(
    analysis: Analysis, limit: Limit, rows: Rows
) -> tuple[Floats, Floats]:
    """The same row by row."""
    air = analysis.evaluation.air
    at = limit_equivalents.air_data_rows(air, rows)
    knots = (
        limit_equivalents.calibrated_equivalent(limit, air, at) - at.calibrated_airspeed
    ) / KNOT
    if limit.kind.suffix != LimitedMach.suffix:
        return knots, knots
    return knots, limit_equivalents.published_maximum(
        limit, at
    ) - limit_equivalents.published_value(limit, at)

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
from loganalyze.limits.evaluation import OVER, UNDER, UNKNOWN
from loganalyze.phases.phase_detection import PHASES
from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.limited_speed import LimitedAirspeed, LimitedMach
from loganalyze.record.threads import side_by_side
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import LimitMeasure
from loganalyze.screening import sample_checks
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]

BLOCK = 65536

_SLACK = 1e-7
"""[kt or Mach] Columns are kept in float32: a Mach number of exactly the limit isn't over it."""


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
    analysis: Analysis, phases: NDArray[np.uint8], settings: MeasureSettings | None = None
) -> tuple[LimitMeasure, ...]:
    """Measure a flight against each limit.

    Parameters
    ----------
    analysis : Analysis
    phases : uint8[n]
        The phase of each row, as `phases_of` gave it.
    settings : MeasureSettings, optional

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
    sums = _summed(analysis, settings)
    edges = settings.edges
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


def _summed(analysis: Analysis, settings: MeasureSettings) -> list[_Sums]:
    """Evaluate the blocks, on two threads if there are enough."""
    n = len(analysis.log)
    starts = list(range(0, n, BLOCK))
    # The halves don't depend on the threads: a sum of other parts differs in its last bit.
    half = len(starts) // 2
    halves = [starts[:half], starts[half:]] if half else [starts]
    # Created before the threads that share it start.
    curves = {i: analysis.limit_curves.curve((i,)) for i in analysis.limit_curves.tabulated}
    parts = side_by_side([partial(_run, analysis, settings, curves, some) for some in halves])
    total = parts[0]
    for part in parts[1:]:
        for so_far, more in zip(total, part, strict=True):
            so_far.bands += more.bands
            so_far.bins += more.bins
            so_far.judged += more.judged
            so_far.unknown += more.unknown
    return total


def _run(
    analysis: Analysis, settings: MeasureSettings, curves: Mapping[int, Curve],
    starts: Sequence[int],
) -> list[_Sums]:
    limits, columns, log = analysis.sheet.limit, analysis.columns, analysis.log
    bands = [settings.bands_kt, *(settings.bands_of(limit.kind) for limit in limits)]
    sums = [_Sums(np.zeros(len(some)), np.zeros(len(settings.edges))) for some in bands]
    for start in starts:
        stop = min(start + BLOCK, len(log))
        hold = np.zeros(stop - start)
        if log.interval_s > 0:
            hold = sample_checks.held(log.time[start : stop + 1], log.interval_s)[: stop - start]
        together = columns["margin_kt"][start:stop].astype(np.float64)
        _add(sums[0], together, together, hold, bands[0], settings)
        place = _Place.of(analysis, start, stop) if curves else None
        for i, limit in enumerate(limits):
            state = columns[f"state_{i}"][start:stop]
            judged: NDArray[np.intp] | slice = slice(None)
            if state.max() > OVER:
                judged = np.flatnonzero((state == UNDER) | (state == OVER))
                sums[i + 1].unknown += float(hold[state == UNKNOWN].sum())
                if not len(judged):
                    continue
            held = hold[judged]
            sums[i + 1].judged += float(held.sum())
            if not limit.kind.is_speed:
                own = analysis.evaluation.margin(limit, np.arange(start, stop)[judged])
                _add_bands(sums[i + 1], own, held, bands[i + 1])
                continue
            knots, own = (_tabulated(analysis, limit, curves[i], place, judged)
                          if place is not None and i in curves
                          else _direct(analysis, limit, np.arange(start, stop)[judged]))
            _add(sums[i + 1], knots, own, held, bands[i + 1], settings)
    return sums


def _add(
    sums: _Sums, knots: Floats, own: Floats, hold: Floats, bands: Sequence[float],
    settings: MeasureSettings,
) -> None:
    """Add rows by their margin in kt CAS and in the bands' own quantity."""
    lowest, count = settings.lowest_kt, len(sums.bins)
    bins = knots - lowest
    bins /= settings.width_kt
    np.clip(bins, 0, count - 1, out=bins)
    if np.isnan(bins.max(initial=0.0)):
        known = ~np.isnan(bins)
        bins, hold, own = bins[known], hold[known], own[known]
    sums.bins += np.bincount(bins.astype(np.intp), hold, count)
    _add_bands(sums, own, hold, bands)


def _add_bands(sums: _Sums, own: Floats, hold: Floats, bands: Sequence[float]) -> None:
    least = np.fmin.reduce(own, initial=np.inf)
    for i, band in enumerate(bands):
        if least < band - _SLACK:
            sums.bands[i] += float(hold[own < band - _SLACK].sum())


@dataclass(frozen=True, eq=False)
class _Place:
    """A block's rows in the tables of the limits."""

    start: int
    speed_kt: Floats
    altitude: Floats
    cell: NDArray[np.intp]
    offset: Floats
    mach: Floats

    @classmethod
    def of(cls, analysis: Analysis, start: int, stop: int) -> _Place | None:
        """Return the measures; None for an analysis without columns of speeds."""
        columns = analysis.columns
        if "mach" not in columns:
            return None
        altitude = columns["pressure_altitude_ft"][start:stop] * np.float64(FOOT)
        cell, offset = np.empty(stop - start, dtype=np.intp), np.empty(stop - start)
        table = analysis.limit_curves.curve(()).limit_airspeed
        table.locate(altitude, cell, offset)
        return cls(start, columns["calibrated_airspeed_kt"][start:stop].astype(np.float64),
                   altitude, cell, offset, columns["mach"][start:stop].astype(np.float64))


def _tabulated(
    analysis: Analysis, limit: Limit, curve: Curve, place: _Place, rows: NDArray[np.intp] | slice
) -> tuple[Floats, Floats]:
    """Margin [kt CAS], and in Mach for a Mach limit, from the limit's table."""
    cell, offset = place.cell[rows], place.offset[rows]
    limit_airspeed, scratch = np.empty(len(cell)), np.empty(len(cell))
    curve.limit_airspeed.evaluate(cell, offset, limit_airspeed, scratch)
    knots = limit_airspeed / KNOT - place.speed_kt[rows]
    own = knots
    if limit.kind.suffix == LimitedMach.suffix:
        own = limit.maximum_at(place.altitude[rows]) - place.mach[rows]
    # In cells with a node, or without altitude, the exact evaluation may have a value.
    bad = np.flatnonzero(np.isnan(knots) | np.isnan(own))
    if len(bad):
        own = own.copy()
        where = np.arange(len(place.cell))[rows][bad] + place.start
        knots[bad], own[bad] = _direct(analysis, limit, where)
    return knots, own


def _direct(
    analysis: Analysis, limit: Limit, rows: NDArray[np.intp]
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

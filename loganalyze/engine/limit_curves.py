"""The limit airspeed tabulated against pressure altitude, for the blocks of `block_evaluation`."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.piecewise import PiecewiseQuadratic
from loganalyze.airdata.air_data import AirData
from loganalyze.limits.evaluation import Evaluation
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT, equivalents, lowest
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.sheets.limits_sheet import LimitsSheet

Floats = NDArray[np.float64]

# Cell edges fall on the boundaries of the standard atmosphere's layers (11 and 20 km), and the
# table spans the plausible range of pressure altitude.
START, STEP, COUNT = -1000.0, 8.0, 2625
CELLS = COUNT + 1
"""Entries of a table: a guard cell beyond its end holds that end itself."""


@dataclass(frozen=True, eq=False)
class Curve:
    """The lowest of a set of limits, tabulated against pressure altitude.

    ``limit_airspeed`` [m/s CAS] and ``limit_mach`` : piecewise over the cells; ``governing`` :
    uint8[cells + 1], the index of the lowest limit. A cell in which two limits cross, or a limit's
    table has a node, is NaN: rows there are evaluated directly.
    """

    limit_airspeed: PiecewiseQuadratic
    limit_mach: PiecewiseQuadratic
    governing: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class StackedCurves:
    """The curves of several sets of limits, one after the other along the axis of cells.

    ``table`` : float64[12, sets * `CELLS`], for each cell the coefficients, the highest power
    first, of the pressure ratio, the limit airspeed, the limit Mach number and the limit pointer;
    ``governing`` : uint8[sets * `CELLS`]; ``all_on_pointer`` : whether the pointer shows every
    limit of each set, so that it lies at the limit airspeed.
    """

    table: Floats
    governing: NDArray[np.uint8]
    all_on_pointer: bool

    @property
    def limit_airspeed(self) -> PiecewiseQuadratic:
        """The lowest limit [m/s CAS] of each set."""
        return self._rows(3)

    @property
    def limit_mach(self) -> PiecewiseQuadratic:
        """The same as a Mach number."""
        return self._rows(6)

    @property
    def pointer(self) -> PiecewiseQuadratic:
        """The lowest limit [m/s CAS] of each set that the pointer shows; NaN for none."""
        return self._rows(9)

    def _rows(self, first: int) -> PiecewiseQuadratic:
        curvature, slope, value = self.table[first : first + 3]
        return PiecewiseQuadratic(START, STEP, value, slope, curvature)


@dataclass(frozen=True, eq=False)
class LimitCurves:
    """Calibrated equivalents [m/s] of a sheet's tabulated limits over the cells.

    ``tabulated`` : indices of the limits whose equivalent depends on the pressure altitude alone;
    ``at_nodes`` : float64[limits, 3, cells], at the interpolation nodes of each cell;
    ``at_edges`` : float64[limits, cells + 1]; ``bends`` : bool[limits, cells], cells that hold a
    node of a limit's own table. All by limit index; NaN for limits that aren't tabulated.
    ``stacked`` : curves of several sets of limits, kept by `block_kernels` by these sets.
    """

    tabulated: tuple[int, ...]
    at_nodes: Floats
    at_edges: Floats
    bends: NDArray[np.bool_]
    stacked: dict[tuple[tuple[tuple[int, ...], ...], tuple[int, ...]], StackedCurves] = field(
        default_factory=dict, repr=False)
    _curves: dict[tuple[int, ...], Curve] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, evaluation: Evaluation) -> LimitCurves:
        """Return the curves of an evaluation's limits, cached by sheet.

        Curves with position corrections aren't cached, since the correction may differ by flight.
        """
        sheet, air = evaluation.sheet, evaluation.air
        tabulated = tuple(
            i for i, limit in enumerate(sheet.limit)
            if limit.kind.follows_from_altitude(
                position_varies=air.position is not None, corrected=air.corrected))
        if air.position_tables:
            return cls._computed(sheet, tabulated, air)
        for kept, curves in tuple(_KEPT):
            if kept is sheet and curves.tabulated == tabulated:
                return curves
        curves = cls._computed(sheet, tabulated, air)
        _KEPT.append((sheet, curves))
        return curves

    @classmethod
    def _computed(
        cls, sheet: LimitsSheet, tabulated: tuple[int, ...], air: AirData
    ) -> LimitCurves:
        nodes = PiecewiseQuadratic.nodes(START, STEP, COUNT)
        edges = START + STEP * np.arange(COUNT + 1, dtype=np.float64)
        at_nodes = np.full((len(sheet.limit), *nodes.shape), np.nan)
        at_edges = np.full((len(sheet.limit), len(edges)), np.nan)
        bends = np.zeros((len(sheet.limit), COUNT), dtype=bool)
        limits, chosen = [sheet.limit[i] for i in tabulated], list(tabulated)
        if limits:
            flat = equivalents(limits, nodes.ravel(), air.position_tables)
            at_nodes[chosen] = flat.reshape(len(limits), *nodes.shape)
            at_edges[chosen] = equivalents(limits, edges, air.position_tables)
        for i in tabulated:
            for node in sheet.limit[i].nodes_m:
                cell = (node - START) / STEP
                touched = np.array([np.floor(cell - 1e-6), np.floor(cell + 1e-6)], dtype=np.intp)
                bends[i, touched[(touched >= 0) & (touched < COUNT)]] = True
        return cls(tabulated, at_nodes, at_edges, bends)

    def curve(self, chosen: tuple[int, ...]) -> Curve:
        """Return the curve of the lowest of the limits with these indices, computed once."""
        if chosen not in self._curves:
            self._curves[chosen] = self._tabulated(chosen)
        return self._curves[chosen]

    def _tabulated(self, chosen: Sequence[int]) -> Curve:
        limits = list(chosen)
        if not limits:
            nothing = PiecewiseQuadratic.through(START, STEP, np.full((3, COUNT), np.nan))
            return Curve(nothing, nothing, np.full(COUNT + 1, NO_GOVERNING_LIMIT))
        names = np.append(np.asarray(limits, dtype=np.uint8), NO_GOVERNING_LIMIT)
        _, at_edges = lowest(self.at_edges[limits])
        speed, winner = lowest(self.at_nodes[limits])
        speed[:, (at_edges[:-1] != at_edges[1:]) | self.bends[limits].any(axis=0)] = np.nan
        mach = mach_at_cas(speed, PiecewiseQuadratic.nodes(START, STEP, COUNT))
        governing = names[np.minimum(winner[1], len(limits))]
        return Curve(
            PiecewiseQuadratic.through(START, STEP, speed),
            PiecewiseQuadratic.through(START, STEP, mach),
            np.append(governing, NO_GOVERNING_LIMIT),
        )


_KEPT: deque[tuple[LimitsSheet, LimitCurves]] = deque(maxlen=4)
"""Cache of the curves of the latest sheets, which the flights of a fleet share."""

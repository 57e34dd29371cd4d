"""The inputs shared by all blocks of one flight, and the results gathered from its blocks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.engine.limit_curves import LimitCurves
from loganalyze.limits.evaluation import Evaluation
from loganalyze.record.arrays import Bits
from loganalyze.screening import channel_screening
from loganalyze.screening.sample_checks import Screen
from loganalyze.sheets.limits_sheet import EDGE

Rows = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class BlockPlan:
    """An evaluation with the tables, the screen and the kernels that its blocks use.

    ``speeds_wanted`` : whether speeds, temperatures and the limit pointer are computed as well as
    margins and states; ``curves`` : the lowest limits tabulated against pressure altitude;
    ``table_ends`` : pressure altitudes [m] below and above which a limit given as a table is
    unknown, by limit index; ``other_limits`` : the indices of limits on quantities other than
    speeds, evaluated directly at every row; ``compiled`` : the module of compiled kernels, or None
    to use NumPy, with equal results.
    """

    evaluation: Evaluation
    screen: Screen
    speeds_wanted: bool
    curves: LimitCurves
    table_ends: Mapping[int, tuple[float, float]]
    other_limits: tuple[int, ...]
    compiled: Any

    @classmethod
    def of(cls, evaluation: Evaluation, *, speeds_wanted: bool, compiled: Any) -> BlockPlan:
        """Return the plan of an evaluation: all that its blocks have in common, computed once."""
        limits = evaluation.sheet.limit
        with_temperature = speeds_wanted or evaluation.needs_temperature
        return cls(
            evaluation,
            channel_screening.screen_of(
                evaluation.log, evaluation.air, evaluation.settings, with_temperature),
            speeds_wanted,
            LimitCurves.of(evaluation),
            {i: (limit.nodes_m[0] - EDGE, limit.nodes_m[-1] + EDGE)
             for i, limit in enumerate(limits) if limit.nodes_m and limit.outside == "unknown"},
            tuple(i for i, limit in enumerate(limits) if not limit.kind.is_speed),
            compiled,
        )


@dataclass(eq=False)
class EvaluatedSamples:
    """The results of all blocks, over the n rows of a log.

    ``columns`` : float32[n] and uint8[n] by name; ``screened`` : the number of rows rejected for
    each reason; ``over`` : arrays of rows over a limit, by limit index, without entries for limits
    never exceeded; ``judged_s`` : time with a verdict [s], an item a block; ``rejected`` : arrays
    of rejected rows with the bits of the reasons, an item a block.
    """

    columns: dict[str, NDArray[Any]]
    screened: dict[str, int] = field(default_factory=dict)
    over: dict[int, list[Rows]] = field(default_factory=dict)
    judged_s: list[float] = field(default_factory=list)
    rejected: list[tuple[Rows, Bits]] = field(default_factory=list)

    def add_over(self, limit: int, rows: Rows) -> None:
        """Append rows over the limit with this index."""
        if len(rows):
            self.over.setdefault(limit, []).append(rows)

    @property
    def rows_over(self) -> dict[int, Rows]:
        """Rows over each limit that was exceeded, by limit index, in ascending order."""
        return {i: np.sort(np.concatenate(rows)) for i, rows in sorted(self.over.items())}

    @property
    def rejected_rows(self) -> tuple[Rows, Bits] | None:
        """Rejected rows in ascending order with the bits of their reasons; None without any."""
        if not self.rejected:
            return None
        rows, reasons = (np.concatenate(parts) for parts in zip(*self.rejected, strict=True))
        order = np.argsort(rows, kind="stable")
        return rows[order], reasons[order]

"""What the blocks of one flight work on, and what they find."""

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
    """An evaluation with what its blocks take from tables.

    ``speeds_wanted`` : whether the columns beyond the verdict's are wanted; ``curves`` : the
    limits against pressure altitude; ``ends`` : pressure altitudes [m] beyond which a table
    leaves its limit unknown, by limit index; ``other_limits`` : the limits (indices) of
    quantities that are no speed, each evaluated at every row; ``compiled`` : the compiled
    kernels, or None: the whole-array way gives the same.
    """

    evaluation: Evaluation
    screen: Screen
    speeds_wanted: bool
    curves: LimitCurves
    ends: Mapping[int, tuple[float, float]]
    other_limits: tuple[int, ...]
    compiled: Any

    @classmethod
    def of(cls, evaluation: Evaluation, *, speeds_wanted: bool, compiled: Any) -> BlockPlan:
        """Work out once what every block needs."""
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
    """What the blocks found, over the rows of a log.

    ``columns`` : float32[n] and uint8[n] by name; ``screened`` : rows with each reason;
    ``over`` : the rows over each limit that has any; ``judged_s`` : time judged [s], by block;
    ``rejected`` : the rows with reasons against them, and those.
    """

    columns: dict[str, NDArray[Any]]
    screened: dict[str, int] = field(default_factory=dict)
    over: dict[int, list[Rows]] = field(default_factory=dict)
    judged_s: list[float] = field(default_factory=list)
    rejected: list[tuple[Rows, Bits]] = field(default_factory=list)

    def add_over(self, limit: int, rows: Rows) -> None:
        """Note rows over a limit (index)."""
        if len(rows):
            self.over.setdefault(limit, []).append(rows)

    @property
    def rows_over(self) -> dict[int, Rows]:
        """The rows over each limit that has any, rising."""
        return {i: np.sort(np.concatenate(rows)) for i, rows in sorted(self.over.items())}

    @property
    def rejected_rows(self) -> tuple[Rows, Bits] | None:
        """Rows that were screened, rising, and the reasons against them; None if none were."""
        if not self.rejected:
            return None
        rows, reasons = (np.concatenate(parts) for parts in zip(*self.rejected, strict=True))
        order = np.argsort(rows, kind="stable")
        return rows[order], reasons[order]

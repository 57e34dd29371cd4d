"""The margin to VMO and MMO that was kept in each part of a flight."""

from __future__ import annotations

import numpy as np

from loganalyze.limits.evaluation import OVER, UNDER
from loganalyze.record.arrays import Rows
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.results.assessment_results import Assessment
from loganalyze.training.segments.segment_results import NAN, KeptMargin


def kept_margins(
    assessment: Assessment, start_s: float, end_s: float, near_kt: float
) -> tuple[KeptMargin, ...]:
    """Return the margins to the limits without conditions, between two instants.

    Parameters
    ----------
    assessment : Assessment
    start_s, end_s : float
        [s] From the log's first sample.
    near_kt : float
        Time with less margin than this is counted [kt].
    """
    analysis = assessment.analysis
    first, stop = np.searchsorted(analysis.time, (start_s, end_s))
    rows: Rows = np.arange(first, stop)
    interval = max(analysis.log.interval_s, 0.0)
    held = np.minimum(np.diff(analysis.time[first : stop + 1], append=end_s)[: len(rows)],
                      HELD_INTERVALS * interval)
    found = []
    for i, limit in enumerate(analysis.sheet.limit):
        if limit.conditions or not limit.kind.is_speed or i in analysis.evaluation.lacking:
            continue
        judged = np.isin(analysis.columns[f"state_{i}"][rows], (UNDER, OVER))
        kept = rows[judged]
        if not len(kept):
            continue
        margin_kt = analysis.evaluation.margin_kt(limit, kept)
        least = int(np.nanargmin(margin_kt)) if np.isfinite(margin_kt).any() else -1
        if least < 0:
            continue
        row = int(kept[least])
        own = float(analysis.evaluation.margin(limit, kept[least : least + 1])[0])
        u = assessment.columns.get("margin_displayed_u_kt")
        time = held[judged]
        found.append(KeptMargin(
            limit.name, limit.kind.maximum_key == "maximum", own,
            float(margin_kt[least]), NAN if u is None else float(u[row]),
            float(analysis.time[row]), float(analysis.columns["pressure_altitude_ft"][row]),
            float(time[margin_kt < near_kt].sum() / max(time.sum(), 1e-9))))
    return tuple(found)

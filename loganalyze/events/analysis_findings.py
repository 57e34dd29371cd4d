"""Findings of an analysis besides its exceedances: channels that the log lacks or lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.limits.evaluation import ALTITUDE, TEMPERATURE, UNKNOWN, Evaluation
from loganalyze.record.findings import Finding
from loganalyze.screening import sample_checks


def lost_temperature(
    evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]
) -> list[Finding]:
    """Return a finding with the start, end and duration of an unusable temperature, if any."""
    if evaluation.air.temperature is None or "static_air_temperature_degc" not in columns:
        return []
    lost = np.flatnonzero(np.isnan(columns["static_air_temperature_degc"]))
    # Without a Mach number there is no static temperature, though the probe may work.
    lost = lost[~np.isnan(columns["mach"][lost])]
    if not len(lost):
        return []
    hold = sample_checks.held_at(evaluation.log.time, evaluation.log.interval_s, lost)
    first, last = lost[[0, -1]]
    return [Finding("temperature_lost", {
        "lost_s": float(hold.sum()),
        "first_s": float(evaluation.log.time[first]),
        "last_s": float(evaluation.log.time[last]),
    })]


def lacking_channels(
    evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]
) -> list[Finding]:
    """Return a finding for each limit that lacks a channel while it applied or may have."""
    findings = []
    for i, lacks in sorted(evaluation.lacking.items()):
        if not lacks or not is_unknown(columns, i):
            continue
        own = {*evaluation.sheet.limit[i].kind.channels}
        limit = {"limit": evaluation.sheet.limit[i].name}
        channels = {**limit, "channels": list(lacks)}
        if not {*lacks} <= {ALTITUDE, TEMPERATURE, *own}:
            findings.append(Finding("condition_not_recorded", channels))
        elif own & {*lacks}:
            findings.append(Finding("limit_needs_channel", channels))
        elif ALTITUDE in lacks:
            findings.append(Finding("limit_needs_altitude", channels))
        else:
            findings.append(Finding("limit_needs_temperature", limit))
    return findings


def is_unknown(columns: Mapping[str, NDArray[Any]], limit: int) -> bool:
    """Whether a limit's state is unknown at any sample."""
    return bool((columns[f"state_{limit}"] == UNKNOWN).any())

"""A recording against a limits sheet in one call: read, judged and assessed, flight by flight."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from loganalyze.events.analysis import Analysis
from loganalyze.events.recording_analysis import analyze
from loganalyze.explain.assessment import AssessSettings, assess_flight
from loganalyze.read.files.given_data import LogInput
from loganalyze.record.flight_log import FlightLog
from loganalyze.results.assessment_results import Assessment
from loganalyze.sheets.columns_file import ColumnsFile
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.uncertainty.prior_models import Prior


def assess(
    log: FlightLog | LogInput,
    sheet: LimitsSheet | str | Path,
    *,
    columns: str | Path | ColumnsFile | None = None,
    settings: Settings | None = None,
    declared: Mapping[str, float] | None = None,
    assess_settings: AssessSettings | None = None,
    priors: Mapping[str, Prior] | None = None,
) -> tuple[Assessment, ...]:
    """Read, judge and assess every flight of a recording.

    Parameters
    ----------
    log, sheet, columns, settings, declared
        As for `analyze`.
    assess_settings, priors
        As for `assess_flight`, its ``settings`` and ``priors``.

    Returns
    -------
    tuple of Assessment
        One for each flight, in their order; for a `FlightLog` one.

    Raises
    ------
    Problem
        As `analyze` does.

    Examples
    --------
    >>> import loganalyze as la
    >>> found = la.assess("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                   "sample_logs/ouzelwing_240.toml")
    >>> [exceedance.flown.word for flight in found for exceedance in flight.exceedances]
    ['over but not proven', 'proven over']
    """
    if isinstance(log, FlightLog):
        if columns is not None:
            raise TypeError("the log is read already: give columns to read_log")
        analyses: tuple[Analysis, ...] = (
            analyze(log, sheet, settings=settings, declared=declared),)
    else:
        analyses = analyze(log, sheet, columns=columns, settings=settings, declared=declared)
    return tuple(assess_flight(analysis, settings=assess_settings, priors=priors)
                 for analysis in analyses)

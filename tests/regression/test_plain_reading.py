"""Results of the random flights that are kept follow from the plain reading of each row.

That is `loganalyze.evaluate`.

What is rejected by screening is the analysis's own: there a limit may be unknown that the plain
reading, which screens nothing, knows. At all other rows both must say the same, and the outcome,
the exceedances with their worst instants, and the smallest margins must follow from it.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

import loganalyze as la
from loganalyze.testing import engine
from tests.regression.kept_results import Flight, frame_of
from tests.regression.random_event_flights import event_flight
from tests.regression.random_flights import JUDGED, random_flight

AT_A_TIME = 20


def plain(flight: Flight) -> pd.DataFrame:
    settings = flight.settings or la.Settings(**flight.sheet.screening)
    return la.evaluate(frame_of(flight.log), flight.sheet, settings=settings,
                       declared=flight.declared)


def words(column: pd.Series) -> list[str | None]:
    return column.astype(object).where(column.notna(), None).tolist()


FLIGHTS = [*((random_flight, seed) for seed in JUDGED),
           *((event_flight, seed) for seed in range(120))]


@pytest.mark.parametrize("first", range(0, len(FLIGHTS), AT_A_TIME))
def test_each_result_follows_from_the_rows(first):
    for drawn, seed in FLIGHTS[first : first + AT_A_TIME]:
        flight, what = drawn(seed), f"{drawn.__name__}({seed})"
        with engine(block=flight.block):
            analysis = la.analyze(flight.log, flight.sheet, settings=flight.settings,
                                  declared=flight.declared)
        _compare(what, flight, analysis, plain(flight))
        quick = la.analyze(flight.log, flight.sheet, settings=flight.settings,
                           declared=flight.declared, verdict_only=True)
        assert (quick.outcome, str(quick.exceedances)) == (
            analysis.outcome, str(analysis.exceedances)), what


def _compare(what: str, flight: Flight, analysis: la.Analysis, read: pd.DataFrame) -> None:
    samples = analysis.samples
    asked = {finding.values.get("limit") for finding in analysis.findings}
    rejected = analysis.evaluation.air.reasons_at(np.arange(len(flight.log))) > 0
    slow = {name for name, channel in flight.log.channels.items() if channel.rows is not None}
    over_any = False
    for limit, smallest in zip(flight.sheet.limit, analysis.smallest[1:], strict=True):
        here = f"{what}, {limit.name}"
        states = np.array(words(samples[f"state_{limit.name}"]), dtype=object)
        plainly = np.array(words(read[f"state_{limit.name}"]), dtype=object)
        over_any |= (states == "over").any()
        # Outliers of flaps are found among a slow channel's own samples, which a frame lacks.
        if limit.name in asked or any(one.channel in slow for one in limit.conditions):
            continue
        known = (states != plainly)
        assert not known[~rejected].any(), here
        assert set(states[known]) <= {"unknown"}, here
        value, maximum = read[f"value_{limit.name}"], read[f"maximum_{limit.name}"]
        _exceedances(here, limit, flight, analysis, states, (value - maximum).to_numpy())
        judged = (states == "under") | (states == "over")
        margins = (maximum - value).to_numpy()[judged]
        assert math.isnan(smallest.margin) == (not judged.any()), here
        if judged.any():
            assert smallest.margin == pytest.approx(margins.min(), rel=1e-9, abs=1e-9), here
    assert (analysis.outcome == "exceeded") == over_any, what
    table = analysis.exceedance_table
    assert table["number"].tolist() == list(range(1, len(analysis.exceedances) + 1)), what
    assert table["start_s"].tolist() == sorted(table["start_s"]), what


def _exceedances(here: str, limit: la.Limit, flight: Flight, analysis: la.Analysis,
                 states: np.ndarray, excess: np.ndarray) -> None:
    """Each sample over a limit lies in one exceedance of it, whose worst instant is the worst."""
    time, mine = flight.log.time, [one for one in analysis.exceedances if one.limit == limit.name]
    over = states == "over"
    covered = np.zeros(len(time), dtype=bool)
    for one in mine:
        inside = over & (time >= one.start_s - 1e-9) & (time <= one.end_s + 1e-9)
        assert inside.any(), here
        assert not (covered & inside).any(), here
        covered |= inside
        assert one.worst_value - one.limit_value == pytest.approx(
            excess[inside].max(), rel=1e-9, abs=1e-9), here
        assert one.worst_time_s in time[inside], here
        assert sum(end - start for start, end in one.over) == pytest.approx(one.time_over_s), here
        assert one.brief == (one.time_over_s < analysis.settings.minimum_duration_s), here
    assert (covered == over).all(), here

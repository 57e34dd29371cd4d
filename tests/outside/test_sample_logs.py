"""The main job on the sample logs, against when the simulation knows the limits were crossed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import loganalyze
from loganalyze.simulate import MMO, SAMPLES, VMO_KT

FOLDER = Path(__file__).parents[2] / "sample_logs"

# What the logs are there to show: limit, how the exceedance began and how it ended.
SHOWN = {
    "clean_flight": [],
    "descent_through_mmo_and_vmo": [
        ("MMO", "crossed", "recovered"),
        ("VMO", "crossed", "recovered"),
    ],
    "climb_into_the_limit": [("MMO", "crossed", "recovered")],
    "gaps_and_dead_probe": [
        ("VMO", "crossed", "gap"),
        ("VMO", "gap", "recovered"),
        ("VMO", "crossed", "recovered"),
    ],
}


@pytest.fixture(scope="module")
def sheet():
    return loganalyze.read_limits(FOLDER / "ouzelwing_240.toml")


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_exceedances_are_the_simulations_own(sample, sheet):
    analysis = loganalyze.analyze(loganalyze.read_log(FOLDER / f"{sample.name}.csv"), sheet)
    found = [(e.limit, e.began_by, e.ended_by) for e in analysis.exceedances]
    assert sorted(found) == sorted(SHOWN[sample.name])

    truth = sample.truth()
    for name, limit in (("VMO", {"cas_kt": VMO_KT}), ("MMO", {"mach": MMO})):
        # In rough air the limit is crossed back and forth; the first and the last crossing of
        # each stretch count, noise and steps of the recorder blur them by some seconds.
        over = truth.over(**limit)
        if len(over):
            apart = np.flatnonzero(over[1:, 0] - over[:-1, 1] > 5)
            over = np.column_stack([over[np.r_[0, apart + 1], 0], over[np.r_[apart, -1], 1]])
        expected = []
        for start, end in over:
            cuts = [gap for gap in sample.recorder.gaps if start < gap[0] < end]
            edges = [start, *np.ravel(cuts), end]
            expected += zip(edges[::2], edges[1::2], strict=True)
        spans = [(e.start_s, e.end_s) for e in analysis.exceedances if e.limit == name]
        assert len(spans) == len(expected)
        if expected:
            np.testing.assert_allclose(spans, expected, atol=2.5)


def test_overlapping_exceedances_of_the_descent_are_one_episode(sheet):
    log = loganalyze.read_log(FOLDER / "descent_through_mmo_and_vmo.csv")
    assert len({e.episode for e in loganalyze.analyze(log, sheet).exceedances}) == 1


def test_recorded_true_values_come_back(sheet):
    """Mach and TAS of the sample climb within what the recorder's steps and noise leave."""
    sample = next(s for s in SAMPLES if s.name == "climb_into_the_limit")
    log = loganalyze.read_log(FOLDER / f"{sample.name}.csv")
    analysis = loganalyze.analyze(log, sheet)
    truth = sample.truth().at(log.time)
    fast = truth.mach > 0.3
    mach = np.abs(analysis.columns["mach"] - truth.mach)[fast]
    tas = np.abs(analysis.columns["true_airspeed_kt"] - truth.true_airspeed * 3600 / 1852)[fast]
    print(f"greatest difference from the truth: Mach {mach.max():.4f}, TAS {np.nanmax(tas):.2f} kt")
    # .125 + 4 * .1 kt of speed (.0011 Mach); .5 K of temperature is .1 % of TAS.
    assert mach.max() < 0.0015
    assert np.isfinite(tas).mean() > 0.99
    assert np.nanmax(tas) < 1.5

"""What makes one exceedance of several stretches: chatter, a ridden limit, a hole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loganalyze import Channel, FlightLog, LimitsSheet, Source, analyze
from loganalyze.record.units import FOOT, KNOT
from loganalyze.text.flight_account import exceedance_facts
from loganalyze.text.language import report_sentences

SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}]})


def flown(kt: np.ndarray, rate_hz: float = 1.0, height_ft: float = 5000.0):
    """Judge an airspeed [kt] at one altitude."""
    time = np.arange(len(kt)) / rate_hz
    wobble = np.sin(np.arange(len(kt)) / 7.0)
    log = FlightLog(time, {
        "calibrated_airspeed": Channel(np.asarray(kt, dtype=float) * KNOT),
        "pressure_altitude": Channel((height_ft + wobble) * FOOT),
    }, Source(Path("made.csv")), interval_s=1 / rate_hz)
    return analyze(log, SHEET)


def event(peak: float = 262.0, seconds: int = 200) -> np.ndarray:
    """An excursion over 250 kt that lasts so long, with a minute under it on either side."""
    ramp = np.linspace(230, peak, 33)
    return np.concatenate([np.full(60, 230.0), ramp, np.full(seconds, peak), ramp[::-1],
                           np.full(60, 230.0)])


@pytest.mark.parametrize("dirt", [np.nan, 150.0])
@pytest.mark.parametrize("rate_hz", [1.0, 4.0])
def test_one_lost_sample_or_spike_parts_no_exceedance(dirt, rate_hz):
    whole = np.repeat(event(), int(rate_hz)) if rate_hz > 1 else event()
    whole = whole + np.random.default_rng(1).normal(0, 0.1, len(whole))
    (before,) = flown(whole, rate_hz).exceedances
    damaged = whole.copy()
    damaged[len(damaged) // 2] = dirt
    (one,) = flown(damaged, rate_hz).exceedances
    assert one.duration_s == pytest.approx(before.duration_s, abs=1e-6)
    assert one.time_over_s == pytest.approx(before.time_over_s, abs=1e-6)
    assert one.longest_over_s == pytest.approx(before.longest_over_s, abs=1e-6)
    assert one.touches == before.touches
    assert before.bounded_s == 0.0
    assert 0 < one.bounded_s <= 2 / rate_hz


def test_a_hole_in_which_the_limit_may_have_been_regained_parts_two():
    kt = event(252.0)
    kt[len(kt) // 2 : len(kt) // 2 + 4] = np.nan
    one, other = flown(kt).exceedances
    assert one.bounded_s == other.bounded_s == 0.0
    long = event(262.0)
    long[len(long) // 2 : len(long) // 2 + 12] = np.nan
    assert len(flown(long).exceedances) == 2


def test_touches_are_counted_and_their_time_told_apart_from_the_span():
    kt = np.full(200, 249.0)
    kt[20:140:5] = 250.5
    (one,) = flown(kt).exceedances
    assert one.touches == 24
    assert one.duration_s == pytest.approx(115, abs=2)
    assert one.time_over_s == pytest.approx(24 * 2 * 0.5 / 1.5, abs=0.1)
    assert one.longest_over_s == pytest.approx(2 * 0.5 / 1.5, abs=0.01)


@pytest.mark.parametrize("under_kt", [1.0, 1.5])
def test_a_limit_flown_along_in_noise_is_one_exceedance(under_kt):
    """True 249.0 or 248.5 kt for nine minutes, white noise .5 kt, 4 Hz, VMO 250."""
    for seed in range(5):
        rng = np.random.default_rng(seed)
        kt = np.concatenate([
            np.linspace(225, 250 - under_kt, 240), np.full(2160, 250 - under_kt),
            np.linspace(250 - under_kt, 225, 240)]) + rng.normal(0, 0.5, 2640)
        found = flown(kt, 4.0).exceedances
        over = int((kt > 250).sum())
        assert sum(one.touches for one in found) >= min(over, 2) / 2
        # Touches further apart than two minutes stay apart.
        stamps = np.flatnonzero(kt > 250) / 4.0
        assert len(found) == (1 + int((np.diff(stamps) > 119).sum()) if over else 0)


def test_two_passes_in_a_quiet_log_stay_two():
    rng = np.random.default_rng(2)
    base = 246 + 5 * np.sin(np.arange(300) * 2 * np.pi / 60)
    found = flown(base + rng.normal(0, 0.05, 300)).exceedances
    assert len(found) == 5
    assert {one.touches for one in found} == {1}


def test_how_an_exceedance_is_made_up_is_told_in_one_line():
    kt = np.full(200, 249.0)
    kt[20:140:5] = 250.5
    (one,) = exceedance_facts(flown(kt))
    assert report_sentences.touches(one) == (
        " The speed ran along the limit: over it 24 times, the longest for 0.7 s.")
    whole = event()
    whole[len(whole) // 2] = np.nan
    (one,) = exceedance_facts(flown(whole))
    assert report_sentences.touches(one) == (
        " For 1.0 s of it nothing was recorded: too short to have come back under the limit.")


@pytest.mark.parametrize("rate_hz", [1.0, 4.0, 8.0])
@pytest.mark.parametrize("noise_kt", [0.4, 0.6, 1.0])
def test_noise_in_steps_of_a_knot_parts_no_exceedance(noise_kt, rate_hz):
    """Most samples equal their neighbours there, and those that don't are no outliers."""
    rng = np.random.default_rng(4)
    kt = np.interp(np.arange(round(300 * rate_hz)) / rate_hz,
                   [0, 60, 75, 105, 112, 190, 200, 225, 240, 300],
                   [240, 240, 260, 260, 249.4, 249.4, 258, 258, 240, 240])
    found = flown(np.round(kt + rng.normal(0, noise_kt, len(kt))), rate_hz).exceedances
    assert len(found) == 1


def test_steps_count_where_the_calibrated_airspeed_is_not_known(log, vmo):
    """A limit in indicated airspeed is judged at flap angles without a position correction too."""
    time = np.arange(240.0)
    kt = np.where((time > 60) & (time < 180) & (time % 15 < 4), 252.0, 248.0)
    kt[[10, 20]] = 246.0, 244.0
    found = []
    for up_to in (5, 40):
        stated = LimitsSheet.model_validate({
            "aircraft": "an invented twin", "limit": [{**vmo, "quantity": "indicated_airspeed"}],
            "airspeed": {"recorded": "indicated", "position_correction": [
                {"flap_deg": {"up_to": up_to}, "table": [[100, 0], [300, 0]]}]}})
        found.append(analyze(log(time, indicated_airspeed=kt, flap=20.0), stated).exceedances)
    unknown, known = found
    assert np.isnan(unknown[0].worst_calibrated_airspeed_kt)
    assert [(one.start_s, one.end_s, one.touches) for one in unknown] == [
        (one.start_s, one.end_s, one.touches) for one in known]
    assert known[0].touches > 1


@pytest.mark.parametrize("rate_hz", [0.25, 0.5])
@pytest.mark.parametrize("step_kt", [0.01, 0.25])
def test_two_passes_stay_two_where_samples_are_few(step_kt, rate_hz):
    """The corners of what was flown are no noise."""
    kt = np.interp(np.arange(round(300 * rate_hz)) / rate_hz,
                   [0, 65, 80, 102, 110, 122, 131, 155, 170, 300],
                   [240, 240, 259.5, 259.5, 246.2, 246.2, 263.8, 263.8, 238, 238])
    one, other = flown(np.round(kt / step_kt) * step_kt, rate_hz).exceedances
    assert (one.touches, other.touches) == (1, 1)


# (excess on both sides [kt], samples missing, change of the speed beside the hole [kt/s], one?)
HOLES = {
    "two excesses of 5.9 kt outlast 5 s at 2 kt/s, the least rate": (5.9, 4, 0.0, True),
    "and 6 s they don't": (5.9, 5, 0.0, False),
    "two of 6.1 kt do": (6.1, 5, 0.0, True),
    "no excess outlasts more than 10 s": (150.0, 10, 0.0, False),
    "but 10 s": (150.0, 9, 0.0, True),
    "at 1 kt/s beside the hole it closes at 3 kt/s: 17 kt in 5 s": (8.5, 4, 1.0, True),
    "but 14 kt": (7.0, 4, 1.0, False),
    "12 kt/s is the most, though 5 kt/s beside it are 15: 64 kt in 5 s": (32.0, 4, 5.0, True),
    "but 58 kt": (29.0, 4, 5.0, False),
}


@pytest.mark.parametrize(("excess", "missing", "rate", "one"), HOLES.values(), ids=HOLES)
def test_how_long_a_hole_an_excess_outlasts(excess, missing, rate, one):
    """Both excesses together against the rate times the time from sample to sample."""
    before = 250.0 + excess - rate * np.minimum(np.arange(30), 3)[::-1]
    kt = np.concatenate([before, np.full(missing, np.nan), before[::-1]])
    found = flown(kt).exceedances
    assert len(found) == (1 if one else 2)
    assert found[0].bounded_s == pytest.approx(missing if one else 0.0)


def test_a_known_sample_under_the_limit_parts_two_however_far_over_they_were(log, sheet, vmo):
    # 25 kt over on either side: nothing slows that much in 2 s, but it was recorded.
    kt = np.interp(np.arange(80.0), [0, 20, 30, 50, 60, 80], [230, 230, 275, 275, 230, 230])
    kt[40] = 245.0
    flight = log(np.arange(80.0), calibrated_airspeed=kt, pressure_altitude=5000.0)
    assert len(analyze(flight, sheet(vmo)).exceedances) == 2

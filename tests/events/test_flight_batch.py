"""Many flights in one batch are judged as each would be alone, to the bit."""

import numpy as np
import pytest

from loganalyze import FlightLog, Problem, analyze, analyze_flights, assess_flight
from loganalyze.testing import assert_same, engine

LIMITS = [
    {"name": "VMO", "quantity": "calibrated_airspeed",
     "by_pressure_altitude": [[0, 245], [8000, 260], [20000, 255]]},
    {"name": "MMO", "quantity": "mach", "maximum": 0.6},
    {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 330},
    {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
     "when": {"flap_deg": {"above": 1, "up_to": 20}}},
]


def dirty(log, k):
    """A flight with dirt on every channel; some lack a channel, one has its flaps always out."""
    rng = np.random.default_rng(k)
    n = [7, 900, 2500, 1, 1300, 640][k % 6] + k
    share = np.linspace(0, 1, n)
    time = np.cumsum(rng.choice([0.25, 0.25, 0.25, 4.0], n, p=[0.4, 0.3, 0.29, 0.01]))
    channels = {
        "calibrated_airspeed": np.interp(share, [0, 0.2, 0.6, 1], [90, 250, 262, 120])
        + rng.normal(0, 1, n),
        "pressure_altitude": np.interp(share, [0, 0.3, 0.7, 1], [0, 21000, 19000, 500])
        + rng.normal(0, 3, n),
    }
    if n > 100:
        # An excursion of several samples: the flight is evaluated a second time.
        channels["calibrated_airspeed"][50:54] += 200
    if k % 3:
        channels["static_air_temperature"] = 15 - 0.002 * channels["pressure_altitude"]
    if k % 4:
        channels["flap"] = np.where((share < 0.1) | (k == 2), 12.0, 0.0)
    for values in channels.values():
        values[rng.random(n) < 0.01] = np.nan
        values[rng.random(n) < 0.003] = 9999.0
    return log(time - time[0], **channels)


@pytest.mark.parametrize("verdict_only", [False, True], ids=["columns", "verdict"])
@pytest.mark.parametrize(("name", "block"), [("arrays", None), ("arrays", 64), ("compiled", 64)])
def test_twelve_dirty_flights_in_one_batch(name, block, verdict_only, log, sheet):
    logs, stated = [dirty(log, k) for k in range(12)], sheet(*LIMITS)
    with engine(name, block=block):
        together = analyze_flights(logs, stated, verdict_only=verdict_only)
        alone = [analyze(one, stated, flight=k, verdict_only=verdict_only)
                 for k, one in enumerate(logs, 1)]
    for one, other in zip(together, alone, strict=True):
        assert one.flight == other.flight
        assert_same(one, other)
        assert repr(one.smallest) == repr(other.smallest)
    # The flights differ in what they have and in what is found.
    assert {one.outcome for one in together} >= {"exceeded", "not exceeded"}
    if not verdict_only:
        assert len({frozenset(one.columns) for one in together}) == 2
    codes = {finding.code for one in together for finding in one.findings}
    assert "limit_in_force_at_rest" in codes
    assert any(one.screened.get("airspeed spike faster than plausible") for one in together)


def test_assessed_alike(log, sheet):
    logs, stated = [dirty(log, k) for k in (1, 2, 4)], sheet(*LIMITS)
    for one, other in zip(analyze_flights(logs, stated), logs, strict=True):
        pair = [assess_flight(one), assess_flight(analyze(other, stated, flight=one.flight))]
        assert repr(pair[0].exceedances) == repr(pair[1].exceedances)
        assert repr(pair[0].near) == repr(pair[1].near)


def test_no_flight_is_no_analysis(sheet, vmo):
    assert analyze_flights([], sheet(vmo)) == ()


def test_flights_are_numbered_from_1_or_from_the_number_given(log, sheet, vmo):
    logs = [log(range(3), calibrated_airspeed=[251, 252, 240], pressure_altitude=5000.0)] * 2
    assert [(one.flight, one.exceedances[0].flight) for one in analyze_flights(
        logs, sheet(vmo))] == [(1, 1), (2, 2)]
    assert [one.flight for one in analyze_flights(logs, sheet(vmo), first=7)] == [7, 8]


def test_a_flight_without_samples_is_refused(log, sheet, vmo):
    some = log(range(3), calibrated_airspeed=240)
    empty = FlightLog(np.zeros(0), {}, some.source)
    with pytest.raises(Problem, match="no samples"):
        analyze_flights([some, empty], sheet(vmo))

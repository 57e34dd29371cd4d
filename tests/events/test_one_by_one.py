"""The flights of a recording, judged one by one."""

import gc
import weakref

import pytest

from loganalyze import Problem, analyze, analyze_each, read_flights
from loganalyze.testing import assert_same, make_sheet

SHEET = make_sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250})
FLIGHTS = (255, 240, 260)
"""Greatest airspeed of each flight [kt]."""


@pytest.fixture
def recording(tmp_path):
    """Three flights of ten minutes, an hour on the ground after each."""
    path = tmp_path / "three.csv"
    rows = []
    for fastest in FLIGHTS:
        ground = [(500, 0, 1)] * 3600
        climb = [(500 + 10 * i, min(120 + i, fastest), 0) for i in range(300)]
        rows += [*climb, *reversed(climb), *ground]
    path.write_text("Time [s],Pressure Altitude [ft],CAS [kt],Weight on Wheels\n" + "".join(
        f"{i},{altitude},{speed},{wheels}\n" for i, (altitude, speed, wheels) in enumerate(rows)))
    return path


def test_the_same_as_all_at_once(recording):
    together = analyze(recording, SHEET)
    one_by_one = list(analyze_each(recording, SHEET))
    assert len(together) == len(one_by_one) == len(FLIGHTS)
    assert [one.flight for one in one_by_one] == [1, 2, 3]
    for one, other in zip(one_by_one, together, strict=True):
        assert_same(one, other)
    assert [bool(one.exceedances) for one in one_by_one] == [fast > 250 for fast in FLIGHTS]


def test_one_flight_is_held_at_a_time(recording):
    logs = [log.time for log in read_flights(recording)]
    assert len(logs) == 3  # else the test says nothing
    seen = []
    for flight in analyze_each(recording, SHEET):
        gc.collect()
        assert [one() is not None for one in seen] == [False] * len(seen)
        seen.append(weakref.ref(flight))
        seen.append(weakref.ref(flight.log))
        del flight
    assert len(seen) == 6


def test_nothing_is_read_before_it_is_asked_for(tmp_path):
    flights = analyze_each(tmp_path / "missing.csv", SHEET)
    with pytest.raises(Problem, match="no such file"):
        next(flights)

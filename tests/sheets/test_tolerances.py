"""Tolerances: what a sheet states, what is taken where it says nothing, and the mistakes."""

import math

import numpy as np
import pytest

from loganalyze import Problem, read_limits
from loganalyze.sheets.sensor_tolerances import TYPICAL, WIDEST, Tolerance, UncertaintySheet

SHEET = """\
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 238
[uncertainty]
"""


@pytest.fixture
def read(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def read(text: str) -> UncertaintySheet:
        (tmp_path / "s.toml").write_text(SHEET + text, encoding="utf-8")
        return read_limits("s.toml").uncertainty

    return read


@pytest.mark.parametrize(("stated", "reading", "u"), [
    ({"limits": 3}, 200, 3 / math.sqrt(3)),
    ({"standard": 1.5}, 200, 1.5),
    ({"limits": 3, "per_cent": True}, 200, 6 / math.sqrt(3)),
    # 95.45 % of a normal distribution lie within 2 standard deviations.
    ({"limits": 4, "coverage": 0.954499736}, 200, 2),
    ({"limits_table": [[50, 5], [100, 3]]}, 75, 4 / math.sqrt(3)),
    ({"limits_table": [[50, 5], [100, 3]]}, 400, 3 / math.sqrt(3)),
    ({"standard_table": [[50, 5], [100, 3]], "per_cent": True}, 100, 3),
    ({"standard": 1, "per_cent": True}, -20, 0.2),
])
def test_the_standard_uncertainty_of_a_tolerance(stated, reading, u):
    assert Tolerance.model_validate(stated).standard_at(reading) == pytest.approx(u, rel=1e-8)


def test_a_tolerance_keeps_shapes_and_what_is_missing():
    constant = Tolerance(standard=1.0).standard_at([[1.0, np.nan]])
    assert constant.tolist() == [[1.0, 1.0]]
    by_reading = Tolerance(standard=1.0, per_cent=True).standard_at([np.nan, 100.0])
    assert by_reading[1] == 1.0
    assert np.isnan(by_reading[0])


def test_the_form(read):
    stated = read("""
airspeed = { limits = 4, source = "calibration of the computer" }
pressure_altitude = { limits_table = [[0, 30], [40000, 100]], coverage = 0.95 }
displayed_airspeed = { standard = 0.5, varies = "sample" }
display_quantum_kt = 1
skew_s = 0.25
""")
    assert stated.airspeed.source == "calibration of the computer"
    assert stated.airspeed.common
    assert not stated.displayed_airspeed.common
    assert stated.pressure_altitude.standard_at(20000) == pytest.approx(65 / 1.959964, rel=1e-6)
    assert (stated.skew_s, stated.display_lag_s) == (0.25, None)


@pytest.mark.parametrize(("text", "said"), [
    ("airspeed = { per_cent = true }",
     "s.toml, [uncertainty], key airspeed: the tolerance has no size; write such as limits = 3 or "
     "standard = 1.5."),
    ("airspeed = { limits = 3, standard = 2 }",
     "s.toml, [uncertainty], key airspeed.standard: limits and standard exclude each other; keep "
     "one of them."),
    ("airspeed = { standard = 2, coverage = 0.95 }",
     "s.toml, [uncertainty], key airspeed.coverage: coverage is for limits, and a standard "
     "uncertainty has none; take it out."),
    ("airspeed = { limits = 2, coverage = 95 }",
     "s.toml, [uncertainty], key airspeed.coverage: a coverage of 95 isn't between 0 and 1; write "
     "it as a probability, such as coverage = 0.95."),
    ("airspeed = { limits = -2 }",
     "s.toml, [uncertainty], key airspeed.limits: a tolerance of -2 is less than 0; write it "
     "without its sign."),
    ("airspeed = { limits_table = [[50, 3], [100, -1]] }",
     "s.toml, [uncertainty], key airspeed.limits_table, row 2: a tolerance of -1 is less than 0; "
     "write it without its sign."),
    ("airspeed = { limits_table = [[100, 3], [50, 1]] }",
     "s.toml, [uncertainty], key airspeed.limits_table, row 2: airspeed 50 kt doesn't rise above "
     "the row before it; write the rows in order of airspeed, each airspeed once."),
    ("pressure_altitude = { limits_table = [[0, 30], [400000, 100]] }",
     "s.toml, [uncertainty], key pressure_altitude.limits_table, row 2: 400000 ft is outside "
     "-16404 to 104987 ft; write the row's pressure altitude in ft."),
    ("skew_s = -1",
     "s.toml, [uncertainty], key skew_s: skew_s = -1 is less than 0; write it without its sign."),
    ("airspeeds = { limits = 2 }",
     "s.toml, [uncertainty], key airspeeds: unknown key; write airspeed if that is meant."),
    ('airspeed = { limits = 2, varies = "day" }',
     's.toml, [uncertainty], key airspeed.varies: "day" isn\'t one of its values; write varies = '
     '"flight" or "sample".'),
    ("airspeed = 3",
     "s.toml, [uncertainty], key airspeed: 3 isn't a table of keys; write it such as airspeed = "
     "{ limits = 2 }."),
])
def test_mistakes(read, text, said):
    with pytest.raises(Problem) as raised:
        read(text)
    assert raised.value.sentence == said


ROOT = math.sqrt(3)


def test_the_widest_values_are_those_of_the_rules():
    # AMC to CAT.IDE.A.190: 5 % to VS0, 3 % above; 14 CFR 135 App. F: 2 degC; 14 CFR 25.1323(c):
    # the greater of 3 % and 5 kt.
    for sensor in ("airspeed", "displayed_airspeed"):
        size = WIDEST[sensor].standard_at([60, 250, 340]) * ROOT
        assert size == pytest.approx([3.0, 7.5, 10.2])
    assert WIDEST["pressure_altitude"].standard_at([0, 50000]) * ROOT == pytest.approx([100, 700])
    assert WIDEST["temperature"].standard_at(-30) * ROOT == pytest.approx(2)
    position = WIDEST["uncorrected_position"].standard_at([100, 160, 200, 340]) * ROOT
    assert position == pytest.approx([5, 5, 6, 10.2], rel=1e-3)


def test_the_typical_values_are_those_of_their_sources():
    # SAE AS8002A: 5 kt at 50 kt, 3 at 80, 2 from 100 to 200; AS417A: half of it between outputs.
    computer = TYPICAL["airspeed"].standard_at([50, 80, 100, 200, 300]) * ROOT
    assert computer == pytest.approx([5, 3, 2, 2, 3])
    shown = TYPICAL["displayed_airspeed"].standard_at([50, 80, 100, 200, 300]) * ROOT
    assert shown == pytest.approx([2.5, 1.5, 1, 1, 1.5])
    # RVSM: a mean of up to 80 ft, rectangular, and a standard deviation of 40 ft.
    assert TYPICAL["pressure_altitude"].standard_at(35000) == pytest.approx(
        math.sqrt(80**2 / 3 + 40**2))


@pytest.mark.parametrize("speed_kt", [100, 150, 200, 250, 300])
def test_the_static_systems_tolerance_is_30_ft_per_100_kt_as_airspeed(speed_kt):
    # dHp/dV of a static source at sea level, (58.5676 / sigma)(V/a0)(1 + 0.2 (V/a0)^2)^2.5 ft/kt.
    ratio = speed_kt / 661.478594435
    per_kt = 58.5676 * ratio * (1 + 0.2 * ratio**2) ** 2.5
    allowed = 0.3 * speed_kt / per_kt
    size = float(TYPICAL["uncorrected_position"].standard_at(speed_kt)) * ROOT
    assert allowed <= size < 1.15 * allowed


def test_no_typical_value_is_wider_than_the_rules_allow():
    assert set(TYPICAL) == set(WIDEST)
    for sensor, typical in TYPICAL.items():
        for reading in (60.0, 100.0, 250.0, 400.0) if sensor.endswith("airspeed") else (
                20000.0, 45000.0):
            assert typical.standard_at(reading) <= WIDEST[sensor].standard_at(reading) * 1.7, sensor
    for speed in (100.0, 250.0, 340.0):
        assert (TYPICAL["uncorrected_position"].standard_at(speed)
                < WIDEST["uncorrected_position"].standard_at(speed))


def test_every_generic_value_names_its_source():
    for tolerance in (*TYPICAL.values(), *WIDEST.values()):
        assert len(tolerance.source) > 15
        assert tolerance.source != Tolerance.model_fields["source"].default

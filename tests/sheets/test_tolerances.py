"""Tolerances: what a sheet states, what is taken where it says nothing, and the mistakes."""

import math

import numpy as np
import pytest

from loganalyze.problems import Problem
from loganalyze.sheets.limits import read_limits
from loganalyze.sheets.tolerances import (
    CORRECTED_POSITION,
    GENERIC,
    UNCORRECTED_POSITION,
    Tolerance,
    UncertaintySheet,
)

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


def test_the_generic_values_are_those_of_their_sources():
    # AMC to CAT.IDE.A.190: 5 % to VS0, 3 % above; 14 CFR 135 App. F: 2 degC; 14 CFR 25.1323(c):
    # the greater of 3 % and 5 kt; SAE AS8002A: 5 kt at 50 kt, 3 at 80, 2 from 100 to 200.
    root = math.sqrt(3)
    airspeed = GENERIC["airspeed"].standard_at([60, 250, 340]) * root
    assert airspeed == pytest.approx([3.0, 7.5, 10.2])
    assert GENERIC["pressure_altitude"].standard_at([0, 50000]) * root == pytest.approx([100, 700])
    assert GENERIC["temperature"].standard_at(-30) * root == pytest.approx(2)
    shown = GENERIC["displayed_airspeed"].standard_at([50, 80, 100, 200, 300]) * root
    assert shown == pytest.approx([5, 3, 2, 2, 3])
    position = UNCORRECTED_POSITION.standard_at([100, 160, 200, 340]) * root
    assert position == pytest.approx([5, 5, 6, 10.2], rel=1e-3)


def test_every_generic_value_names_its_source():
    for tolerance in (*GENERIC.values(), UNCORRECTED_POSITION, CORRECTED_POSITION):
        assert len(tolerance.source) > 15
        assert tolerance.source != Tolerance.model_fields["source"].default

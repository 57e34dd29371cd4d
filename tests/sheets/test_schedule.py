"""The schedule file: what it says, and each mistake in one sentence with its remedy."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from loganalyze import Problem
from loganalyze.training import read_schedule

SCHEMA = json.loads((Path(__file__).parents[2] / "schemas" / "schedule.schema.json").read_text())

FILE = """\
lesson = "climb and descent"
[climb]
airspeed_kt = 190
mach = 0.42
lower_airspeed_kt = 170
lower_below_ft = 10000
[cruise]
mach = 0.45
[descent]
mach = 0.46
airspeed_kt = 230
above_ft = 3000
[[speed]]
name = "flaps 10"
airspeed_kt = 150
when = { flap_deg = { above = 2, up_to = 13 } }
[tolerance.descent]
faster_kt = 5
slower_kt = 12
[[ceiling]]
name = "descent speed"
set_by = "the school"
quantity = "calibrated_airspeed"
maximum_kt = 240
[[grade]]
name = "as briefed"
least_within_pct = 80
"""


@pytest.fixture
def read(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def read(old="", new=""):
        assert old in FILE
        (tmp_path / "s.toml").write_text(FILE.replace(old, new, 1), encoding="utf-8")
        return read_schedule("s.toml")

    return read


def test_the_form(read):
    found = read()
    # Impact pressure by p0 at the CAS over that by p at the Mach number is p/p0, and
    # p/p0 = (1 - 6.8755856e-6 H)^5.2558798 in the troposphere.
    ratio = ((1 + 0.2 * (190 / 661.478594435) ** 2) ** 3.5 - 1) / ((1 + 0.2 * 0.42**2) ** 3.5 - 1)
    altitude = (1 - ratio ** (1 / 5.25587981271)) / 6.87558563248e-6
    assert found.climb.crossover_ft == pytest.approx(altitude, abs=0.1)
    assert found.tolerance_of("descent").band("kt") == (12, 5)
    assert found.tolerance_of("descent").band("mach") == (None, None)
    assert found.speed[0].conditions[0].channel == "flap"
    jsonschema.validate(tomllib.loads(FILE), SCHEMA)


def test_generic_tolerances_are_named_and_none_is_invented_for_mach(read):
    generic = read().tolerance_of("climb")
    assert generic.band("kt") == (10, 10)
    assert generic.band("mach") == (None, None)
    assert "generic" in generic.source
    assert "no source" in generic.source
    turn = read().tolerance_of("steep_turn")
    # Published: private pilot, steep turns +-100 ft, +-10 kt.
    assert (turn.within_ft, turn.band("kt")) == (100, (10, 10))


@pytest.mark.parametrize(("old", "new", "said"), [
    ("airspeed_kt = 190\nmach = 0.42", "airspeed_kt = 190\nmach = 0.2",
     "s.toml, [climb], key mach: 190 kt and Mach 0.2 are the same speed at "),
    ("mach = 0.42", "mach = 42", "s.toml, [climb], key mach: mach = 42 is outside "),
    ("lower_below_ft = 10000\n", "", "s.toml, [climb]: lower_airspeed_kt and lower_below_ft go "
     "together; write both, or neither."),
    ("lower_below_ft = 10000", "lower_below_ft = 30000", "s.toml, [climb], key mach: 190 kt and "
     "Mach 0.42 are the same speed at 20,136 ft, not above lower_below_ft, 30,000 ft; check "
     "both."),
    ("[cruise]\nmach", "[cruise]\nairspeed_kt = 210\nmach", "s.toml, [cruise]: a level part is "
     "flown at one speed; write airspeed_kt or mach."),
    ("[cruise]\nmach = 0.45", "[cruise]\n", "s.toml, [cruise]: a level part is flown at one "
     "speed; write airspeed_kt or mach."),
    ("[descent]\nmach = 0.46\nairspeed_kt = 230\n", "[descent]\n", "s.toml, [descent]: no speed "
     "was briefed; write airspeed_kt, mach or both."),
    ("flap_deg", "flaps_deg", 's.toml, speed[1] "flaps 10", key when.flaps_deg: there is no '
     'channel "flaps"'),
    ("slower_kt = 12", "within_kt = 12", "s.toml, [tolerance], key descent.faster_kt: within_kt "
     "and faster_kt exclude each other; keep within_kt, or write faster_kt and slower_kt."),
    ("faster_kt = 5\nslower_kt = 12", "", "s.toml, [tolerance], key descent: the tolerance states "
     "nothing; write such as within_kt = 10."),
    ("least_within_pct = 80", "", 's.toml, grade[1] "as briefed": the rule asks for nothing; '
     "write such as least_within_pct = 80."),
    ("least_within_pct = 80", "least_within_pct = 180", 's.toml, grade[1] "as briefed", key '
     "least_within_pct: least_within_pct = 180 is outside 0 to 100; write what the school asks "
     "for."),
    ("airspeed_kt = 190", 'airspeed_kt = "190"', "s.toml, [climb], key airspeed_kt: "
     '"190" is text, not a number; write it such as airspeed_kt = 190.'),
    ("[climb]\nairspeed_kt", "[climb]\nairspeed", "s.toml, [climb], key airspeed: unknown key; "
     "write airspeed_kt if that is meant."),
    ("[[grade]]", "[grade]", "s.toml, [grade]: one [grade] isn't a list; write [[grade]] with "
     "double brackets."),
    ("[[grade]]", "[[grade]", "s.toml, line 25, column 8: not valid TOML"),
])
def test_mistakes(read, old, new, said):
    with pytest.raises(Problem) as raised:
        read(old, new)
    assert raised.value.sentence.startswith(said)


def test_nothing_briefed(tmp_path):
    (tmp_path / "s.toml").write_text('lesson = "empty"\n', encoding="utf-8")
    with pytest.raises(Problem, match=r"nothing was briefed; write at least one of \[climb\]"):
        read_schedule(tmp_path / "s.toml")


@pytest.mark.parametrize(("old", "new"), [
    ("lower_below_ft = 10000\n", ""), ("[cruise]\nmach = 0.45", "[cruise]\n"),
    ("slower_kt = 12", "within_kt = 12"), ("least_within_pct = 80", ""),
    ("least_within_pct = 80", "least_within_pct = 180"), ("faster_kt = 5\nslower_kt = 12", ""),
])
def test_the_schema_refuses_what_the_program_refuses(read, old, new):
    with pytest.raises(Problem):
        read(old, new)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(FILE.replace(old, new, 1)), SCHEMA)

"""Severity rules, ladder and warning thresholds as people write them, and their slips."""

import jsonschema
import pytest

from loganalyze import LimitsSheet, Problem, read_limits
from loganalyze.show.files.sheet_schemas import schema_of

HEAD = """\
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 238
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.51
"""
RULE = '[[severity]]\nname = "far over"\nlevel = "high"\n'


@pytest.fixture
def sheet(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def read(more: str) -> LimitsSheet:
        (tmp_path / "s.toml").write_text(HEAD + more, encoding="utf-8")
        return read_limits("s.toml")

    return read


def test_a_sheet_that_says_nothing_has_the_stated_defaults(sheet):
    read = sheet("")
    assert read.severity == ()
    assert read.ladder.kt == (0, 5, 10, 15, 20)
    assert read.ladder.mach == (0.01, 0.02, 0.03)
    # 14 CFR 25.1303(c)(1).
    assert (read.warning.threshold_kt, read.warning.threshold_mach) == (6, 0.01)
    assert read.warning.limits is None


def test_what_is_written_is_what_counts(sheet):
    read = sheet(RULE + 'limits = ["MMO"]\nexcess_kt = 20\nexcess_mach = 0.02\ntime_s = 5\n'
                 "integral_kt_s = 60\nexample = true\n"
                 "[ladder]\nkt = [0, 3]\nmach = []\n"
                 '[warning]\nlimits = ["VMO"]\nthreshold_kt = 4\ntolerance_kt = 0\n')
    (rule,) = read.severity
    assert (rule.level, rule.limits, rule.example) == ("high", ("MMO",), True)
    assert (rule.excess_kt, rule.excess_mach, rule.time_s, rule.integral_kt_s) == (20, 0.02, 5, 60)
    assert (read.ladder.kt, read.ladder.mach) == ((0, 3), ())
    assert (read.warning.limits, read.warning.threshold_kt, read.warning.tolerance_kt) == (
        ("VMO",), 4, 0)


@pytest.mark.parametrize(("more", "said"), [
    (RULE.replace("[[severity]]", "[severity]"), "[[severity]] with double brackets"),
    (RULE.replace("high", "grave"), '"low", "medium" or "high"'),
    (RULE + "excess_kt = -1\n", "outside 0 to 300"),
    (RULE + "excess_mach = 5\n", "outside 0 to 1"),
    (RULE + "time_s = -2\n", "outside 0 to 86400"),
    (RULE + 'limits = "VMO"\n', 'write ["VMO"]'),
    (RULE + "limits = []\n", "names no limit"),
    (RULE + 'limits = ["VMOO"]\n', 'write "VMO"'),
    (RULE + 'limits = ["VMO"]\nexcess_mach = 0.01\n', "none of its limits is a Mach number"),
    (RULE + RULE, "given to two rules"),
    (RULE + "excess = 4\n", "excess_kt"),
    ("[ladder]\nkt = [0, 5, 5]\n", "doesn't rise"),
    ("[ladder]\nmach = [-0.1]\n", "outside 0 to 1"),
    ("[warning]\nthreshold_kt = 400\n", "outside 0 to 300"),
    ('[warning]\nlimits = ["VNE"]\n', 'holds no limit "VNE"; write "VMO" or "MMO"'),
])
def test_each_slip_is_one_sentence_with_its_mend(sheet, more, said):
    with pytest.raises(Problem) as problem:
        sheet(more)
    sentence = problem.value.sentence
    assert said in sentence
    assert "s.toml" in sentence


def test_the_schema_says_the_same(sheet):
    document = sheet(RULE).model_dump(mode="json", exclude_none=True, exclude_unset=True)
    schema = schema_of(LimitsSheet)
    jsonschema.validate(document, schema)
    for slip in ({"level": "grave"}, {"excess_kt": -1}, {"limits": []}):
        document["severity"][0] |= slip
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(document, schema)
        document["severity"][0] = {"name": "far over", "level": "high"}

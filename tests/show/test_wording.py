import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import loganalyze
from loganalyze import Channel, FlightLog, Presentation, analyze, assess_flight, summarise
from loganalyze.text.language import (
    finding_text,
    number_format,
    reading_text,
    report_sentences,
    verdict_sentences,
)
from loganalyze.text.plain_values import plain, rounded


@pytest.mark.parametrize(("seconds", "said"), [
    (0, "0:00:00.0"), (59.96, "0:01:00.0"), (3661.25, "1:01:01.2"), (-0.01, "0:00:00.0"),
    (-61, "-0:01:01.0"), (None, "unknown"), (90061, "25:01:01.0"),
])
def test_clock(seconds, said):
    assert number_format.clock(seconds) == said


@pytest.mark.parametrize(("seconds", "said"), [
    (0, "0 s"), (0.0002, "less than 0.001 s"), (0.042, "0.042 s"),
    (0.25, "0.2 s"), (59.94, "59.9 s"), (59.96, "1 min 00 s"),
    (185, "3 min 05 s"), (3599.6, "1 h 00 min"), (6720, "1 h 52 min"),
])
def test_duration(seconds, said):
    assert number_format.duration(seconds) == said


@pytest.mark.parametrize(("value", "said"), [
    (0.48, ".480"), (1.05, "1.050"), (-0.003, "-.003"), (0.9999, "1.000"), (0, ".000"),
    (2e-7, "2e-07"), (None, "unknown"),
])
def test_mach(value, said):
    assert number_format.mach(value) == said


def test_no_excess_is_rounded_away():
    assert number_format.knots(0.0004) == "0.0004 kt"
    assert number_format.knots(4.25) == "4.2 kt"


def codes_of_the_judge() -> set[str]:
    """Every code that the judge's source gives to a Finding; "_..." is a code's ending."""
    codes = set()
    for path in sorted(Path(loganalyze.__path__[0]).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding"
                    and "read" not in path.parts):
                codes |= {part.value for part in ast.walk(node.args[0])
                          if isinstance(part, ast.Constant)}
    return codes


def test_every_finding_has_its_sentence_and_no_sentence_lacks_its_finding():
    codes = codes_of_the_judge()
    endings = tuple(code for code in codes if code.startswith("_"))
    said = set(finding_text.FINDINGS)
    assert {code for code in codes if code not in endings} <= said
    assert all(any(code.endswith(ending) for code in said) for ending in endings)
    assert all(code in codes or code.endswith(endings) for code in said)


def test_every_code_of_the_readers_has_its_sentence_and_no_sentence_lacks_its_code():
    found, constants = set(), set()
    for path in sorted((Path(loganalyze.__path__[0]) / "read").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                constants.add(node.value)
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                found |= {part.value for part in ast.walk(node.args[0])
                          if isinstance(part, ast.Constant)}
    assert len(found) > 40
    assert found <= reading_text.READING.keys() <= constants
    assert reading_text.ROW_FAULTS.keys() <= constants


@pytest.mark.parametrize("code", sorted(finding_text.FINDINGS))
def test_every_sentence_is_one(code):
    values = {"column": "IAS", "outside_samples": 3, "recovery_factor": 0.8, "limit": "VFE 20",
              "channels": ["flap"], "lost_s": 12.0, "first_s": 3.0, "last_s": 15.0,
              "columns": ["PT", "PS"], "transit_s": 10.0, "recorded": "lever",
              "channel": "gear_down", "samples": 2, "over_s": 900.0, "reading": 1.2, "unit": "deg",
              "low": 1.0}
    said = finding_text.finding(code, values)
    assert said[0].isupper()
    assert said.endswith(".")
    assert "{" not in said


def test_indicated_taken_as_calibrated_is_said_in_these_words():
    assert finding_text.finding("indicated_taken_as_calibrated", {}) == (
        "Indicated airspeed taken as calibrated: no correction table given.")


def test_the_cautions_say_what_they_must():
    said = " ".join(verdict_sentences.CAUTIONS)
    for words in ("Not for use in flight", "release of an aircraft to service", "flight manual",
                  "maintenance manual", "operator", "authority prevail", "not proof",
                  "no clearance", "punitive"):
        assert words in said


def test_a_verdict_says_what_happened_and_what_could_not_be_judged(analysis):
    lines = summarise([analysis]).flights[0].verdict.split("\n")
    assert lines[0] == ("VMO was exceeded in the 2 min 50 s that could be judged. Worst: 250.0 kt "
                        "CAS, 5.0 kt over VMO, at 5,000 ft, 0:00:50.0.")
    assert lines[1] == (
        "VMO was exceeded from 0:00:49.8 to 0:00:59.2: 9.5 s from start to end, 9.5 s over. Worst "
        "at 0:00:50.0: 250.0 kt CAS, 5.0 kt over the limit of 245.0 kt CAS, at 5,000 ft.")
    assert lines[2] == "29.5 s of 3 min 20 s could not be judged (2 stretches)."


def test_a_clean_flight_is_told_how_close_it_came(judged):
    lines = summarise([judged(np.append(np.full(60, 200.0), 235.0))]).flights[0].verdict.split("\n")
    assert lines == ["No limit was exceeded in the 1 min 01 s that could be judged. The smallest "
                     "margin was 10.0 kt, at 0:01:00.0 and 5,000 ft."]


def test_nothing_judged_is_not_called_clean(judged):
    said = summarise([judged([np.nan] * 30)]).flights[0].verdict
    assert said == "Nothing of the 30.0 s recorded could be judged."


def with_dead_flap(analysis):
    """The same flight with a flap channel that recorded nothing."""
    log = analysis.log
    flap = Channel(np.full(len(log), np.nan), interval_s=1.0, column="FLAP")
    return assess_flight(analyze(
        FlightLog(log.time, {**log.channels, "flap": flap}, log.source, log.utc_start, 1.0),
        analysis.sheet))


def test_a_dead_flap_channel_takes_no_other_limits_verdict_away(analysis, judged):
    how = Presentation()
    over = summarise([with_dead_flap(analysis)]).flights[0]
    assert over.judged_s == 0
    assert over.verdict.startswith(
        "VMO was exceeded in the cruise, though at no time could every limit be judged. Worst: "
        "250.0 kt CAS, 5.0 kt over VMO, at 5,000 ft, 0:00:50.0. As displayed ")
    assert report_sentences.verdict(over, (), 0, how).startswith(
        "VMO was exceeded, though at no time could every limit be judged. Worst: 250.0 kt "
        "CAS, 5.0 kt over VMO")
    # 200 s less the gap of 19.5 s and the 10 s without airspeed.
    assert report_sentences.unjudged(over) == (
        "3 min 20 s of 3 min 20 s could not be judged (1 stretch), as at least one limit was "
        "unknown; VMO and MMO could be judged for up to 2 min 50 s.")
    clean = summarise([with_dead_flap(judged(np.full(60, 200.0)))]).flights[0]
    assert clean.verdict.startswith(
        "No limit was exceeded, though at no time could every limit be judged.")
    assert report_sentences.verdict(clean, (), 0, how).startswith(
        "No limit was exceeded, though at no time could every limit be judged.")


@pytest.mark.parametrize(("kt", "said"), [
    (250.0, "VMO was exceeded. Worst: 250.0 kt CAS, 5.0 kt over VMO, at 5,000 ft, 0:00:00.0.\n"),
    (200.0, "No limit was exceeded in the one sample recorded. The smallest margin was 45.0 kt")])
def test_a_log_of_one_sample(judged, kt, said):
    made = judged([kt])
    log = FlightLog(made.time, made.log.channels, made.log.source, interval_s=np.nan)
    assert summarise([analyze(log, made.sheet)]).flights[0].verdict.startswith(said)


def test_an_unknown_altitude_is_called_one(analysis):
    facts = summarise([analysis]).flights[0]
    one = replace(facts.exceedances[0], worst_pressure_altitude_ft=None)
    said = report_sentences.verdict(replace(facts, exceedances=[one]), (), 0, Presentation())
    assert said.endswith("at an unknown altitude, 0:00:50.0.")
    assert "at an unknown altitude." in report_sentences.exceedance(one, Presentation())


def test_brief_and_odd_ends_are_said(analysis):
    one = summarise([analysis]).flights[0].exceedances[0]
    said = report_sentences.exceedance(
        replace(one, began_by="gap", ended_by="limit lifted", brief=True), Presentation())
    assert said.endswith(
        "The recording has a gap before it: it may have begun earlier. It ended when the limit "
        "ceased to apply. It was brief: less time over than the minimum duration.")


def test_only_the_worst_are_listed(judged):
    cas = 230.0 + 0.2 * np.sin(np.arange(2000.0))  # no sensor stands still
    for i in range(20):
        cas[50 + 90 * i : 60 + 90 * i] = 246.0 + i - np.arange(10) / 50
    lines = summarise([judged(cas)]).flights[0].verdict.split("\n")
    assert len(lines) == 2 + verdict_sentences.LISTED
    assert lines[-1] == "The other 10 are smaller."
    assert "256.0 kt CAS" in lines[1]


def test_plain_values():
    assert plain({"a": np.float64("nan"), "b": np.array([1, 2]), 3: Path("x/y.csv")}) == {
        "a": None, "b": [1, 2], "3": "y.csv"}
    assert plain(np.datetime64("2031-01-01T00:00", "ns")) == "2031-01-01T00:00:00.000Z"
    assert rounded(float("inf")) is None
    assert rounded(0.1 + 0.2) == 0.3
    with pytest.raises(TypeError):
        plain(object())

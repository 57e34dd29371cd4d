"""What the verdict and the summary say of a recording's quality."""

from __future__ import annotations

import json

import numpy as np
import pytest

from loganalyze import Presentation, SuspectFacts, summarise
from loganalyze.events import suspects
from loganalyze.show.terminal.terminal_lines import log_lines
from loganalyze.text.language import quality_text, report_sentences
from loganalyze.text.plain_values import plain


def test_every_doubt_has_its_words():
    assert set(quality_text.DOUBTS) == {*suspects.DOUBTS, suspects.CONFIGURATION}


def suspect(**changes):
    return SuspectFacts(**{
        "limit": "VMO", "quantity": "calibrated_airspeed", "start_s": 61.0, "end_s": 61.0,
        "time_s": 61.0, "excess": 20.04, "reason": "spike", "unconfirmed_by": [], **changes})


@pytest.mark.parametrize(("changes", "said"), [
    ({}, "Not counted: over VMO at 0:01:01.0 by 20.0 kt: one sample, faster out and back than "
         "plausible, and nothing recorded could bear it out."),
    ({"unconfirmed_by": ["mach", "calibrated_airspeed_2", "load_factor"]},
     "Not counted: over VMO at 0:01:01.0 by 20.0 kt: one sample, faster out and back than "
     "plausible, not confirmed by Mach number, calibrated airspeed or normal load factor."),
    ({"reason": "frozen", "end_s": 90.0, "quantity": "mach", "limit": "MMO", "excess": 0.012,
      "unconfirmed_by": ["mach"]},
     "Not counted: over MMO from 0:01:01.0 to 0:01:30.0 by Mach .012: the airspeed was frozen "
     "while others moved, not confirmed by Mach number."),
])
def test_a_suspect_in_one_sentence(changes, said):
    assert quality_text.suspect(suspect(**changes)) == said


def test_the_worst_suspects_are_listed_and_the_rest_counted():
    lines = quality_text.suspects([suspect(excess=float(i)) for i in range(8)])
    assert len(lines) == 6
    assert lines[-1] == "3 more stretches in doubt are not counted."
    assert "by 3.0 kt" in lines[0]


def test_shares_and_bounds():
    assert quality_text.screened(100.0, {}) == []
    assert quality_text.screened(200.0, {"": 3.0, "airspeed missing": 2.0, "airspeed stale": 1.0,
                                    "temperature missing": 200.0}) == [
        "3.0 s of the 3 min 20 s airborne (1.5 %) screened out: airspeed missing 2.0 s; airspeed "
        "stale 1.0 s."]
    assert quality_text.bounded(0.0, 0) == []
    assert quality_text.bounded(12.0, 1)[0].startswith("Of this, 12.0 s (1 gap) can't hide an")


def test_verdict_and_summary_of_a_recording_with_doubts(judged):
    cas = 200.0 + 0.2 * np.sin(np.arange(60.0))
    cas[20] = 270.0
    cas[40:42] = np.nan
    facts = summarise([judged(cas)]).flights[0]
    lines = facts.verdict.split("\n")
    assert facts.outcome == "not determined"
    assert lines[0] == (
        "Whether a limit was exceeded is not determined: one stretch is over VMO by up to 25.0 kt, "
        "and its samples are in doubt. Nothing else was over a limit in the 57.0 s that could be "
        "judged. The smallest margin was 44.8 kt, at 0:00:33.0 and 5,000 ft.")
    (doubted,) = [line for line in lines if line.startswith("Not counted")]
    assert "at 0:00:20.0" in doubted
    assert any("screened out: airspeed missing 2.0 s; airspeed spike" in line for line in lines)
    assert facts.quality.airborne_s == 60.0
    assert facts.quality.screened_s[""] == 3.0
    assert [one.reason for one in facts.quality.suspects] == ["spike"]
    raised = {one.name for one in facts.quality.flags if one.raised_s}
    assert {"missing", "faster than plausible"} <= raised
    assert json.loads(json.dumps(plain(facts.quality), allow_nan=False))


MANY = [suspect(), suspect(excess=7.0), suspect(limit="MMO", quantity="mach", excess=0.012)]


def test_stretches_in_doubt_are_no_clean_flight():
    assert quality_text.not_determined(MANY) == (
        "Whether a limit was exceeded is not determined: 3 stretches are over VMO by up to 20.0 kt "
        "and MMO by up to Mach .012, and their samples are in doubt.")
    assert quality_text.also_in_doubt(MANY, ["VMO", "MMO"]) == ""
    assert quality_text.also_in_doubt(MANY, ["VMO"]) == (
        "Whether MMO was exceeded is not determined: one stretch is over MMO by up to Mach .012, "
        "and its samples are in doubt.")


def test_every_place_says_that_nothing_is_determined(judged):
    cas = 200.0 + 0.2 * np.sin(np.arange(60.0))
    cas[20] = 270.0
    analysis = judged(cas)
    facts, how = summarise([analysis]).flights[0], Presentation()
    said = "Whether a limit was exceeded is not determined: one stretch is over VMO by up to 25.0"
    assert facts.verdict.startswith(said)
    assert report_sentences.verdict(facts, (), 0, how).startswith(said)
    assert "No limit was exceeded" not in report_sentences.verdict(facts, (), 0, how)
    summary = summarise([analysis])
    assert (summary.exceeded, summary.undetermined) == (False, True)
    assert json.loads(summary.json())["flights"][0]["outcome"] == "not determined"
    for level in ("quiet", "normal", "verbose"):
        lines = [one.text for one in log_lines("a.csv", "b.toml", summary, how, level)]
        short = "a.csv: not determined: VMO by up to 25.0 kt, in doubt"
        assert any((short if level == "quiet" else said) in line for line in lines)
        assert not any("No limit was exceeded" in line for line in lines)


def test_the_outcome_of_a_flight(judged):
    clean, over = 200.0 + 0.2 * np.sin(np.arange(60.0)), np.linspace(200, 260, 60)
    assert judged(clean).outcome == "not exceeded"
    assert judged(over).outcome == "exceeded"
    assert judged(np.full(30, np.nan)).outcome == "not judged"
    both = over.copy()
    both[20] = 300.0
    analysis = judged(both)
    assert (analysis.outcome, bool(analysis.suspects)) == ("exceeded", True)
    assert not summarise([analysis]).undetermined


def test_a_clean_recording_is_described_in_one_line(judged):
    facts = summarise([judged(200.0 + 0.2 * np.sin(np.arange(60.0)))]).flights[0]
    assert len(facts.verdict.split("\n")) == 1
    assert (facts.quality.bounded_s, facts.quality.suspects, facts.quality.screened_s) == (
        0.0, [], {})

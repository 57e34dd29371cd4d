"""A case is found again after its log was judged anew: by the time that it shares."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loganalyze.review.cases.case_matching import Span, match_cases, own_key
from loganalyze.review.cases.verdict_changes import VERDICT_COLUMNS, verdict_changes, verdict_of


def span(key: str, start: float, end: float, limit: str = "VMO", log: str = "a" * 64) -> Span:
    return Span(key, log, limit, start, end)


def test_the_pair_that_shares_most_is_matched_first():
    found = match_cases([span("case", 10, 40)], [span("x", 5, 15), span("y", 20, 60)])
    assert (found.keys, found.split, found.merged) == ({"y": "case"}, {"x": "case"}, {})


def test_two_cases_in_one_exceedance_leave_one_merged():
    found = match_cases([span("p", 10, 20), span("q", 30, 60)], [span("x", 5, 70)])
    assert (found.keys, found.split, found.merged) == ({"x": "q"}, {}, {"p": "q"})


@pytest.mark.parametrize("other", [
    span("x", 40, 50), span("x", 10, 40, limit="MMO"), span("x", 10, 40, log="b" * 64)])
def test_what_shares_no_time_limit_or_log_is_another_case(other):
    found = match_cases([span("case", 10, 40)], [other])
    assert (found.keys, found.split, found.merged) == ({}, {}, {})


def test_an_exceedance_of_a_single_sample_is_found_again():
    found = match_cases([span("same", 10, 10)], [span("same", 10, 10)])
    assert found.keys == {"same": "same"}


starts = st.lists(st.tuples(st.integers(0, 100), st.integers(1, 40)), max_size=6, unique=True)


@given(starts, starts)
@settings(max_examples=150, deadline=None)
def test_no_case_is_continued_twice_and_none_is_forgotten(known, current):
    cases = [span(f"k{i}", start, start + length) for i, (start, length) in enumerate(known)]
    now = [span(f"n{i}", start, start + length) for i, (start, length) in enumerate(current)]
    found = match_cases(cases, now)
    assert len(set(found.keys.values())) == len(found.keys)
    for case in cases:
        touching = [one for one in now if one.start_s < case.end_s and case.start_s < one.end_s]
        continued = case.key in found.keys.values()
        assert continued or (case.key in found.merged) == bool(touching)
    for one in now:
        touching = [case for case in cases if one.start_s < case.end_s and case.start_s < one.end_s]
        assert (one.key in found.keys or one.key in found.split) == bool(touching)


def test_a_key_depends_on_bytes_limit_and_start():
    keys = {own_key("a" * 64, "VMO", 1.0), own_key("b" * 64, "VMO", 1.0),
            own_key("a" * 64, "MMO", 1.0), own_key("a" * 64, "VMO", 1.001)}
    assert len(keys) == 4
    assert own_key("a" * 64, "VMO", 1.0004) == own_key("a" * 64, "VMO", 1.0)


def test_changes_count_from_what_is_printed_on():
    before = {**dict.fromkeys(VERDICT_COLUMNS), "judgement_key": "1", "present": True,
              "worst_excess_kt": 6.0, "duration_s": 10.0, "severity": "low",
              "assessment": "proven over"}
    close = {**before, "judgement_key": "2", "worst_excess_kt": 6.04, "duration_s": 10.02}
    assert verdict_changes(before, close) == ()
    moved = {**close, "worst_excess_kt": 4.0, "severity": None}
    assert [(one.name, one.before, one.now) for one in verdict_changes(before, moved)] == [
        ("worst_excess_kt", 6.0, 4.0), ("severity", "low", None)]
    assert verdict_changes(before, {**moved, "judgement_key": "1"}) == ()
    gone = {**before, "judgement_key": "2", "present": False}
    assert [(one.name, one.before, one.now) for one in verdict_changes(before, gone)] == [
        ("present", "yes", "no")]
    assert verdict_of({**before, "probability": float("nan")})["probability"] is None

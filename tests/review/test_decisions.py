"""Decisions, notes and follow-ups: kept, never overwritten unseen, each with its entry."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest
import sqlalchemy as sa

from loganalyze.review.decisions.case_decisions import (
    NotThere,
    Outdated,
    add_note,
    case_record,
    change_follow_up,
    changed_cases,
    decide,
    follow_ups,
    open_follow_up,
    standings,
)
from loganalyze.review.decisions.people import (
    Taken,
    add_person,
    change_person,
    drop_filter,
    find_person,
    keep_filter,
    kept_filters,
)
from loganalyze.review.decisions.trail_entries import Actor, head_of, trail_entries
from tests.review.conftest import ANNE, BO, VERDICT, case_span

SPAN = case_span()


def decided(database, actor=ANNE, seen=0, decision="valid", reason="steady", span=SPAN):
    with database.writing(actor) as change:
        return decide(change, span, VERDICT, decision=decision, reason=reason, seen_version=seen)


def read(database, function, *arguments, **options):
    with database.reading() as connection:
        return function(connection, *arguments, **options)


def test_a_decision_is_kept_with_who_when_and_the_verdict_it_was_made_on(database):
    decided(database)
    record = read(database, case_record, SPAN.key)
    assert (record.version, record.decision, record.reason, record.decided_by) == (
        1, "valid", "steady", "anne")
    assert record.decided_at.endswith("Z")
    assert record.verdict == VERDICT


def test_the_second_of_two_sees_what_the_first_decided_and_loses_nothing(database):
    decided(database)
    with pytest.raises(Outdated) as refused:
        decided(database, BO, seen=0, decision="false", reason="probe was iced")
    assert (refused.value.current.decision, refused.value.current.decided_by) == ("valid", "anne")
    record = decided(database, BO, seen=refused.value.current.version, decision="false",
                     reason="probe was iced")
    assert record.decision == "false"
    first, second = reversed(read(database, trail_entries, case_key=SPAN.key))
    assert (first.actor, second.actor) == ("anne", "bo")
    assert second.before == first.after
    assert second.before["decision"] == "valid"


def test_a_note_of_another_stops_a_decision_that_was_made_without_it(database):
    decided(database)
    with database.writing(BO) as change:
        record = add_note(change, SPAN, VERDICT, "the crew reported it")
    assert [(note.author, note.note) for note in record.notes] == [("bo", "the crew reported it")]
    with pytest.raises(Outdated) as refused:
        decided(database, seen=1, decision="nuisance")
    assert refused.value.current.notes == record.notes


def test_what_fails_half_way_leaves_nothing(database):
    head = read(database, head_of)

    def stopped() -> None:
        with database.writing(ANNE) as change:
            decide(change, SPAN, VERDICT, decision="valid", reason="x", seen_version=0)
            raise InterruptedError

    with pytest.raises(InterruptedError):
        stopped()
    assert read(database, head_of) == head
    assert read(database, case_record, SPAN.key).version == 0


@pytest.mark.parametrize("decision", ["valid", "nuisance", "false", None])
def test_a_decision_is_one_of_three_or_withdrawn(database, decision):
    decided(database)
    assert decided(database, seen=1, decision=decision, reason="again").decision == decision


def test_no_other_word_is_a_decision(database):
    with pytest.raises(sa.exc.IntegrityError):
        decided(database, decision="maybe")


def test_a_follow_up_has_an_owner_a_due_date_and_an_outcome(database):
    with database.writing(ANNE) as change:
        record = open_follow_up(change, SPAN, VERDICT, kind="inspection requested", owner="kim",
                                due=date(2031, 7, 1), task="look at the static ports")
    (opened,) = record.follow_ups
    (stand,) = read(database, standings)
    assert (stand.open_follow_ups, stand.next_due, stand.owners) == (1, date(2031, 7, 1), ("kim",))
    assert "static ports" in stand.words
    with pytest.raises(Outdated), database.writing(BO) as change:
        change_follow_up(change, opened.follow_up_id, seen_version=0, owner="kim",
                         due=date(2031, 7, 1), done=True, outcome="nothing found")
    with database.writing(BO) as change:
        record = change_follow_up(change, opened.follow_up_id, seen_version=1, owner="lee",
                                  due=date(2031, 8, 1), done=True, outcome="nothing found")
    (done,) = record.follow_ups
    assert (done.state, done.owner, done.closed_by, done.outcome) == (
        "done", "lee", "bo", "nothing found")
    assert read(database, follow_ups) == []
    assert read(database, follow_ups, only_open=False, owner="lee") == [done]
    assert read(database, standings)[0].open_follow_ups == 0
    with pytest.raises(NotThere), database.writing(BO) as change:
        change_follow_up(change, "none", seen_version=1, owner="lee", due=date(2031, 8, 1),
                         done=True, outcome="")


def test_what_changed_since_is_known_by_the_trail(database):
    decided(database)
    seq = read(database, head_of).seq
    decided(database, span=case_span(7))
    assert read(database, changed_cases, 0) == {SPAN.key, case_span(7).key}
    assert read(database, changed_cases, seq) == {case_span(7).key}
    (stand,) = read(database, standings, [case_span(7).key])
    assert stand.case_key == case_span(7).key


def test_many_at_once_keep_every_note_and_one_chain(database):
    def note(number: int) -> None:
        with database.writing(Actor(f"reviewer {number % 4}", "reviewer")) as change:
            add_note(change, SPAN, VERDICT, f"note {number}")

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(note, range(40)))
    record = read(database, case_record, SPAN.key)
    assert record.version == 40
    assert {one.note for one in record.notes} == {f"note {number}" for number in range(40)}
    entries = read(database, trail_entries, most=1000)
    assert [one.seq for one in entries] == list(range(len(entries), 0, -1))


def test_of_many_who_decide_on_what_they_saw_first_one_is_kept(database):
    def attempt(number: int) -> bool:
        try:
            decided(database, Actor(f"reviewer {number}", "reviewer"), reason=f"by {number}")
        except Outdated:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        kept = [number for number, done in enumerate(pool.map(attempt, range(16))) if done]
    assert len(kept) == 1
    assert read(database, case_record, SPAN.key).reason == f"by {kept[0]}"


def test_filters_are_kept_for_who_keeps_them(database):
    with database.writing(ANNE) as change:
        keep_filter(change, "mine", "status=open")
        kept = keep_filter(change, "mine", "status=moved")
    assert read(database, kept_filters, "anne") == [kept]
    assert read(database, kept_filters, "bo") == []
    with pytest.raises(NotThere), database.writing(BO) as change:
        drop_filter(change, kept.filter_id)
    with database.writing(ANNE) as change:
        drop_filter(change, kept.filter_id)
    assert read(database, kept_filters, "anne") == []


def test_people_are_added_once_and_changed_with_a_trace(database):
    with database.writing(BO) as change:
        add_person(change, "kim", "reviewer", password_hash="$argon2id$secret")
    with pytest.raises(Taken), database.writing(BO) as change:
        add_person(change, "kim", "administrator")
    with database.writing(BO) as change:
        change_person(change, "kim", active=0)
    assert not read(database, find_person, "kim").active
    entries = read(database, trail_entries, kind="person")
    assert [one.action for one in entries] == ["person changed", "person added"]
    assert "argon2" not in repr(entries)

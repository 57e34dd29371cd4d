"""Every exceedance of a store as a case: the list, one case, and judging again."""

from __future__ import annotations

import dataclasses
import re
from urllib.parse import parse_qs

import pytest
from pydantic import ValidationError

import loganalyze
from loganalyze.problems import Problem
from loganalyze.review.cases import case_index
from loganalyze.review.cases.case_filter import ORDERED, CaseFilter
from loganalyze.review.cases.case_index import CaseIndex
from loganalyze.review.cases.case_matching import own_key
from tests.fleet.conftest import write_log, write_sheet
from tests.review.conftest import TODAY, judge, pseudonym, standing

SECRETS = ("DEMO-1", "DEMO-2", "twin", "north", "south", "2031-01-06", "2031-02-07", "2031-02-20")


def keys(index: CaseIndex, **fields) -> list[str]:
    return [one.case_key for one in index.page(CaseFilter(**fields), TODAY).cases]


def month(index: CaseIndex, wanted: str) -> str:
    return keys(index, since=wanted, until=wanted, page_size=1)[0]


@pytest.fixture
def looked(monkeypatch):
    monkeypatch.setattr(case_index, "LOOK_EVERY_S", -1.0)


def test_each_exceedance_is_a_case_under_the_key_of_bytes_limit_and_start(index, store):
    with loganalyze.connect_store(store) as db:
        expected = {own_key(*row) for row in db.execute(
            'select log_sha256, "limit", start_s from exceedances join flights using (flight_key)'
        ).fetchall()}
    assert len(expected) == 3
    assert set(keys(index)) == expected


def test_what_needs_a_look_comes_first(index):
    first = index.page(CaseFilter(), TODAY).cases[0]
    assert first.excess_kt == pytest.approx(17, abs=0.5)
    index.take([standing(index, first.case_key)])
    page = index.page(CaseFilter(), TODAY)
    assert [one.status for one in page.cases] == ["open", "open", "decided"]
    assert page.cases[-1].case_key == first.case_key
    assert index.counts() == {"open": 2, "decided": 1}


def test_filters_add_up_and_alternatives_in_one_field_dont(index):
    everything = keys(index)
    decided = everything[0]
    index.take([standing(index, decided, decision="nuisance", open_follow_ups=1,
                         next_due=TODAY.replace(day=1, month=5), owners=("kim",),
                         words="Gust off the ridge")])
    assert keys(index, status=("decided",)) == [decided]
    assert keys(index, status=("decided", "open")) == [*everything[1:], decided]
    assert keys(index, decision=("valid",)) == []
    assert keys(index, follow_up=("overdue",)) == [decided]
    assert keys(index, follow_up=("none",)) == everything[1:]
    assert keys(index, owner="kim") == [decided]
    assert keys(index, text="RIDGE gust") == [decided]
    assert keys(index, text="ridge open") == []
    assert len(keys(index, since="2031-02")) == 2
    assert len(keys(index, until="2031-01")) == 1
    assert keys(index, limit=("MMO",)) == []
    assert len(keys(index, limit=("VMO",), since="2031-02", until="2031-02")) == 2
    aircraft = index.page(CaseFilter(), TODAY).cases[0].aircraft
    assert 0 < len(keys(index, aircraft=(aircraft,))) < 3


def test_pages_hold_every_case_once(index):
    paged = [key for number in (1, 2, 3, 4)
             for key in keys(index, page=number, page_size=1, sort="excess")]
    assert len(paged) == 3
    assert paged == keys(index, sort="excess")
    assert list(reversed(paged)) == keys(index, sort="excess", descending=True)
    assert index.page(CaseFilter(page_size=2), TODAY).pages == 2


@pytest.mark.parametrize("sort", CaseFilter.model_fields["sort"].annotation.__args__)
def test_every_sort_is_answered_both_ways(index, sort):
    assert sorted(keys(index, sort=sort)) == sorted(keys(index, sort=sort, descending=True))


def test_a_filter_is_an_address_and_back():
    wanted = CaseFilter(status=("open", "moved"), limit=("VMO & more",), text="a=b", page=3,
                        descending=True)
    assert CaseFilter.from_query(parse_qs(wanted.query())) == wanted
    assert parse_qs(wanted.query(page=1)).get("page") is None
    assert CaseFilter.from_query({"text": [" "]}) == CaseFilter()


@pytest.mark.parametrize("query", [
    {"status": ["won"]}, {"page": ["0"]}, {"page_size": ["100000"]}, {"sort": ["limit; drop"]},
    {"since": ["2031-13"]}, {"nonsense": ["1"]}, {"text": ["x" * 201]}])
def test_a_filter_that_cant_be_is_refused(query):
    with pytest.raises(ValidationError):
        CaseFilter.from_query(query)


@pytest.mark.parametrize("text", ["'; drop table cases --", "%", "\\", "\x00", "'"])
def test_text_is_looked_for_as_it_stands(index, text):
    assert keys(index, text=text) == []
    assert keys(index, limit=(text,)) == []
    assert len(keys(index)) == 3


def test_nothing_a_reviewer_sees_tells_whose_flight_it_was(index):
    """Neither fields nor the search: a guess is not confirmed by it."""
    for one in index.page(CaseFilter(), TODAY).cases:
        material = index.material(one.case_key)
        seen = repr((one, material, index.samples(one.case_key),
                     index.of_same_aircraft(one.case_key), index.similar(one.case_key),
                     index.choices()))
        identity = index.identity(one.case_key)
        assert identity.registration in SECRETS
        assert identity.log in identity.source
        for secret in (*SECRETS, identity.log_sha256, identity.start_utc, identity.log):
            assert secret not in seen
    for secret in ("DEMO-1", "2031-02-07", "north", "csv"):
        assert keys(index, text=secret) == []


def test_a_case_holds_its_causes_flight_and_samples(index):
    key = keys(index)[0]
    material = index.material(key)
    assert {row["stretch"] for row in material.causes} == {"to the limit", "to the worst"}
    assert material.flight["outcome"] == "exceeded"
    assert material.changes == ()
    samples = index.samples(key)
    assert len(samples["time_s"]) == len(samples["calibrated_airspeed_kt"]) == 60
    assert max(samples["calibrated_airspeed_kt"]) == pytest.approx(262)
    assert index.material("0" * 20) is None
    assert index.samples("0" * 20) == {}


def test_others_of_the_aircraft_and_similar_ones(index):
    first, second = (month(index, one) for one in ("2031-01", "2031-02"))
    assert second in [one.case_key for one in index.of_same_aircraft(first)]
    assert first not in [one.case_key for one in index.similar(first)]
    # 251 kt is more like 249 than like 262.
    assert index.similar(first)[0].excess_kt == pytest.approx(4, abs=0.5)


def test_a_decision_stays_with_its_case_when_the_limit_moves(index, store, logs, sheet, looked):
    """A higher limit starts later: another key by itself, the same case by the time it shares."""
    key = month(index, "2031-01")
    index.take([standing(index, key, words="kept")])
    write_sheet(sheet, vmo=247)
    judge(logs, store)
    assert index.look_again()
    material = index.material(key)
    assert material.listed.status == "moved"
    changed = {one.name: (one.before, one.now) for one in material.changes}
    assert changed["worst_excess_kt"] == pytest.approx((6, 4), abs=0.2)
    assert changed["limit_value"] == (245, 247)
    assert "start_s" in changed
    assert keys(index, status=("moved",), text="kept") == [key]
    assert not index.look_again()


def test_a_decision_says_so_when_its_exceedance_is_gone(index, store, logs, sheet, looked):
    key = month(index, "2031-01")
    index.take([standing(index, key)])
    write_sheet(sheet, vmo=255)
    judge(logs, store)
    assert index.look_again()
    page = index.page(CaseFilter(status=("gone",)), TODAY)
    assert [(one.case_key, one.month, one.limit) for one in page.cases] == [
        (key, "2031-01", "VMO")]
    assert page.cases[0].excess_kt == pytest.approx(6, abs=0.2)
    assert [one.name for one in index.material(key).changes] == ["present"]
    _, verdict = index.verdict(key)
    index.take([dataclasses.replace(standing(index, key), verdict=verdict, version=2)])
    assert keys(index, status=("gone",)) == []
    write_sheet(sheet, vmo=245)
    judge(logs, store)
    assert index.look_again()
    assert index.material(key).listed.status == "moved"


def test_judged_again_with_the_same_verdict_nothing_moved(index, store, logs, sheet, looked):
    key = month(index, "2031-01")
    index.take([standing(index, key)])
    sheet.write_text(sheet.read_text() + "# another comment\n")
    judge(logs, store)
    assert index.look_again()
    assert index.material(key).listed.status == "decided"


def test_an_old_address_leads_to_the_case_of_today(index, store, logs, sheet, looked):
    key = month(index, "2031-01")
    write_sheet(sheet, vmo=247)
    judge(logs, store)
    index.look_again()
    assert index.material(key) is None
    assert index.resolve(key) == month(index, "2031-01") != key
    assert index.resolve("f" * 20) is None


def test_new_flights_appear_while_the_desk_is_open(index, store, logs, sheet, looked):
    write_log(logs / "south" / "DEMO-2" / "new.csv", 255, day="2031-04-01")
    judge(logs, store)
    assert len(keys(index)) == 3
    assert index.look_again()
    assert len(keys(index)) == 4


def test_a_folder_without_a_store_is_refused(tmp_path):
    with pytest.raises(Problem, match=r"store\.json"):
        CaseIndex(tmp_path, pseudonym)


def test_a_list_of_many_pages_is_gone_through_by_number(office):
    anne = office.person("anne", "reviewer")
    page = anne.get("/?page_size=1&limit=VMO&page=2").text
    form = re.search(r'<nav class="pages".*?</nav>', page, re.DOTALL)[0]
    assert '<input type="number" name="page" min="1" max="3" value="2" required>' in form
    given = dict(re.findall(r'<input type="hidden" name="(\w+)" value="(\w+)">', form))
    assert given == {"page_size": "1", "limit": "VMO"}
    assert '"/?limit=VMO&amp;page_size=1"' in form
    assert '"/?limit=VMO&amp;page=3&amp;page_size=1"' in form
    assert '<nav class="pages"' not in anne.get("/").text


def test_choices_stand_in_their_own_order(index):
    index.take([standing(index, keys(index)[0])])
    found = {name: [word for word, _ in counted] for name, counted in index.choices().items()}
    for name, order in ORDERED.items():
        assert found[name] == [word for word in order if word in found[name]], name
    assert found["status"] == ["open", "decided"]


def test_an_altitude_that_hardly_moves_is_drawn_level(office):
    page = office.person("anne", "reviewer").get(f"/cases/{office.key}").text
    found = re.findall(r'<text class="tick"[^>]*>([^<]*)</text>', page)
    assert found[-3:] == ["4,900", "5,000", "5,100"]


def test_a_case_is_listed_alike_on_its_own_beside_another_and_in_the_list(index):
    first, second, *_ = keys(index)
    index.take([standing(index, first, decision=None, open_follow_ups=2, owners=("kim", "bo"),
                         next_due=TODAY)])
    listed = {case.case_key: case for case in index.page(CaseFilter(), TODAY).cases}
    for key, case in listed.items():
        assert index.material(key).listed == case
    near = [*index.of_same_aircraft(second), *index.similar(second)]
    assert first in [case.case_key for case in near]
    assert all(case == listed[case.case_key] for case in near)


def test_nothing_that_was_read_before_is_shown_after_a_change(index, store, logs, sheet, looked):
    key = month(index, "2031-02")

    def read():
        return (index.page(CaseFilter(), TODAY),
                index.keys(CaseFilter(status=("open",)), TODAY, 0, 9),
                index.counts(), index.choices(), index.material(key), index.similar(key),
                index.of_same_aircraft(key))

    before = read()
    assert read() == before
    for changes in ({"decision": "valid"}, {"decision": None, "open_follow_ups": 1}):
        index.take([standing(index, key, **changes)])
        after = read()
        assert after[0] != before[0]
        assert after[4] != before[4]
        before = after
    write_log(logs / "north/DEMO-1" / "later.csv", 258, day="2031-03-09")
    write_sheet(sheet, vmo=244)
    judge(logs, store)
    assert index.look_again()
    after = read()
    assert all(new != old for new, old in zip(after, before, strict=True))

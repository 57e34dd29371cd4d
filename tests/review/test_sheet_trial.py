"""A corrected sheet tried against a case on its page: side by side, adopted or dropped."""

from __future__ import annotations

import re
from shutil import copytree

import pytest

from loganalyze.review.application import review_desk
from loganalyze.review.application.desk_forms import AdoptionForm
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.trail_entries import Actor
from tests.fleet.conftest import SHEET
from tests.review.conftest import Office

CORRECTED = SHEET.format(vmo=255)
ADOPTED = ["case touched", "sheet adopted", "case touched", "sheet adoption begun"]
"""Entries of an adoption, the latest first."""


@pytest.fixture
def open_office(judged, tmp_path):
    """A desk with accounts over a store of its own."""
    copytree(judged / "store", tmp_path / "store")
    made = Office(tmp_path / "store", open_database(tmp_path / "store"))
    yield made
    made.desk.close()


def tried(office, browser, **given):
    files = given.pop("files", None)
    return browser.post(f"/cases/{office.key}/trial", files=files,
                        data={"csrf_token": browser.headers["x-csrf-token"], **given})


def actions(browser, key):
    return [line["action"] for line in browser.get(f"/api/cases/{key}/trail").json()]


def carried(page):
    """The digest of the verdict that counts, as the page of a trial sends it on."""
    return re.search('name="seen" value="([0-9a-f]+)"', page.text)[1]


def test_a_chosen_file_is_judged_by_before_what_was_typed(open_office):
    gate = open_office.person("gate", "gatekeeper")
    page = tried(open_office, gate, sheet="[[wrong", columns="",
                 files={"sheet_file": ("new.toml", CORRECTED.encode())})
    assert page.status_code == 200
    assert "17.0 kt" in page.text
    assert "7.0 kt" in page.text
    by_text = tried(open_office, gate, sheet=CORRECTED.replace("\n", "\r\n"))
    assert by_text.text.count("7.0 kt") == page.text.count("7.0 kt")
    assert actions(gate, open_office.key) == []


def test_an_exceedance_that_is_none_any_more_is_marked_once(open_office):
    gate = open_office.person("gate", "gatekeeper")
    page = tried(open_office, gate, sheet=SHEET.format(vmo=400))
    gone = page.text.count("no exceedance")
    assert gone >= 1
    assert page.text.count("◂ changed") == gone


@pytest.mark.parametrize(("given", "said"), [
    ({"sheet": "[[wrong"}, "TOML"), ({"sheet": ""}, "too short"),
    ({"files": {"sheet_file": ("new.toml", b"\xff\xfe\x00")}}, "UTF-8"),
])
def test_what_cant_be_judged_by_is_said_on_the_page(open_office, given, said):
    page = tried(open_office, open_office.person("gate", "gatekeeper"), **given)
    assert page.status_code == 422
    assert said in page.text


def test_a_tried_sheet_is_adopted_with_its_reason(open_office):
    gate = open_office.person("gate", "gatekeeper")
    seen = carried(tried(open_office, gate, sheet=CORRECTED))
    answer = open_office.form(gate, f"/cases/{open_office.key}/trial/adoption", sheet=CORRECTED,
                              columns="", seen=seen, reason="the revision of March")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/cases/{open_office.key}")
    assert "7.0 kt" in gate.get(answer.headers["location"]).text
    assert actions(gate, open_office.key) == ADOPTED
    line = gate.get(f"/api/cases/{open_office.key}/trail").json()[1]
    assert line["action"] == "sheet adopted"
    said = {change["name"]: change["after"] for change in line["changes"]}
    assert (said["reason"], said["sheet"]) == ("the revision of March", CORRECTED)


def test_a_desk_that_ends_while_a_sheet_is_adopted_leaves_in_the_trail_who_and_why(
        open_office, monkeypatch):
    gate = open_office.person("gate", "gatekeeper")

    written = review_desk.adopt_sheet

    def ends(*given):
        written(*given)
        raise KeyboardInterrupt  # once the store has the verdict, before anything else

    monkeypatch.setattr(review_desk, "adopt_sheet", ends)
    actor = Actor("gate", "gatekeeper")
    with pytest.raises(KeyboardInterrupt):
        open_office.desk.adopt_sheet(actor, open_office.key, AdoptionForm(
            sheet=CORRECTED, reason="the revision of March"))
    assert "7.0 kt" in gate.get(f"/cases/{open_office.key}").text
    line = gate.get(f"/api/cases/{open_office.key}/trail").json()[1]
    assert line["action"] == "sheet adoption begun"
    said = {change["name"]: change["after"] for change in line["changes"]}
    assert (said["reason"], said["sheet"]) == ("the revision of March", CORRECTED)


def test_a_sheet_tried_beside_an_older_verdict_isnt_adopted(open_office):
    gate, other = (open_office.person(name, "gatekeeper") for name in ("gate", "other"))
    path = f"/cases/{open_office.key}/trial/adoption"
    seen = carried(tried(open_office, gate, sheet=CORRECTED))
    for browser, sheet, status in ((other, SHEET.format(vmo=250), 303), (gate, CORRECTED, 409)):
        answer = open_office.form(browser, path, sheet=sheet, columns="", seen=seen, reason="mine")
        assert answer.status_code == status
    assert "12.0 kt" in answer.text
    assert carried(answer) != seen
    assert actions(gate, open_office.key) == ADOPTED
    stale = gate.post(f"/api/cases/{open_office.key}/sheet-adoption", json={
        "sheet": CORRECTED, "reason": "mine", "seen": seen})
    assert (stale.status_code, stale.json()["code"]) == (409, "outdated")


def test_a_tried_sheet_is_dropped_with_its_reason_and_changes_nothing(open_office):
    anne = open_office.person("anne", "reviewer")
    tried(open_office, anne, sheet=CORRECTED)
    answer = open_office.form(anne, f"/cases/{open_office.key}/trial/drop", sheet=CORRECTED,
                              columns="", reason="it is of another aircraft")
    assert answer.status_code == 303
    assert "17.0 kt" in anne.get(answer.headers["location"]).text
    assert actions(anne, open_office.key) == ["case touched", "sheet dropped"]


def test_who_may_not_is_refused_before_the_fields_are_looked_at(open_office):
    """An administrator may do nothing here, a reviewer all but adopt; nothing is written."""
    admin, anne = (open_office.person(*who) for who in (("cy", "administrator"),
                                                        ("anne", "reviewer")))
    path = f"/cases/{open_office.key}/trial"
    assert admin.get(path).status_code == 403
    for part in ("", "/adoption", "/drop"):
        assert open_office.form(admin, path + part, sheet="[[").status_code == 403
    refused = open_office.form(anne, f"{path}/adoption", sheet="[[")
    assert refused.status_code == 403
    assert open_office.stranger().get(path).status_code == 303
    assert actions(anne, open_office.key) == []

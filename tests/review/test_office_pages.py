"""Pages of the whole office: who may use them, what they do, and what the trail keeps of it."""

from __future__ import annotations

import io
import json
import re
from html import unescape
from itertools import pairwise

import pypdf
import pytest

from loganalyze.review.application.desk_forms import FollowUpForm
from loganalyze.review.decisions.trail_entries import Actor

PASSWORD = "a long enough password"


@pytest.fixture
def follow_up(office):
    """The fields of a change to a follow-up that is open and overdue."""
    record = office.desk.open_follow_up(
        Actor("anne", "reviewer"), office.key,
        FollowUpForm(kind="crew contact", owner="kim", due="2020-01-01", task="ask"))
    return record.follow_ups[0]


def said(answer) -> str:
    return re.sub(r"\s+", " ", unescape(answer.text))


def trail_of(office):
    return office.person("cy", "administrator").get("/api/trail").json()


def test_owner_and_due_date_are_changed_where_all_follow_ups_are_listed(office, follow_up):
    anne = office.person("anne", "reviewer")
    assert "1 shown, 1 overdue" in said(anne.get("/follow-ups?overdue=true"))
    path = f"/follow-ups/{follow_up.follow_up_id}?owner=kim"
    fields = {"owner": "lee", "due": "2999-01-01", "seen_version": "1"}
    changed = office.form(anne, path, **fields)
    assert (changed.status_code, changed.headers["location"]) == (303, "/follow-ups?owner=kim")
    assert "0 shown" in said(anne.get("/follow-ups?overdue=true"))
    assert "<td>lee</td>" in anne.get("/follow-ups").text
    late = office.form(anne, path, **{**fields, "owner": "max"})
    assert late.status_code == 409
    assert "Somebody changed this" in said(late)
    (line,) = (one for one in trail_of(office) if one["action"] == "follow-up changed")
    assert {one["name"]: one["after"] for one in line["changes"]}["owner"] == "lee"


def test_people_are_added_changed_and_barred_by_an_administrator(office):
    admin = office.person("cy", "administrator")
    assert office.form(admin, "/people", person="kim", role="reviewer",
                       password=PASSWORD).status_code == 303
    for change in ({"role": "gatekeeper"}, {"active": "false"}, {"active": "true"},
                   {"password": f"{PASSWORD} anew"}):
        assert office.form(admin, "/people/kim", **change).status_code == 303
    page = admin.get("/people").text
    assert 'value="gatekeeper" selected' in page
    assert [one["action"] for one in trail_of(office) if one["action"].startswith("person")][:6] \
        == ["person changed"] * 4 + ["person added"] * 2
    short = office.form(admin, "/people", person="lee", role="reviewer", password="short")
    assert short.status_code == 422


@pytest.mark.parametrize("change", [{"active": "false"}, {"role": "reviewer"}])
def test_the_last_administrator_stays_one(office, change):
    admin = office.person("cy", "administrator")
    refused = office.form(admin, "/people/cy", **change)
    assert refused.status_code == 422
    assert "nobody could manage people" in said(refused)
    by_program = admin.patch("/api/people/cy", json={"active": False})
    assert (by_program.status_code, by_program.json()["code"]) == (422, "problem")
    assert admin.get("/people").status_code == 200
    office.person("di", "administrator")
    assert office.form(admin, "/people/cy", **change).status_code == 303


def test_the_trail_is_filtered_alike_on_page_and_interface(office, follow_up):
    anne, admin = office.person("anne", "reviewer"), office.person("cy", "administrator")
    office.form(anne, f"/cases/{office.key}/notes", note="seen by me")
    for query, kept in (("action=noted", True), ("action=decided", False), ("actor=anne", True),
                        ("actor=bo", False), (f"case={office.key[:6]}&action=noted", True),
                        ("case=0000000", False), ("since=2999-01-01", False),
                        ("until=2020-01-01", False), ("since=2020-01-01&action=noted", True)):
        lines = admin.get(f"/api/trail?{query}").json()
        assert any(one["action"] == "noted" for one in lines) is kept, query
        assert ("seen by me" in admin.get(f"/trail?{query}").text) is kept, query
    assert admin.get("/trail?case=%25").status_code == 422


def test_the_trail_is_checked_on_its_page(office, follow_up):
    admin = office.person("cy", "administrator")
    page = said(admin.get("/trail/check"))
    assert "The trail is as it was written." in page
    head = re.search(r"<code>([0-9]+-[0-9a-f]{64})</code>", page)[1]
    assert "as it was written" in said(admin.get(f"/trail/check?witness={head}"))
    other = f"{head.partition('-')[0]}-{'0' * 64}"
    assert "another trail than the head is of" in said(admin.get(f"/trail/check?witness={other}"))
    with office.database.engine.connect() as connection:
        connection.exec_driver_sql("drop trigger if exists trail_no_update")
        connection.exec_driver_sql("update follow_ups set owner = 'mo'")
        connection.commit()
    page = said(admin.get("/trail/check"))
    assert "The trail was altered" in page
    assert f"a row differs from the trail: follow-up {follow_up.follow_up_id}" in page


def test_the_trail_is_exported_with_its_hashes_and_that_is_kept(office, follow_up):
    admin = office.person("cy", "administrator")
    answer = office.form(admin, "/trail/export")
    lines = [json.loads(line) for line in answer.text.splitlines()]
    assert lines[-1]["action"] == "trail exported"
    assert all(one["previous_hash"] == before["hash"]
               for before, one in pairwise(lines))


def test_the_report_for_everybody_has_no_single_cases_tasks_or_owners(office, follow_up):
    anne = office.person("anne", "reviewer")
    assert anne.get("/report").status_code == 200
    whole, part = (said(anne.get(f"/report/file?format=html&reader={reader}"))
                   for reader in ("safety", "everybody"))
    secrets = ("kim", office.key[:8], "Still to be looked at")
    assert all(secret in whole for secret in secrets)
    assert not [secret for secret in secrets if secret in part]
    assert "How often" in part
    pdf = anne.get("/report/file?since=2031-01&until=2031-02")
    assert pdf.headers["content-disposition"] == 'attachment; filename="safety-report.pdf"'
    assert "2031-01 to 2031-02" in pypdf.PdfReader(io.BytesIO(pdf.content)).pages[0].extract_text()


@pytest.mark.parametrize(("role", "method", "path"), [
    ("reviewer", "GET", "/people"), ("reviewer", "POST", "/people"),
    ("gatekeeper", "POST", "/people/cy"), ("reviewer", "GET", "/trail/check"),
    ("reviewer", "POST", "/trail/export"), ("gatekeeper", "POST", "/trail/export"),
    ("administrator", "GET", "/report"), ("administrator", "GET", "/report/file"),
    ("administrator", "GET", "/follow-ups"),
    ("administrator", "POST", "/follow-ups/00000000000000000000000000000000"),
])
def test_what_a_role_may_not_is_refused_before_its_fields_are_looked_at(office, role, method, path):
    who = office.person(f"some-{role}", role)
    answer = who.get(path) if method == "GET" else office.form(who, path, nonsense="x")
    assert answer.status_code == 403
    assert "Your role doesn't allow this." in said(answer)

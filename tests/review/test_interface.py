"""The HTTP interface: what it answers, and that each role's every forbidden action is refused."""

from __future__ import annotations

import csv
import io
import json

import jsonschema
import pytest

from loganalyze.review.access.permissions import PERMISSIONS
from loganalyze.review.application.interface_description import interface_description
from loganalyze.review.application.interface_operations import OPERATIONS
from loganalyze.review.decisions.people import find_person
from tests.fleet.conftest import SHEET

ROLES = ("reviewer", "gatekeeper", "administrator")
BODIES = {
    "decide": {"decision": "valid", "reason": "as recorded", "seen_version": 0},
    "add_note": {"note": "noted"},
    "open_follow_up": {"kind": "crew contact", "owner": "kim", "due": "2031-07-01", "task": "ask"},
    "change_follow_up": {"owner": "kim", "due": "2031-07-01", "seen_version": 1},
    "reveal": {"reason": "the crew is to be contacted"},
    "try_sheet": {"sheet": SHEET.format(vmo=255)},
    "drop_sheet": {"sheet": SHEET.format(vmo=255), "reason": "it is of another aircraft"},
    "adopt_sheet": {"sheet": "aircraft", "reason": "the limit was wrong"},
    "case_pack": {"reader": "crew", "format": "html"},
    "keep_filter": {"name": "mine", "query": "status=open"},
    "add_person": {"person": "new", "role": "reviewer", "password": "a long enough password"},
    "change_person": {"active": True},
}


def ask(browser, operation, key, **options):
    path = operation.path.format(key=key, follow_up_id="0" * 32, filter_id="0" * 32, person="anne")
    body = BODIES.get(operation.name)
    return browser.request(operation.method, path, json=body, **options)


def decide(browser, key, **changes):
    return browser.post(f"/api/cases/{key}/decision", json={**BODIES["decide"], **changes})


@pytest.mark.parametrize("role", ROLES)
def test_each_role_is_refused_all_that_it_may_not_do(office, role):
    browser = office.person("somebody", role)
    refused = {one.name for one in OPERATIONS if ask(browser, one, office.key).status_code == 403}
    assert refused == {one.name for one in OPERATIONS
                       if one.permission is not None and one.permission not in PERMISSIONS[role]}
    assert refused


def test_what_was_refused_left_no_trace(office):
    before = office.person("gate", "gatekeeper").get("/api/trail").json()
    browser = office.person("gate", "gatekeeper")
    assert ask(browser, next(one for one in OPERATIONS if one.name == "add_person"),
               office.key).status_code == 403
    admin = office.person("admin", "administrator")
    assert decide(admin, office.key).status_code == 403
    after = browser.get("/api/trail").json()
    assert {line["action"] for line in after[:len(after) - len(before)]} <= {
        "signed in", "person added"}


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda one: one.name)
def test_nobody_gets_in_without_a_session(office, operation):
    for headers in ({}, {"authorization": "Bearer x"}, {"authorization": "Bearer"},
                    {"cookie": "review_8000=x"}):
        found = ask(office.stranger(), operation, office.key, headers=headers)
        assert found.status_code == 401
        assert found.json()["code"] == "not signed in"


def test_a_decision_goes_through_the_interface_and_back(office):
    browser = office.person("anne", "reviewer")
    record = decide(browser, office.key, decision="nuisance").json()
    assert (record["version"], record["decision"], record["decided_by"]) == (1, "nuisance", "anne")
    view = browser.get(f"/api/cases/{office.key}").json()
    assert view["material"]["listed"]["status"] == "decided"
    assert view["record"] == record
    assert browser.get("/api/counts").json() == {"open": 2, "decided": 1}
    assert [one["case_key"] for one in browser.get(
        "/api/cases?status=decided&status=moved").json()["cases"]] == [office.key]


def test_the_second_of_two_is_told_what_the_first_did(office):
    anne, bo = office.person("anne", "reviewer"), office.person("bo", "reviewer")
    decide(anne, office.key, reason="anne's reason")
    found = decide(bo, office.key, decision="false")
    assert found.status_code == 409
    assert found.json()["code"] == "outdated"
    assert found.json()["current"]["reason"] == "anne's reason"
    assert decide(bo, office.key, decision="false", seen_version=1).status_code == 200


def test_nothing_the_interface_shows_a_reviewer_tells_whose_flight_it_was(office):
    """After a decision, too: the record and the trail are made from the verdict's row."""
    browser = office.person("anne", "reviewer")
    decide(browser, office.key)
    said = [ask(browser, one, office.key).text for one in OPERATIONS if one.method == "GET"]
    said += [ask(browser, one, office.key).text for one in OPERATIONS if one.name == "try_sheet"]
    identity = office.person("bo", "gatekeeper").post(
        f"/api/cases/{office.key}/identity", json=BODIES["reveal"]).json()
    assert identity["registration"].startswith("DEMO-")
    for name in ("registration", "log", "source", "log_sha256", "limits_sheet", "start_utc"):
        assert identity[name]
        assert not [text for text in said if identity[name] in text]


def test_an_identity_is_seen_only_with_a_reason_and_the_trail_says_so(office):
    gate = office.person("gate", "gatekeeper")
    path = f"/api/cases/{office.key}/identity"
    for body in ({}, {"reason": ""}, {"reason": "curious"}, {"reason": " " * 30}):
        assert gate.post(path, json=body).status_code == 422
    assert gate.post(path, json=BODIES["reveal"]).status_code == 200
    line = gate.get(f"/api/cases/{office.key}/trail").json()[0]
    assert (line["action"], line["actor"], line["role"]) == (
        "identity seen", "gate", "gatekeeper")
    assert line["changes"] == [{"name": "reason", "before": None, **{
        "after": BODIES["reveal"]["reason"]}}]


def test_a_follow_up_is_opened_closed_and_listed(office):
    browser = office.person("anne", "reviewer")
    record = browser.post(f"/api/cases/{office.key}/follow-ups",
                          json=BODIES["open_follow_up"]).json()
    (opened,) = record["follow_ups"]
    assert browser.get("/api/follow-ups?owner=kim").json() == [opened]
    assert browser.get("/api/follow-ups?owner=lee").json() == []
    changed = {**BODIES["change_follow_up"], "done": True, "outcome": "done by phone"}
    path = f"/api/follow-ups/{opened['follow_up_id']}"
    assert browser.put(path, json=changed).json()["follow_ups"][0]["state"] == "done"
    assert browser.put(path, json=changed).status_code == 409
    assert browser.get("/api/follow-ups").json() == []


def test_a_sheet_is_tried_side_by_side_and_changes_nothing(office):
    browser = office.person("anne", "reviewer")
    before = browser.get(f"/api/cases/{office.key}").json()
    path = f"/api/cases/{office.key}/sheet-trial"
    trial = browser.post(path, json={"sheet": SHEET.format(vmo=255)}).json()
    (one,) = trial["verdicts"]
    assert one["now"]["worst_excess_kt"] == pytest.approx(17, abs=.3)
    assert one["trial"]["worst_excess_kt"] == pytest.approx(7, abs=.3)
    gone = browser.post(path, json={"sheet": SHEET.format(vmo=300)}).json()
    assert (gone["outcome_now"], gone["outcome_trial"]) == ("exceeded", "not exceeded")
    assert gone["verdicts"][0]["trial"] is None
    after = browser.get(f"/api/cases/{office.key}").json()
    assert after["material"] == before["material"]
    wrong = browser.post(path, json={"sheet": 'aircraft = "x"\nlimit = 3'})
    assert wrong.status_code == 422
    assert wrong.json()["code"] == "problem"
    assert "/tmp" not in wrong.text


@pytest.mark.parametrize(("method", "path", "status"), [
    ("GET", "/api/cases/nothing", 404), ("GET", f"/api/cases/{'0' * 20}", 404),
    ("GET", "/api/cases/..%2f..%2fetc%2fpasswd", 404), ("GET", "/api/none", 404),
    ("DELETE", "/api/cases", 404), ("GET", "/api/cases?status=won", 422),
    ("GET", "/api/cases?nonsense=1", 422), ("GET", "/api/cases?page=0", 422),
    ("GET", "/api/trail?before=x", 422), ("DELETE", f"/api/filters/{'0' * 32}", 404),
    ("GET", "/static/..%2f..%2freview_desk.py", 404), ("GET", "/static/../review_desk.py", 404),
    ("GET", "/static/%2e%2e/%2e%2e/review_desk.py", 404), ("GET", "/static//etc/passwd", 404),
])
def test_what_there_isnt_is_refused_in_plain(office, method, path, status):
    browser = office.person("anne", "reviewer")
    found = browser.request(method, path)
    assert found.status_code == status
    assert "Traceback" not in found.text
    assert "root:" not in found.text


@pytest.mark.parametrize("body", [
    b"", b"{", b"[]", b"null", b'"x"', b'{"note": 5}', b'{"note": "\\u0000"}', b'{"note": "x", '
    b'"more": 1}', b"\xff\xfe", b'{"note": "\\ud800"}', b'{"note": ""}',
    b'{"note": "' + b"x" * 5000 + b'"}'])
def test_a_body_that_cant_be_is_refused_with_the_field(office, body):
    found = office.person("anne", "reviewer").post(
        f"/api/cases/{office.key}/notes", content=body)
    assert found.status_code == 422
    assert found.json()["fields"]


def test_exports_hold_what_the_list_holds_and_no_formula(office):
    browser = office.person("anne", "reviewer")
    browser.post(f"/api/cases/{office.key}/follow-ups", json={
        **BODIES["open_follow_up"], "owner": "=HYPERLINK(1)"})
    found = browser.get("/api/exports/cases.csv?sort=excess")
    assert found.headers["content-disposition"] == 'attachment; filename="cases.csv"'
    rows = list(csv.DictReader(io.StringIO(found.text)))
    listed = browser.get("/api/cases?sort=excess").json()["cases"]
    assert [row["case_key"] for row in rows] == [one["case_key"] for one in listed]
    assert {row["owners"] for row in rows} == {"", "'=HYPERLINK(1)"}
    assert browser.get("/api/exports/cases.json?sort=excess").json() == listed


def test_the_trail_is_exported_whole_and_can_be_checked(office):
    decide(office.person("anne", "reviewer"), office.key)
    admin = office.person("admin", "administrator")
    lines = [json.loads(line) for line in admin.post("/api/trail/export").text.splitlines()]
    assert [line["seq"] for line in lines] == list(range(1, len(lines) + 1))
    assert lines[-1]["action"] == "trail exported"
    head = f"{lines[-1]['seq']}-{lines[-1]['hash']}"
    state = admin.get(f"/api/trail/check?witness={head}").json()
    assert (state["intact"], state["head"]) == (True, head)
    with office.database.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("update cases set decision = 'false'")
    assert admin.get("/api/trail/check").json()["faults"] == [["row differs", f"case {office.key}"]]


def test_a_program_uses_a_token_of_its_own(office):
    office.person("anne", "reviewer")
    with office.database.reading() as connection:
        token = office.sign_in.program_token(find_person(connection, "anne"))
    program = office.stranger()
    program.headers["authorization"] = f"Bearer {token}"
    assert program.get("/api/me").json()["person"] == "anne"
    assert decide(program, office.key).status_code == 200
    program.headers["authorization"] = f"Basic {token}"
    assert program.get("/api/me").status_code == 401
    browser = office.stranger()
    browser.cookies.set("review_8000", token)
    assert browser.get("/api/me").status_code == 401


def test_people_are_managed_by_administrators(office):
    admin = office.person("admin", "administrator")
    assert admin.post("/api/people", json=BODIES["add_person"]).status_code == 204
    assert admin.post("/api/people", json=BODIES["add_person"]).status_code == 409
    short = {**BODIES["add_person"], "person": "other", "password": "short"}
    assert "characters" in admin.post("/api/people", json=short).json()["message"]
    anne = office.person("anne", "reviewer")
    assert anne.get("/api/me").status_code == 200
    assert admin.patch("/api/people/anne", json={"active": False}).status_code == 204
    assert anne.get("/api/me").status_code == 401
    assert admin.patch("/api/people/nobody", json={"active": False}).status_code == 404
    assert [one["person"] for one in admin.get("/api/people").json()] == ["admin", "anne", "new"]


def test_somebody_is_added_as_a_provider_knows_them(office):
    admin = office.person("admin", "administrator")
    known = {"issuer": "https://id.example", "subject": "é 7"}
    new = {"person": "lee", "role": "reviewer", **known}
    assert admin.post("/api/people", json=new).status_code == 204
    assert office.sign_in.with_subject(**known).actor.name == "lee"
    assert office.sign_in.with_password("lee", "", "here") is None
    assert admin.post("/api/people", json={**new, "person": "ray"}).json()["code"] == "taken"
    for half in ({"issuer": known["issuer"]}, {"subject": "x"}, {}, {**known, "subject": "a\nb"},
                 {**known, "issuer": ""}):
        found = admin.post("/api/people", json={"person": "ray", "role": "reviewer", **half})
        assert (found.status_code, found.json()["code"]) == (422, "wrong input")
    assert admin.patch("/api/people/admin", json=known).json()["code"] == "taken"
    assert admin.patch("/api/people/lee", json={**known, "subject": "8"}).status_code == 204
    assert office.sign_in.with_subject(**known) is None
    assert admin.patch("/api/people/lee", json={"subject": "9"}).status_code == 422


def test_the_description_is_whole_and_true(office):
    """Every answer of a small walk through the interface is as the description says."""
    description = interface_description()
    assert description["openapi"] == "3.1.0"
    assert {(method, path) for path, one in description["paths"].items() for method in one} == {
        (one.method.lower(), one.path) for one in OPERATIONS}
    browser = office.person("anne", "reviewer")
    assert browser.get("/api/openapi.json").json() == json.loads(json.dumps(description))
    assert office.stranger().get("/api/openapi.json").status_code == 401
    checked = 0
    for one in OPERATIONS:
        found = ask(browser, one, office.key)
        answer = description["paths"][one.path][one.method.lower()]["responses"][
            str(found.status_code)]
        schema = answer.get("content", {}).get("application/json", {}).get("schema")
        if schema and found.headers.get("content-type") == "application/json":
            jsonschema.validate(found.json(), {**schema, "components": description["components"]},
                                cls=jsonschema.Draft202012Validator)
            checked += 1
    assert checked > 15

"""Every route of the desk, enumerated from its own tables, so that no new one is forgotten."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from urllib.parse import quote, urlencode

import pytest
from starlette.testclient import TestClient

from loganalyze.review.access.permissions import Permission, allowed
from loganalyze.review.application.desk_pages import DeskPages
from loganalyze.review.application.interface_operations import OPERATIONS
from loganalyze.review.decisions.decision_database import open_database
from tests.review.conftest import Office
from tests.review.test_interface import BODIES, ROLES

READ, DECIDE, MANAGE = Permission.READ_CASES, Permission.DECIDE, Permission.MANAGE_PEOPLE
CASE = "/cases/{key}"
OPEN = {("GET", "/enter/{secret}"), ("GET", "/sign-in"), ("POST", "/sign-in")}
"""What is there for who isn't signed in."""
NEEDED = {
    ("POST", "/sign-out"): None,
    ("GET", "/"): READ, ("GET", CASE): READ, ("GET", "/follow-ups"): READ,
    ("POST", f"{CASE}/decision"): DECIDE, ("POST", f"{CASE}/notes"): DECIDE,
    ("POST", f"{CASE}/follow-ups"): DECIDE,
    ("POST", f"{CASE}/follow-ups/{{follow_up_id}}"): DECIDE,
    ("POST", f"{CASE}/identity"): Permission.REVEAL, ("POST", f"{CASE}/pack"): Permission.EXPORT,
    ("GET", f"{CASE}/trial"): Permission.TRY_SHEET,
    ("POST", f"{CASE}/trial"): Permission.TRY_SHEET,
    ("POST", f"{CASE}/trial/drop"): Permission.TRY_SHEET,
    ("POST", f"{CASE}/trial/adoption"): Permission.ADOPT_SHEET,
    ("POST", "/follow-ups/{follow_up_id}"): DECIDE,
    ("GET", "/report"): Permission.EXPORT, ("GET", "/report/file"): Permission.EXPORT,
    ("GET", "/trail"): Permission.READ_TRAIL,
    ("GET", "/trail/check"): Permission.CHECK_TRAIL,
    ("POST", "/trail/export"): Permission.CHECK_TRAIL,
    ("POST", "/filters"): READ, ("POST", "/filters/{filter_id}/drop"): READ,
    ("GET", "/people"): MANAGE, ("POST", "/people"): MANAGE,
    ("POST", "/people/{person}"): MANAGE,
}
"""The permission that each page and form needs; a route that isn't here fails the first test."""
FIELDS = {"/filters": {"name": "mine"}}
"""Of forms whose role is looked at after their fields."""
SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{7*7}}"


def routes(office: Office) -> set[tuple[str, str]]:
    found = DeskPages(office.desk, office.sign_in, office.binding).routes()
    return {(method, one.path) for one in found for method in one.methods - {"HEAD"}}


@pytest.fixture(scope="module")
def office(judged, tmp_path_factory):
    """One desk with accounts for all of these tests."""
    made = Office(judged / "store", open_database(tmp_path_factory.mktemp("routes")))
    yield made
    made.desk.close()


def place(path: str, office: Office, **given: str) -> str:
    return path.format(**{"key": office.key, "follow_up_id": "0" * 32, "filter_id": "0" * 32,
                          "person": "nobody", "secret": "x", **given})


def test_every_page_and_form_is_in_the_table(office):
    assert routes(office) == OPEN | set(NEEDED)


@pytest.mark.parametrize("role", ROLES)
def test_every_page_and_form_is_refused_to_roles_that_may_not_have_it(office, role):
    for method, path in sorted(routes(office) - OPEN):
        browser = office.person(f"one-{role}", role)
        found = browser.request(method, place(path, office), data={
            "csrf_token": browser.headers["x-csrf-token"], **FIELDS.get(path, {})}
            if method == "POST" else None)
        needed = NEEDED[method, path]
        may = needed is None or allowed(role, needed)
        assert (found.status_code == 403) is not may, (method, path, found.status_code)
        assert found.status_code < 500


def test_every_page_and_form_asks_who_is_there(office):
    for method, path in sorted(routes(office) - OPEN):
        for cookie in (None, "x"):
            browser = office.stranger()
            if cookie:
                browser.cookies.set("review_8000", cookie)
            found = browser.request(method, place(path, office))
            led = found.status_code == 303 and found.headers["location"].startswith("/sign-in")
            assert led if method == "GET" else found.status_code in (401, 403), (method, path)


def changes(office: Office) -> list[tuple[str, str]]:
    """Every change that there is, of pages and of the interface."""
    forms = [(method, path) for method, path in sorted(routes(office)) if method != "GET"]
    return forms + [(one.method, one.path) for one in OPERATIONS if one.method != "GET"]


def test_every_change_needs_the_sessions_own_token(office):
    browser, other = (office.person(name, "gatekeeper") for name in ("anne", "bo"))
    mine, theirs = (one.headers.pop("x-csrf-token") for one in (browser, other))
    tried = 0
    for method, path in changes(office):
        if (method, path) in OPEN:
            continue
        for token in (None, "", "x", theirs, mine[:-1]):
            form = {} if token is None else {"csrf_token": token}
            headers = {} if token is None else {"x-csrf-token": token}
            options = {"json": {}, "headers": headers} if path.startswith("/api") else {
                "data": form}
            found = browser.request(method, place(path, office), **options)
            assert found.status_code == 403, (method, path, token)
            tried += 1
    assert tried > 100
    assert browser.get("/api/me").status_code == 200  # signing out was refused, too


def test_every_change_from_a_foreign_page_is_refused(office):
    """Also with the right token: that of a page which was read is of no use elsewhere."""
    browser = office.person("anne", "gatekeeper")
    before = browser.get("/api/trail").json()[0]["seq"]
    token = browser.headers["x-csrf-token"]
    for method, path in changes(office):
        for headers in ({"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}):
            found = browser.request(method, place(path, office), data={"csrf_token": token},
                                    headers=headers)
            assert found.status_code == 403, (method, path)
    assert browser.get("/api/trail").json()[0]["seq"] == before


def test_no_place_in_a_path_leads_out_or_breaks(office):
    """Of pages and of the interface, for who may do most."""
    known = sorted(routes(office)) + [(one.method, one.path) for one in OPERATIONS]
    tried = 0
    for method, path in known:
        browser = office.person("anne", "gatekeeper")
        for name in re.findall(r"{(\w+)}", path):
            for odd in ("..%2f..%2fetc%2fpasswd", "%2e%2e", "%00", "%ff", "x" * 3000,
                        "%0d%0aX-Injected:%201", quote(SCRIPT, safe=""), "'%20or%201=1--"):
                found = browser.request(method, place(path, office, **{name: odd}), data={
                    "csrf_token": browser.headers["x-csrf-token"]} if method != "GET" else None)
                assert 400 <= found.status_code < 500, (method, path, odd)
                assert "x-injected" not in found.headers
                assert not {"root:", "Traceback"} & set(found.text.split())
                assert "<img" not in found.text
                tried += 1
    assert tried > 150


def test_no_field_of_a_form_or_query_becomes_a_header(office):
    """Where an answer leads on, or is kept as a file, nothing typed gets into its headers."""
    odd = "a\r\nX-Injected: 1\r\n\r\n<script>"
    browser = office.person("anne", "gatekeeper")
    for method, path in sorted(routes(office)) + [(one.method, one.path) for one in OPERATIONS]:
        if path == "/sign-out":
            continue
        fields = dict.fromkeys(("name", "query", "next", "person", "owner", "format", "reader",
                                "text", "note", "reason"), odd)
        options = {"params": fields} if method == "GET" else {
            "data": {**fields, "csrf_token": browser.headers["x-csrf-token"]}}
        found = browser.request(method, place(path, office), **options)
        assert found.status_code < 500, (method, path)
        for name, value in found.headers.items():
            assert name != "x-injected"
            assert "injected" not in value.lower()


class Active(HTMLParser):
    """What a browser would run or load of a page, beside the desk's own files."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found += [f"{tag} {name}" for name, value in attrs
                       if name.startswith("on") or "javascript:" in (value or "")
                       or (name in ("src", "srcdoc") and not (value or "").startswith("/static/"))]
        if tag in ("img", "iframe", "object", "embed") or (tag == "script" and not attrs):
            self.found.append(tag)


def text_fields(body: dict[str, object]) -> list[str]:
    return [name for name, value in body.items() if isinstance(value, str)]


def test_markup_in_every_text_field_is_only_shown(own_desk):
    """Each text field of each change is given markup; whatever took it, no page runs it."""
    browser = own_desk.owner()
    taken = set()
    opened = browser.post(f"/api/cases/{own_desk.key}/follow-ups", json=BODIES["open_follow_up"])
    follow_up = opened.json()["follow_ups"][0]
    for one in OPERATIONS:
        body = {**BODIES.get(one.name, {})}
        if one.name == "change_follow_up":
            body |= {"done": True, "outcome": "called", "seen_version": 1}
        for name in text_fields(body):
            if one.name == "change_follow_up":
                body["seen_version"] = browser.get(f"/api/cases/{own_desk.key}").json()[
                    "record"]["follow_ups"][0]["version"]
            elif "seen_version" in body:
                body["seen_version"] = browser.get(f"/api/cases/{own_desk.key}").json()[
                    "record"]["version"]
            short = 100 if name in ("owner", "name") else 4000
            path = one.path.format(key=own_desk.key, follow_up_id=follow_up["follow_up_id"],
                                   filter_id="0" * 32, person="nobody")
            found = browser.request(one.method, path, json={**body, name: SCRIPT[:short]})
            assert found.status_code < 500
            if found.status_code < 300:
                taken.add((one.name, name))
    assert taken >= {
        ("decide", "reason"), ("add_note", "note"), ("open_follow_up", "owner"),
        ("open_follow_up", "task"), ("change_follow_up", "owner"), ("change_follow_up", "outcome"),
        ("reveal", "reason"), ("keep_filter", "name")}
    pages = [path.format(key=own_desk.key) for method, path in routes(own_desk)
             if method == "GET" and "{secret}" not in path]
    pages += [f"{path}?{urlencode({name: SCRIPT})}" for path in ("/", "/follow-ups", "/sign-in")
              for name in ("text", "owner", "next", "sort", "kept")]
    shown = 0
    for path in pages:
        page = browser.get(path).text
        assert Active(page).found == [], path
        shown += "&lt;script&gt;" in page
    assert shown >= 5
    for reader in ("safety", "crew", "maintenance"):
        pack = browser.post(f"/api/cases/{own_desk.key}/pack", json={
            "reader": reader, "format": "html", "identity_reason": SCRIPT}).text
        assert "<img src=x" not in pack
        assert "<script>alert" not in pack
    assert "<img src=x" not in browser.get("/api/report?format=html").text


def test_sign_in_takes_over_no_session_and_ends_it_everywhere(office):
    """A session that was ended is no longer there for anybody who kept its cookie, or its page."""
    browser = office.person("anne", "reviewer")
    token, csrf = browser.cookies["review_8000"], browser.headers["x-csrf-token"]
    again = TestClient(office.app, base_url=office.address, follow_redirects=False)
    again.cookies.set("review_8000", token)
    assert again.get("/api/me").status_code == 200
    assert browser.post("/sign-out", data={"csrf_token": csrf}).status_code == 303
    assert again.get("/api/me").status_code == 401
    assert again.post(f"/api/cases/{office.key}/notes", json={"note": "x"}, headers={
        "x-csrf-token": csrf}).status_code == 401
    with office.database.reading() as connection:
        kept = connection.exec_driver_sql("select token_hash from sessions").scalars().all()
    assert token not in str(kept)

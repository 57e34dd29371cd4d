"""Attacks on the desk: foreign pages and names, scripts in texts, sessions, guesses."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from html.parser import HTMLParser

import pytest
from starlette.testclient import TestClient

from loganalyze.problems import Problem
from loganalyze.review.access import request_guards
from loganalyze.review.access.passwords import password_hash
from loganalyze.review.access.server_binding import Binding, check_binding
from loganalyze.review.access.sign_in_limits import (
    OF_ONE_NAME,
    OF_ONE_PLACE,
    WINDOW_S,
    SignInLimits,
)
from loganalyze.review.application.desk_pages import onward
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.people import add_person
from loganalyze.review.decisions.trail_entries import Actor
from tests.review.conftest import Office
from tests.review.postgresql_server import empty_database

PASSWORD = "correct horse battery"
SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{7*7}}"


class Markup(HTMLParser):
    """The tags and attributes of a page as a browser takes them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.scripts: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        names = {name for name, _ in attrs}
        self.attributes |= names
        if tag == "script":
            self.scripts |= names or {"inline"}


def note(office, browser, **options):
    return browser.post(f"/api/cases/{office.key}/notes", json={"note": "x"}, **options)


@pytest.fixture
def account(office):
    with office.database.writing(Actor("test", "command")) as change:
        add_person(change, "kim", "reviewer", password_hash=password_hash(PASSWORD))
    return office


@pytest.mark.parametrize("host", [
    "evil.example", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8000.evil.example", "localhost",
    "evil.example:8000", "", "127.0.0.1:8000, evil.example", "0.0.0.0:8000", "[::1]:1"])
def test_under_a_foreign_name_nothing_is_answered(own_desk, host):
    for path in ("/", "/api/cases", "/static/desk.css", f"/enter/{own_desk.sign_in.secret}"):
        found = own_desk.owner().get(path, headers={"host": host})
        assert found.status_code == 421
        assert "set-cookie" not in found.headers


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost:8000", "[::1]:8000",
                                  "LOCALHOST:8000"])
def test_under_its_own_names_it_answers(own_desk, host):
    assert own_desk.owner().get("/api/me", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("headers", [
    {"origin": "http://evil.example"}, {"origin": "null"}, {"origin": "http://127.0.0.1:8001"},
    {"origin": "https://127.0.0.1:8000"}, {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"}, {"x-csrf-token": ""}, {"x-csrf-token": "x" * 43},
    {"x-csrf-token": "é".encode()}])
def test_a_change_from_a_foreign_page_is_refused(own_desk, headers):
    browser = own_desk.owner()
    assert note(own_desk, browser, headers=headers).status_code == 403
    good = {"origin": "http://127.0.0.1:8000", "sec-fetch-site": "same-origin"}
    assert note(own_desk, browser, headers=good).status_code == 200


def test_the_token_of_another_session_is_refused(own_desk):
    first, second = own_desk.owner(), own_desk.owner()
    assert first.headers["x-csrf-token"] != second.headers["x-csrf-token"]
    assert note(own_desk, first, headers={
        "x-csrf-token": second.headers["x-csrf-token"]}).status_code == 403


@pytest.mark.parametrize("path", [
    "/cases/{key}/decision", "/cases/{key}/notes", "/cases/{key}/follow-ups",
    "/cases/{key}/identity", "/filters", "/people", "/people/anne", "/sign-out"])
def test_every_form_needs_the_sessions_token(own_desk, path):
    browser = own_desk.owner()
    del browser.headers["x-csrf-token"]
    for fields in ({}, {"csrf_token": ""}, {"csrf_token": "x"}):
        assert browser.post(path.format(key=own_desk.key), data=fields).status_code == 403


def test_the_secret_opens_the_desk_and_no_other_does(own_desk):
    stranger = own_desk.stranger()
    for wrong in ("x", own_desk.sign_in.secret[:-1], own_desk.sign_in.secret + "x", "%C3%A9"):
        found = stranger.get(f"/enter/{wrong}")
        assert found.status_code == 403
        assert "set-cookie" not in found.headers
    found = stranger.get(f"/enter/{own_desk.sign_in.secret}")
    cookie = found.headers["set-cookie"].lower()
    assert found.status_code == 200
    for part in ("httponly", "samesite=strict", "path=/"):
        assert part in cookie
    assert own_desk.sign_in.secret not in found.text
    assert stranger.get("/").status_code == 200


def test_a_session_given_beforehand_isnt_taken_over(account):
    """Session fixation: signing in makes a new token, and the old one stays nobody's."""
    browser = account.stranger()
    browser.cookies.set("review_8000", "chosen-by-another")
    found = browser.post("/sign-in", data={"person": "kim", "password": PASSWORD})
    assert found.status_code == 303
    token = re.search("review_8000=([^;]+)", found.headers["set-cookie"]).group(1)
    assert token != "chosen-by-another"
    victim = account.stranger()
    victim.cookies.set("review_8000", "chosen-by-another")
    assert victim.get("/api/me").status_code == 401


def test_a_session_ends_when_it_is_ended_and_when_it_expires(account, monkeypatch):
    browser = account.person("anne", "reviewer")
    token = browser.cookies["review_8000"]
    left = account.form(browser, "/sign-out")
    assert left.status_code == 303
    assert "max-age=0" in left.headers["set-cookie"].lower()
    again = account.stranger()
    again.cookies.set("review_8000", token)
    assert again.get("/api/me").status_code == 401
    late = account.person("anne", "reviewer")
    now = account.database.clock
    monkeypatch.setattr(account.database, "clock", lambda: now() + timedelta(hours=11))
    assert late.get("/api/me").status_code == 401


def test_sessions_of_a_desk_without_accounts_end_with_its_server(own_desk, judged):
    browser = own_desk.owner()
    assert browser.get("/api/me").status_code == 200
    other = Office(judged / "store", own_desk.database, accounts=False).stranger()
    other.cookies.set("review_8000", browser.cookies["review_8000"])
    assert other.get("/api/me").status_code == 401


def test_passwords_are_guessed_only_so_often(account):
    browser = account.stranger()

    def attempt(person: str, password: str) -> int:
        return browser.post("/sign-in", data={"person": person, "password": password}).status_code

    assert attempt("kim", PASSWORD) == 303
    assert [attempt("kim", f"wrong {i}") for i in range(OF_ONE_NAME)] == [401] * OF_ONE_NAME
    assert attempt("kim", PASSWORD) == 429
    assert attempt("KIM", "wrong") == 429
    assert attempt("nobody", "wrong") == 401


def test_an_address_that_guesses_waits_under_every_name_and_another_doesnt(account, monkeypatch):
    """Also with a right password, and however the address says where it comes from."""
    monkeypatch.setattr("loganalyze.review.access.sign_in.is_password",
                        lambda password, kept: kept is not None and password == PASSWORD)

    def attempt(browser, person: str, password: str, number: int = 0) -> int:
        return browser.post("/sign-in", data={"person": person, "password": password}, headers={
            "x-forwarded-for": f"192.0.2.{number}", "forwarded": f"for=192.0.2.{number}",
            "x-real-ip": f"192.0.2.{number}"}).status_code

    here, elsewhere = (TestClient(account.app, base_url=account.address, client=(place, 50_000),
                                  follow_redirects=False) for place in ("10.0.0.1", "10.0.0.2"))
    assert {attempt(here, f"name{number}", "wrong", number) for number in range(OF_ONE_PLACE)} == {
        401}
    assert attempt(here, "kim", PASSWORD) == 429
    assert attempt(here, "another", "wrong") == 429
    assert attempt(elsewhere, "kim", PASSWORD) == 303
    assert int(here.post("/sign-in", data={"person": "kim", "password": "x"}).headers[
        "retry-after"]) > 0


def test_guesses_are_counted_by_place_too_and_forgotten_in_time():
    now = [0.0]
    limits = SignInLimits(lambda: now[0])
    for number in range(OF_ONE_PLACE):
        assert limits.wait_s(f"name {number}", "here") == 0
        limits.failed(f"name {number}", "here")
        now[0] += 1
    assert 0 < limits.wait_s("somebody", "here") <= WINDOW_S
    assert limits.wait_s("somebody", "elsewhere") == 0
    now[0] += WINDOW_S
    assert limits.wait_s("somebody", "here") == 0


def test_an_unknown_name_and_a_wrong_password_look_the_same(account):
    browser = account.stranger()
    answers = [browser.post("/sign-in", data={"person": name, "password": "wrong"})
               for name in ("kim", "nobody", "", "x" * 5000, "kim\0", "\ud800".encode(
                   "utf-8", "surrogatepass"))]
    assert len({(one.status_code, one.text) for one in answers}) == 1


@pytest.mark.parametrize("wanted", [
    "//evil.example", "https://evil.example", "/\\evil.example", "\\\\evil.example",
    "javascript:alert(1)", "/\t/evil.example", "/x\r\nSet-Cookie: a=b", "evil", "", "/%0d%0a\n",
    "///evil.example", "http:/evil.example", "/\u2028x", "//[::1", "/ok\\..\\x"])
def test_signing_in_leads_only_to_the_desk_itself(account, wanted):
    found = account.stranger().post("/sign-in", data={
        "person": "kim", "password": PASSWORD, "next": wanted})
    assert found.headers["location"] == "/"
    assert onward("/cases/1?text=a%20b#x") == "/cases/1?text=a%20b#x"


def test_no_text_becomes_markup(own_desk):
    """A script typed into every field of every form is shown as it was typed."""
    browser = own_desk.owner()
    case = f"/cases/{own_desk.key}"
    own_desk.form(browser, f"{case}/decision", decision="valid", reason=SCRIPT, seen_version="0")
    own_desk.form(browser, f"{case}/notes", note=SCRIPT)
    own_desk.form(browser, f"{case}/follow-ups", kind="crew contact", owner=SCRIPT[:100],
                  due="2031-07-01", task=SCRIPT)
    own_desk.form(browser, "/filters", name=SCRIPT[:100], query="text=" + "%3Cscript%3E")
    pages = [own_desk.form(browser, f"{case}/identity", reason=SCRIPT).text]
    pages += [browser.get(path).text for path in (
        "/", case, "/follow-ups", "/trail", f"/?text={SCRIPT}", f"/follow-ups?owner={SCRIPT}")]
    pages.append(own_desk.form(browser, f"{case}/decision", decision="false", reason=SCRIPT,
                               seen_version="0").text)  # outdated: the page with what was typed
    shown = 0
    for page in pages:
        markup = Markup(page)
        assert "img" not in markup.tags
        assert markup.scripts <= {"src"}
        assert not [name for name in markup.attributes if name.startswith("on")]
        assert ">49" not in page
        shown += SCRIPT in unescape(page)
    assert shown >= 5


@pytest.mark.parametrize("path", ["/", "/sign-in", "/static/desk.css", "/api/cases", "/nothing",
                                  "/api/nothing"])
def test_every_answer_keeps_foreign_scripts_frames_and_caches_out(own_desk, path):
    found = own_desk.owner().get(path)
    for name, value in request_guards.HEADERS.items():
        if name == "Cache-Control" and path.startswith("/static"):
            continue
        assert found.headers[name] == value
    assert "'unsafe" not in found.headers["content-security-policy"]
    assert "server" not in found.headers


def test_pages_hold_no_inline_script_or_style(own_desk):
    browser = own_desk.owner()
    for path in ("/", f"/cases/{own_desk.key}", "/trail", "/follow-ups", "/people"):
        page = browser.get(path).text
        assert not re.search(r"<script(?![^>]*\ssrc=)|\sstyle=|<style|\son\w+=|javascript:", page)
        assert not re.search(r"(src|href)=\"(https?:)?//", page)


@pytest.mark.parametrize("length", [request_guards.LARGEST_BODY + 1, 10**30])
def test_a_body_that_is_too_long_is_refused(own_desk, length):
    found = own_desk.owner().post(f"/api/cases/{own_desk.key}/notes", content=b"{}",
                                  headers={"content-length": str(length)})
    assert found.status_code == 413


def test_a_body_of_no_stated_length_is_cut_off(own_desk):
    def parts():
        for _ in range(40):
            yield b"x" * (request_guards.LARGEST_BODY // 20)

    browser = own_desk.owner()
    assert browser.post(f"/api/cases/{own_desk.key}/notes", content=parts()).status_code == 413
    assert browser.post(f"/cases/{own_desk.key}/notes", content=parts(), headers={
        "content-type": "application/x-www-form-urlencoded"}).status_code == 413


@pytest.mark.parametrize(("binding", "people", "what"), [
    (Binding("0.0.0.0", 0), 0, "no accounts"),
    (Binding("192.0.2.1", 0), 5, "no accounts"),
    (Binding("review.example", 0), 5, "no accounts"),
    (Binding("::", 0), 5, "no accounts"),
    (Binding("0.0.0.0", 0, accounts=True), 5, "encrypted"),
    (Binding("127.0.0.1", 0, accounts=True), 0, "nobody can sign in"),
])
def test_others_are_served_only_with_accounts_and_encryption(binding, people, what):
    with pytest.raises(Problem, match=what):
        check_binding(binding, people)


def test_with_accounts_a_certificate_and_a_name_others_are_served(tmp_path):
    for name in ("certificate", "key"):
        (tmp_path / name).touch()
    files = (tmp_path / "certificate", tmp_path / "key")
    binding = Binding("0.0.0.0", 8443, ("Review.example",), True, *files)
    check_binding(binding, 1)
    assert binding.hosts == {"review.example:8443"}
    assert binding.origins == {"https://review.example:8443"}
    with pytest.raises(Problem, match="own name"):
        check_binding(Binding("0.0.0.0", 8443, (), True, *files), 1)
    with pytest.raises(Problem, match="go together"):
        check_binding(Binding("0.0.0.0", 8443, ("x",), True, files[0]), 1)
    with pytest.raises(Problem, match="no such file"):
        check_binding(Binding("0.0.0.0", 8443, ("x",), True, files[0], tmp_path / "none"), 1)


def test_loopback_alone_needs_nothing():
    for host in ("127.0.0.1", "localhost", "::1", "127.8.8.8"):
        check_binding(Binding(host, 0), 0)


def test_the_pages_of_a_role_are_refused_to_others(office):
    admin, anne = office.person("admin", "administrator"), office.person("anne", "reviewer")
    for path in ("/", f"/cases/{office.key}", "/follow-ups"):
        assert (admin.get(path).status_code, anne.get(path).status_code) == (403, 200)
    assert (admin.get("/people").status_code, anne.get("/people").status_code) == (200, 403)
    for path, fields in ((f"/cases/{office.key}/identity", {"reason": "because I want to"}),
                         ("/people", {"person": "eve", "role": "administrator"}),
                         ("/people/anne", {"role": "administrator"})):
        assert office.form(anne, path, **fields).status_code == 403
    assert office.stranger().get("/").headers["location"] == "/sign-in"
    led = office.stranger().get("/follow-ups?owner=a%26b").headers["location"]
    assert led == "/sign-in?next=%2Ffollow-ups%3Fowner%3Da%2526b"
    assert 'value="/follow-ups?owner=a%26b"' in office.stranger().get(led).text


@pytest.mark.parametrize(("body", "kind"), [
    (b"--x\r\nbroken", "multipart/form-data; boundary=x"), (b"a=b", "multipart/form-data"),
    (b"&".join(b"f%d=1" % number for number in range(500)), "application/x-www-form-urlencoded"),
    (b"%ff%fe=%00", "application/x-www-form-urlencoded"), (b"x", "text/plain")])
@pytest.mark.parametrize("path", ["/cases/{key}/notes", "/sign-in"])
def test_a_form_that_is_none_is_refused_in_plain(account, path, body, kind):
    found = account.person("anne", "reviewer").post(
        path.format(key=account.key), content=body, headers={"content-type": kind})
    assert 400 <= found.status_code < 500
    assert "Traceback" not in found.text


def test_the_desk_on_postgresql_refuses_and_keeps_the_same(judged, postgresql):
    office = Office(judged / "store", open_database(
        empty_database(postgresql, "office")))
    anne, bo = office.person("anne", "reviewer"), office.person("bo", "gatekeeper")
    body = {"decision": "valid", "reason": "é ✓ \U0001f6e9", "seen_version": 0}
    path = f"/api/cases/{office.key}"
    assert anne.post(f"{path}/decision", json=body).json()["reason"] == body["reason"]
    assert bo.post(f"{path}/decision", json=body).status_code == 409
    assert bo.post(f"{path}/notes", json={"note": "a\0b"}).status_code == 422
    assert anne.post(f"{path}/identity", json={"reason": "I want to know"}).status_code == 403
    assert bo.post(f"{path}/identity", json={"reason": "to ask the crew"}).status_code == 200
    for name in ("nobody\0", "nobody"):
        assert office.stranger().post("/sign-in", data={
            "person": name, "password": "x"}).status_code == 401
    admin = office.person("admin", "administrator")
    assert admin.get("/api/trail/check").json()["intact"]
    assert anne.get("/api/cases?status=decided").json()["total"] == 1
    office.desk.close()

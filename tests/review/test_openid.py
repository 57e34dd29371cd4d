"""Sign-in by an OpenID Connect provider, against a small one on this machine."""

from __future__ import annotations

import base64
import json
import re
import sys
import time
from contextlib import closing
from datetime import timedelta
from shutil import copytree
from urllib.parse import parse_qs, urlencode, urlsplit

import httpx2
import pytest
from click.testing import CliRunner
from joserfc import jwt
from joserfc.jwk import ECKey, OctKey
from starlette.testclient import TestClient

from loganalyze.cli import group
from loganalyze.problems import Problem
from loganalyze.review.access.openid_settings import (
    SECRET_VARIABLE,
    OpenIdSettings,
    openid_settings,
)
from loganalyze.review.access.openid_sign_in import OpenIdSignIn
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application.desk_application import desk_application
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.people import add_person, change_person, find_person
from loganalyze.review.decisions.trail_entries import Actor
from tests.review.conftest import Office
from tests.review.openid_provider import CLIENT, SECRET, Provider, provider_running

COMMAND = Actor("test", "command")
COOKIE = "review_8000"


@pytest.fixture(scope="module")
def running():
    with provider_running() as provider:
        yield provider


@pytest.fixture
def provider(running) -> Provider:
    """The provider, as it was at first."""
    address = running.issuer
    running.__init__(issuer=address)
    return running


class Door:
    """A desk whose people sign in by the provider, and browsers at it."""

    def __init__(self, office: Office, provider: Provider, claim: str = "sub") -> None:
        self.office, self.provider = office, provider
        self.openid = OpenIdSignIn(OpenIdSettings(provider.issuer, CLIENT, claim, SECRET),
                                   office.binding)
        self.app = desk_application(office.desk, office.sign_in, office.binding, self.openid)
        known = {"issuer": provider.issuer, "subject": "subject-of-kim"}
        with office.database.writing(COMMAND) as change:
            if find_person(change.connection, "kim") is None:
                add_person(change, "kim", "reviewer", **known)
            else:
                change_person(change, "kim", active=1, **known)

    def browser(self) -> TestClient:
        return TestClient(self.app, base_url=self.office.address, follow_redirects=False,
                          raise_server_exceptions=False)

    def begin(self, browser: TestClient, query: str = "") -> str:
        """Go to the provider; return the address that it leads back to."""
        found = browser.get(f"/sign-in/provider{query}")
        assert found.status_code == 302, found.text
        there = httpx2.get(found.headers["location"])
        assert there.status_code == 302
        return there.headers["location"]

    def refused(self, browser: TestClient, back: str, status: int = 403) -> bool:
        """Whether an answer is refused, starts no session and leaves nothing to be sent again."""
        found = browser.get(back)
        assert found.status_code == status, found.text
        assert "alert" in found.text
        assert COOKIE not in browser.cookies
        assert browser.get("/api/me").status_code == 401
        assert "Traceback" not in found.text
        return True


@pytest.fixture(scope="module")
def one_office(judged, tmp_path_factory):
    """One desk for all of these tests; each begins with kim as its one person."""
    made = Office(judged / "store", open_database(tmp_path_factory.mktemp("openid")))
    yield made
    made.desk.close()


@pytest.fixture
def door(one_office, provider) -> Door:
    return Door(one_office, provider)


def test_who_the_provider_vouches_for_is_signed_in(door):
    browser = door.browser()
    assert "/sign-in/provider?next=/follow-ups" in browser.get("/sign-in?next=/follow-ups").text
    back = door.begin(browser, "?next=/follow-ups")
    assert back.startswith(f"{door.office.address}/sign-in/answer?")
    found = browser.get(back)
    assert found.status_code == 200
    assert 'content="0; url=/follow-ups"' in found.text
    cookies = found.headers.get_list("set-cookie")
    (session,) = [one.lower() for one in cookies if one.startswith(f"{COOKIE}=")]
    assert "httponly" in session
    assert "samesite=strict" in session
    me = browser.get("/api/me").json()
    assert (me["person"], me["role"]) == ("kim", "reviewer")
    assert browser.get("/api/trail").json()[0]["action"] == "signed in"
    # Nothing of the provider's or of the way there and back stays with the browser.
    assert set(browser.cookies) == {COOKIE}
    for text in (found.text, str(cookies)):
        assert SECRET not in text
        assert "id_token" not in text


def test_the_provider_is_asked_with_a_state_a_nonce_and_a_challenge_of_each_time(door):
    asked = []
    for _ in range(2):
        found = door.browser().get("/sign-in/provider")
        query = parse_qs(urlsplit(found.headers["location"]).query)
        assert query["response_type"] == ["code"]
        assert query["scope"] == ["openid"]
        assert query["redirect_uri"] == ["http://127.0.0.1:8000/sign-in/answer"]
        assert query["code_challenge_method"] == ["S256"]
        asked.append({query[name][0] for name in ("state", "nonce", "code_challenge")})
        cookie = found.headers["set-cookie"].lower()
        for part in ("httponly", "samesite=lax", "path=/sign-in", "max-age=600"):
            assert part in cookie
    assert not asked[0] & asked[1]
    assert min(len(one) for one in asked[0]) >= 20


@pytest.mark.parametrize("change", [
    lambda query: {**query, "state": "x" * 30}, lambda query: {**query, "state": ""},
    lambda query: {"code": query["code"]}, lambda query: {"state": query["state"]},
    lambda query: {**query, "code": "another"},
    lambda query: {"state": query["state"], "error": "access_denied"},
    lambda query: {**query, "iss": "https://other.example"}, lambda query: {}])
def test_an_answer_that_isnt_to_the_question_is_refused(door, change):
    browser = door.browser()
    parts = urlsplit(door.begin(browser))
    query = {name: one[-1] for name, one in parse_qs(parts.query).items()}
    assert door.refused(browser, f"{parts.path}?{urlencode(change(query))}")


def test_an_answer_to_another_browser_is_refused(door):
    """Whoever is sent the address of a finished sign-in isn't signed in by it as its maker."""
    back = door.begin(door.browser())
    assert door.refused(door.browser(), back)
    other = door.browser()
    door.begin(other)
    assert door.refused(other, back)


@pytest.mark.parametrize("once", [True, False])
def test_an_answer_is_good_once(door, provider, once):
    """Even with its cookie kept from before, and at a provider that gives two tokens for a code."""
    provider.once = once
    browser = door.browser()
    back = door.begin(browser)
    kept = dict(browser.cookies)
    assert browser.get(back).status_code == 200
    again = door.browser()
    assert door.refused(again, back)
    for name, value in kept.items():
        again.cookies.set(name, value)
    assert again.get(back).status_code == 403
    assert COOKIE not in again.cookies


def test_the_way_there_and_back_is_good_for_ten_minutes(door, monkeypatch):
    browser = door.browser()
    back = door.begin(browser)
    now = time.time
    monkeypatch.setattr("itsdangerous.timed.time.time", lambda: now() + 700)
    assert door.refused(browser, back)


@pytest.mark.parametrize("claims", [
    {"nonce": "another"}, {"nonce": None}, {"nonce": ""}, {"aud": "another"},
    {"aud": "another", "azp": CLIENT}, {"aud": ["another"]}, {"aud": ["another"], "azp": CLIENT},
    {"aud": [CLIENT, "another"]}, {"aud": [CLIENT, "another"], "azp": "another"}, {"aud": None},
    {"aud": {}}, {"iss": "https://other.example"}, {"iss": None}, {"exp": timedelta(seconds=-100)},
    {"exp": None}, {"exp": "soon"}, {"iat": timedelta(hours=2)}, {"nbf": timedelta(hours=2)},
    {"sub": None}, {"sub": ""}, {"sub": 5}, {"sub": ["subject-of-kim"]},
    {"sub": "subject-of-kim\n"}],
    ids=str)
def test_a_token_that_isnt_for_this_sign_in_is_refused(door, provider, claims):
    provider.claims = {
        name: int(time.time() + claim.total_seconds()) if isinstance(claim, timedelta) else claim
        for name, claim in claims.items()}
    browser = door.browser()
    assert door.refused(browser, door.begin(browser))


def test_a_list_of_audiences_needs_the_desk_as_its_party(door, provider):
    provider.claims = {"aud": [CLIENT, "another"], "azp": CLIENT}
    browser = door.browser()
    assert browser.get(door.begin(browser)).status_code == 200


def unsigned(claims):
    parts = [base64.urlsafe_b64encode(json.dumps(one).encode()).decode().rstrip("=")
             for one in ({"alg": "none", "typ": "JWT"}, claims)]
    return ".".join([*parts, ""])


@pytest.mark.parametrize("sign", [
    unsigned,
    lambda claims: jwt.encode({"alg": "HS256"}, claims, OctKey.import_key(SECRET)),
    lambda claims: jwt.encode({"alg": "ES256", "kid": "1"}, claims, ECKey.generate_key("P-256")),
    lambda claims: jwt.encode({"alg": "ES256", "kid": "2"}, claims, ECKey.generate_key("P-256")),
    lambda claims: "a.b.c", lambda claims: "", lambda claims: 5, lambda claims: None,
    lambda claims: {"a": 1}, lambda claims: "é" * 10],
    ids=["none", "shared", "foreign", "unknown", "dots", "blank", "number", "null", "object",
         "letters"])
@pytest.mark.filterwarnings("ignore::joserfc.errors.SecurityWarning")
def test_a_token_that_the_provider_didnt_sign_is_refused(door, provider, sign):
    """Also one without signature, or with one by the secret that both share, where it offers so."""
    provider.described = {"id_token_signing_alg_values_supported": ["none", "HS256", "ES256"]}
    provider.sign = sign
    browser = door.browser()
    assert door.refused(browser, door.begin(browser))


def test_a_token_of_access_alone_signs_nobody_in(door, provider):
    provider.token_names = ("access_token",)
    browser = door.browser()
    assert door.refused(browser, door.begin(browser))


def test_a_new_key_of_the_provider_is_fetched(door, provider):
    for kid in ("1", "2"):
        provider.key = ECKey.generate_key("P-256", {"kid": kid})
        browser = door.browser()
        assert browser.get(door.begin(browser)).status_code == 200
    assert provider.asked.count("/keys") == 2


def test_a_stranger_and_who_is_inactive_are_refused_alike(door, provider):
    """A provider adds nobody, whatever roles its tokens hold."""
    provider.subject = "subject-of-nobody"
    provider.claims = {"roles": ["administrator"], "groups": ["admin"], "name": "kim",
                       "preferred_username": "kim"}
    stranger = door.browser()
    found = [stranger.get(door.begin(stranger))]
    provider.subject = "subject-of-kim"
    with door.office.database.writing(COMMAND) as change:
        change_person(change, "kim", active=0)
    inactive = door.browser()
    found.append(inactive.get(door.begin(inactive)))
    assert [one.status_code for one in found] == [403, 403]
    assert found[0].text == found[1].text
    assert COOKIE not in stranger.cookies
    assert COOKIE not in inactive.cookies
    with door.office.database.reading() as connection:
        assert connection.exec_driver_sql("select count(*) from people").scalar_one() == 1


def test_the_same_subject_of_another_provider_is_a_stranger(door):
    with door.office.database.writing(COMMAND) as change:
        change_person(change, "kim", issuer="https://other.example")
    browser = door.browser()
    assert door.refused(browser, door.begin(browser))


@pytest.mark.parametrize("claim", ["email", "employee"])
def test_another_claim_may_say_who_somebody_is(one_office, provider, claim):
    door = Door(one_office, provider, claim)
    with one_office.database.writing(COMMAND) as change:
        change_person(change, "kim", subject="kim@office.example")
    provider.claims = {claim: "kim@office.example", "email_verified": True}
    browser = door.browser()
    assert browser.get(door.begin(browser)).status_code == 200
    if claim == "email":  # anybody may write an address into their account
        for verified in (None, False, "true"):
            provider.claims["email_verified"] = verified
            browser = door.browser()
            assert door.refused(browser, door.begin(browser))
    provider.claims = {}
    browser = door.browser()
    assert door.refused(browser, door.begin(browser))


def test_a_session_given_beforehand_isnt_taken_over_by_a_provider_either(door):
    browser = door.browser()
    browser.cookies.set(COOKIE, "chosen-by-another")
    found = browser.get(door.begin(browser))
    token = re.search(f"{COOKIE}=([^;]+)", str(found.headers.get_list("set-cookie"))).group(1)
    assert token != "chosen-by-another"
    victim = door.browser()
    victim.cookies.set(COOKIE, "chosen-by-another")
    assert victim.get("/api/me").status_code == 401


@pytest.mark.parametrize("wanted", ["//evil.example", "https://evil.example", "/\\evil.example"])
def test_the_provider_leads_only_to_the_desk_itself(door, wanted):
    browser = door.browser()
    found = browser.get(door.begin(browser, "?" + urlencode({"next": wanted})))
    assert 'content="0; url=/"' in found.text
    assert "evil" not in found.text


@pytest.mark.parametrize("described", [
    {"issuer": "https://other.example"}, {"issuer": None}, {"jwks_uri": None},
    {"token_endpoint": "http://other.example/token"}, {"jwks_uri": "file:///etc/passwd"},
    {"authorization_endpoint": "http://other.example"}, {"token_endpoint": 5},
    {"id_token_signing_alg_values_supported": ["none", "HS256"]}], ids=str)
def test_a_provider_that_describes_itself_wrong_isnt_used(door, provider, described):
    provider.described = described
    browser = door.browser()
    found = browser.get("/sign-in/provider")
    assert found.status_code == 502
    assert "set-cookie" not in found.headers or COOKIE not in found.headers["set-cookie"]
    provider.described = {}  # once it is mended it is used, without starting the desk again
    assert browser.get(door.begin(browser)).status_code == 200


def test_a_provider_that_is_down_is_said_so(door, provider):
    browser = door.browser()
    provider.broken = True
    assert browser.get("/sign-in/provider").status_code == 502
    provider.broken = False
    back = door.begin(browser)
    provider.broken = True  # between code and token: its keys can't be fetched
    assert door.refused(browser, back, 502)


def test_settings_of_a_provider_cant_turn_checks_off(door, provider):
    provider.described = {"verify": False, "transport": None, "trust_env": True, "proxy": "x",
                          "token_endpoint_auth_methods_supported": ["client_secret_post"]}
    browser = door.browser()
    assert browser.get(door.begin(browser)).status_code == 200


def test_a_session_by_a_provider_ends_as_any_other(door, monkeypatch):
    browser = door.browser()
    browser.get(door.begin(browser))
    token = browser.cookies[COOKIE]
    page = browser.get("/").text
    csrf = re.search('name="csrf_token" value="([^"]+)"', page).group(1)
    assert browser.post("/sign-out", data={"csrf_token": csrf}).status_code == 303
    again = door.browser()
    again.cookies.set(COOKIE, token)
    assert again.get("/api/me").status_code == 401
    late = door.browser()
    late.get(door.begin(late))
    now = door.office.database.clock
    monkeypatch.setattr(door.office.database, "clock", lambda: now() + timedelta(hours=11))
    assert late.get("/api/me").status_code == 401


def test_without_a_provider_there_are_no_such_addresses(one_office):
    browser = one_office.stranger()
    for path in ("/sign-in/provider", "/sign-in/answer?code=1&state=2"):
        assert browser.get(path).status_code == 404
    assert "/sign-in/provider" not in browser.get("/sign-in").text


# The file of a provider.

GOOD = 'issuer = "https://id.example"\nclient_id = "desk"\n'


def written(folder, text, secret: str | None = "s3cret\n", mode=0o600):
    (folder / "provider.toml").write_text(text)
    if secret is not None:
        (folder / "secret").write_text(secret)
        (folder / "secret").chmod(mode)
    return folder / "provider.toml"


def test_the_secret_comes_from_a_file_or_from_the_environment(tmp_path):
    path = written(tmp_path, GOOD + 'secret_file = "secret"\n')
    found = openid_settings(path, {})
    assert (found.issuer, found.client_id, found.claim, found.secret) == (
        "https://id.example", "desk", "sub", "s3cret")
    assert "s3cret" not in repr(found)
    with pytest.raises(Problem, match="twice"):
        openid_settings(path, {SECRET_VARIABLE: "x"})
    path = written(tmp_path, GOOD + 'claim = "email"\n')
    assert openid_settings(path, {SECRET_VARIABLE: "x"}).secret == "x"
    with pytest.raises(Problem, match="missing"):
        openid_settings(path, {})


@pytest.mark.parametrize(("secret", "mode", "what"), [
    ("s", 0o640, "mode 640"), ("s", 0o604, "mode 604"), ("s", 0o620, "mode 620"),
    ("", 0o600, "no secret"), ("a\nb", 0o600, "no secret"), ("é", 0o600, "no secret"),
    ("x" * 5000, 0o600, "no secret"), (None, 0, "can't be read")])
def test_a_secret_that_others_may_read_or_that_is_none_is_refused(tmp_path, secret, mode, what):
    path = written(tmp_path, GOOD + 'secret_file = "secret"\n', secret, mode)
    with pytest.raises(Problem, match=what):
        openid_settings(path, {})


@pytest.mark.parametrize("text", [
    "", 'issuer = "https://id.example"', GOOD + 'secret = "x"', GOOD + 'claim = ""',
    'issuer = "http://id.example"\nclient_id = "desk"',
    'issuer = "https://id.example?x=1"\nclient_id = "desk"',
    'issuer = "https://user@id.example"\nclient_id = "desk"',
    'issuer = "ftp://id.example"\nclient_id = "desk"', 'issuer = ""\nclient_id = "desk"',
    'issuer = "https://[id"\nclient_id = "desk"', GOOD + 'extra = 1', "not toml"])
def test_a_file_that_describes_no_provider_is_refused(tmp_path, text):
    with pytest.raises(Problem, match=r"provider\.toml"):
        openid_settings(written(tmp_path, text), {SECRET_VARIABLE: "x"})


# The commands.


def ran(folder, *arguments):
    return CliRunner().invoke(group, ["review", *arguments, "--store", str(folder)])


def test_a_person_is_added_and_changed_by_the_command(judged, tmp_path, monkeypatch):
    copytree(judged / "store", tmp_path / "store")
    store = tmp_path / "store"
    known = ("--issuer", "https://id.example", "--subject", "7")
    assert ran(store, "person", "add", "lee", "--role", "reviewer", *known).exit_code == 0
    taken = ran(store, "person", "add", "ray", "--role", "reviewer", *known)
    assert isinstance(taken.exception, Problem)
    assert "taken" in str(taken.exception)
    for wrong in (known[:2], known[2:], (*known[:3], "a\nb"), ()):
        found = ran(store, "person", "add", "ray", "--role", "reviewer", *wrong)
        assert isinstance(found.exception, Problem)
    assert ran(store, "person", "list").output == "lee: reviewer\n"
    assert ran(store, "person", "change", "lee", *known[:3], "8").exit_code == 0
    with closing(open_database(store)) as database:
        sign_in = SignIn(database)
        assert sign_in.with_subject("https://id.example", "7") is None
        assert sign_in.with_subject("https://id.example", "8").actor.name == "lee"
    path = written(tmp_path, GOOD, None)
    found = ran(store, "--no-browser", "--accounts", "--openid", str(path))
    assert "secret is missing" in str(found.exception)
    monkeypatch.setenv(SECRET_VARIABLE, "x")
    found = ran(store, "--no-browser", "--openid", str(path))
    assert "--accounts" in str(found.exception)
    monkeypatch.setitem(sys.modules, "authlib.integrations.starlette_client", None)
    monkeypatch.delitem(sys.modules, "loganalyze.review.access.openid_sign_in")
    found = ran(store, "--no-browser", "--accounts", "--openid", str(path))
    assert "loganalyze[openid]" in str(found.exception)
    for line in ("--openid FILE", "secret_file", SECRET_VARIABLE):
        assert line in " ".join(ran(store, "--help").output.split())

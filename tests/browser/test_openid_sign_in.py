"""Sign-in by a provider on another site than the desk, in a browser; axe on the way."""

from __future__ import annotations

import subprocess
import sys
from contextlib import contextmanager
from shutil import copytree

import pytest

from tests.browser.reviewed_desk import Seats, over_the_edge, served, violations
from tests.review.conftest import judged  # noqa: F401
from tests.review.openid_provider import CLIENT, SECRET, provider_running


@pytest.fixture(scope="module")
def met(judged, tmp_path_factory):  # noqa: F811
    """A provider, and the address of a desk that knows one of its people."""
    folder = tmp_path_factory.mktemp("met")
    store = copytree(judged / "store", folder / "store")
    with provider_running() as provider:
        # Another name of this machine is another site to a browser.
        provider.issuer = provider.issuer.replace("127.0.0.1", "localhost")
        subprocess.run([sys.executable, "-m", "loganalyze", "review", "person", "add", "kim",
                        "--store", str(store), "--role", "reviewer", "--issuer", provider.issuer,
                        "--subject", provider.subject], check=True, capture_output=True)
        (folder / "secret").write_text(SECRET)
        (folder / "secret").chmod(0o600)
        (folder / "provider.toml").write_text(
            f'issuer = "{provider.issuer}"\nclient_id = "{CLIENT}"\nsecret_file = "secret"\n')
        with contextmanager(served)(store, None, "--accounts", "--openid",
                                    str(folder / "provider.toml")) as address:
            yield provider, address


@pytest.fixture
def visitor(browser, met):
    """A page of somebody who hasn't signed in, at another width each time it is asked for."""
    provider, address = met
    provider.subject = "subject-of-kim"
    made = Seats(browser, address)
    yield made
    for context in made.contexts:
        context.close()
    assert made.wrong == []


def test_somebody_signs_in_by_the_provider_goes_on_and_signs_out(met, visitor):
    """The strict cookie of the session is set on the way back from another site, and holds."""
    _, address = met
    page = visitor.stranger()
    page.goto(f"{address}/follow-ups")
    page.wait_for_url(f"{address}/sign-in?next=*")
    assert violations(page) == []
    page.get_by_role("link", name="account").click()
    page.wait_for_url(f"{address}/follow-ups")
    assert page.get_by_text("kim (reviewer)").is_visible()
    page.reload()
    assert page.get_by_text("kim (reviewer)").is_visible()
    (cookie,) = page.context.cookies()
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{address}/sign-in")
    assert page.context.cookies() == []
    page.go_back()
    page.reload()
    page.wait_for_url(f"{address}/sign-in?next=*")


@pytest.mark.parametrize("width", [1440, 820])
def test_axe_finds_nothing_where_somebody_isnt_let_in(met, visitor, width):
    provider, address = met
    page = visitor.stranger(width)
    page.goto(f"{address}/sign-in")
    assert violations(page) == []
    assert not over_the_edge(page)
    page.get_by_label("Name").fill("kim")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("alert").wait_for()
    assert violations(page) == []
    provider.subject = "a stranger"
    for path in ("/sign-in/provider", "/sign-in/answer?code=1&state=2", "/nothing"):
        page.goto(address + path)
        page.get_by_role("alert").wait_for()
        assert violations(page) == [], path
        assert not over_the_edge(page)

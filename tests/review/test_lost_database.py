"""What a reviewer is told when the database's server goes away, and that the desk goes on."""

from __future__ import annotations

from html import unescape

import psycopg
import pytest

from loganalyze.problems import Problem
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application import review_desk
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.trail_entries import Actor
from tests.review.conftest import Office
from tests.review.postgresql_server import empty_database

NOTE = "Seen twice, <b> at 250 kt."
SAID = {"before": "Nothing of this was kept", "after": "It may be there or not"}


@pytest.fixture
def lost(judged, postgresql, monkeypatch):
    """A desk whose server ends all its connections before, or after, a note is written."""
    address = empty_database(postgresql, "lost")
    made = Office(judged / "store", open_database(address))
    write = review_desk.add_note

    def end_connections() -> None:
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute("select pg_terminate_backend(pid) from pg_stat_activity "
                               "where datname = 'lost' and pid != pg_backend_pid()")

    def ended(when: str):
        def add_note(*arguments):
            if when == "before":
                end_connections()
            found = write(*arguments)
            if when == "after":
                end_connections()
            return found

        monkeypatch.setattr(review_desk, "add_note", add_note)
        return made

    yield ended
    made.desk.close()


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_note_that_may_not_be_kept_is_said_so_and_the_desk_goes_on(lost, when, monkeypatch):
    office = lost(when)
    anne = office.person("anne", "reviewer")
    refused = office.form(anne, f"/cases/{office.key}/notes", note=NOTE)
    assert refused.status_code == 503
    assert refused.headers["retry-after"] == "5"
    page = unescape(refused.text)
    assert SAID[when] in page
    assert f"<pre>{NOTE}</pre>" in page
    assert f"<pre>{NOTE}</pre>" not in refused.text  # what somebody wrote is no markup
    told = anne.post(f"/api/cases/{office.key}/notes", json={"note": NOTE})
    assert (told.status_code, told.json()["code"]) == (
        503, {"before": "database lost", "after": "change uncertain"}[when])
    monkeypatch.undo()
    assert office.form(anne, f"/cases/{office.key}/notes", note="once").status_code == 303
    notes = anne.get(f"/api/cases/{office.key}").json()["record"]["notes"]
    assert [note["note"] for note in notes] == ["once"]


def test_who_asks_while_the_database_is_away_isnt_signed_out(judged, tmp_path):
    office = Office(judged / "store", open_database(tmp_path))
    anne = office.person("anne", "reviewer")
    office.database.close()
    (tmp_path / "review.sqlite").rename(tmp_path / "away.sqlite")
    (tmp_path / "review.sqlite").mkdir()
    for path in ("/", f"/cases/{office.key}", "/api/me"):
        assert anne.get(path).status_code == 503, path
    assert anne.get("/static/desk.css").status_code == 200
    refused = anne.post(f"/cases/{office.key}/notes", data={
        "csrf_token": anne.headers["x-csrf-token"], "note": NOTE})
    assert NOTE in unescape(refused.text)
    with pytest.raises(Problem, match=r"can't be reached, and nothing was kept.*whether it runs"), \
            office.database.writing(Actor("anne", "reviewer")):
        pass
    (tmp_path / "review.sqlite").rmdir()
    (tmp_path / "away.sqlite").rename(tmp_path / "review.sqlite")
    assert anne.get("/").status_code == 200
    office.desk.close()


def test_a_session_outlives_the_desk_where_people_have_accounts(office):
    cookie = office.person("anne", "reviewer").cookies["review_8000"]
    again = SignIn(office.database).find(cookie, None)
    assert (again.actor.name, again.actor.role) == ("anne", "reviewer")

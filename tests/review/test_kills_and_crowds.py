"""Small samples of the desk's studies: killed while it writes, and many people at once."""

from __future__ import annotations

from loganalyze.review.decisions.decision_database import open_database
from tests.review.crowd import crowd, summary
from tests.review.kill_study import study
from tests.review.large_store import write_large_store


def test_nothing_confirmed_is_lost_when_the_desk_is_killed(place):
    open_database(place).close()
    found = study(str(place), 3)
    assert (found.kills, found.lost) == (3, [])
    assert found.confirmed >= 3


def test_many_reviewers_at_once_lose_and_cross_nothing(place, tmp_path):
    write_large_store(tmp_path / "store", 500, samples=False)
    found = crowd(tmp_path / "store", open_database(place), reviewers=4, rounds=4)
    assert found.faults == []
    assert found.confirmed >= 8
    assert "list" in summary(found)

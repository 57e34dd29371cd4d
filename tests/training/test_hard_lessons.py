"""A small sample of lessons in turbulence, with go-arounds, and with slow changes of speed."""

import pytest

from tests.training.hard_lessons import scored


@pytest.mark.parametrize(("what", "seed", "most"), [
    ("turbulence", 21000, 5), ("go-arounds", 11001, 0), ("slow changes", 11001, 4)])
def test_few_exercises_are_named_that_nobody_flew(what, seed, most):
    score = scored(what, 8, seed)
    false = [note for note in score.notes if " false " in note and (
        "speed change" in note or "limit approach" in note)]
    assert len(false) <= most, false
    assert sum(score.hits.values()) >= 0.6 * sum(score.true.values())


def test_gusts_don_t_cut_a_climb_into_pieces():
    score = scored("turbulence", 8, 21000)
    climbs = [note for note in score.notes if "at constant CAS" in note and "edges" not in note]
    assert len(climbs) <= 2, climbs
    assert score.hits["climb at constant CAS"] + score.hits["descent at constant CAS"] >= 12

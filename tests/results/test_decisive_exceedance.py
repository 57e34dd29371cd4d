"""The order in which exceedances decide, at its edges."""

from types import SimpleNamespace

import pytest

from loganalyze import OUTCOMES
from loganalyze.results.decisive_exceedance import ORDER, decisive_first


def told(*words):
    """Exceedances of these outcomes as displayed, and of the opposite order as flown."""
    return [SimpleNamespace(displayed=SimpleNamespace(word=word, reason=""),
                            flown=SimpleNamespace(word=ORDER[-1 - ORDER.index(word)]))
            for word in words]


def test_each_outcome_has_its_place():
    assert sorted(ORDER) == sorted(OUTCOMES)


def test_without_an_assessment_the_greatest_excess_is_first():
    assert decisive_first([1.0, None, 3.0, float("nan"), 3.0], [], "displayed") == [2, 4, 0, 1, 3]


@pytest.mark.parametrize(("basis", "first"), [("displayed", 1), ("flown", 2)])
def test_a_proven_one_is_before_a_greater_one_in_doubt(basis, first):
    some = told("not determinable", "proven over", "proven under", "over but not proven")
    assert decisive_first([64.0, 3.0, 20.0, 9.0], some, basis)[0] == first


def test_of_those_equally_sure_the_greatest_is_first():
    some = told("proven over", "not determinable", "proven over", "not determinable")
    assert decisive_first([3.0, 20.0, 5.0, 64.0], some, "displayed") == [2, 0, 3, 1]

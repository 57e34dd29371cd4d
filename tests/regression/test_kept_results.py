"""Results of known flights are those that are kept, field by field.

What is kept shows a change, not correctness. `python -m tests.regression --write` keeps the
results anew; each such change must be reviewed field by field.
"""

from __future__ import annotations

import json

import pytest

from loganalyze.testing import engine
from tests.regression.families import FAMILIES
from tests.regression.kept_results import (
    HOW_TO_JUDGE,
    KEPT,
    Facts,
    differences,
    merged,
    results_of,
    text_of,
)

SHOWN = 30


def found_in(family: str) -> dict[str, Facts]:
    """Return the results of a family's flights, as they are now."""
    return {name: results_of(flight) for name, flight in FAMILIES[family]().items()}


def changes_of(family: str) -> list[str]:
    """Name each field in which a family's results differ from those kept."""
    kept = json.loads((KEPT / f"{family}.json").read_text())
    return differences(kept, found_in(family))


@pytest.mark.parametrize("family", FAMILIES)
def test_results_are_those_kept(family):
    found = changes_of(family)
    more = [f"... and {len(found) - SHOWN} more"] if len(found) > SHOWN else []
    assert not found, "\n".join([
        f"{len(found)} fields of {family} differ:", *found[:SHOWN], *more, HOW_TO_JUDGE])


@pytest.mark.parametrize("which", ["arrays", "compiled"])
@pytest.mark.parametrize("family", [
    "spikes", "kinds_of_limits", "ranges", "conditions", "tables", "random_judged_1",
    "random_judged_2"])
def test_results_are_the_same_in_small_blocks(family, which):
    if which == "compiled":
        pytest.importorskip("numba")
    with engine(which, block=64):
        assert changes_of(family) == []


def test_every_kept_file_is_of_a_family():
    assert {path.stem for path in KEPT.glob("*.json")} == set(FAMILIES)


def test_a_change_is_named_by_flight_and_field():
    before = {"a": {"x": [{"y": 1.0, "z": 2.0}]}, "b": {"x": [{"y": 1.0}]}}
    after = {"a": {"x": [{"y": 1.0, "z": 2.0 + 1e-7}]}, "b": {"x": [{"y": 1.0}, {"y": 3}]}}
    kept = json.loads(text_of(merged(before)))
    assert differences(kept, before) == []
    assert differences(kept, after) == ["a: x.1.z: kept 2.0, now 2.0000001",
                                        "b: x.2.y: kept nothing, now 3"]
    assert differences(kept, {"a": before["a"]}) == ["flights: kept ['a', 'b'], now ['a']"]


@pytest.mark.parametrize("value", [250.0, 1 / 3, 1.0000000049, 2e-9, -1e6 / 7])
def test_rounding_of_another_version_is_no_change(value):
    kept = json.loads(text_of(merged({"a": {"x": value}, "b": {"x": [value, None]}})))
    same, other = value * (1 + 4e-9), value * (1 + 2e-8) + 2e-8
    assert differences(kept, {"a": {"x": same}, "b": {"x": [same, None]}}) == []
    assert len(differences(kept, {"a": {"x": other}, "b": {"x": [other, None]}})) == 2


def test_what_most_flights_share_is_kept_once():
    table = merged({str(k): {"x": 1.0 if k < 3 else 2.0, "y": k} for k in range(4)})
    assert table["results"] == {"x": {"usual": 1.0, "but": {"4": 2.0}},
                                "y": {"each": [0, 1, 2, 3]}}

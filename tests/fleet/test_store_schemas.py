"""The schema of each dataset of a store: as stored, and as a store is."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.dataset as pads
import pytest

import loganalyze
from loganalyze.fleet.store.store_schemas import store_schemas
from loganalyze.show.files.result_schemas import schema_text

STORED = Path(__file__).parents[2] / "schemas" / "store"
KINDS = {"string": pa.types.is_string, "integer": pa.types.is_integer,
         "number": pa.types.is_floating, "boolean": pa.types.is_boolean,
         "datetime": pa.types.is_timestamp}


@pytest.mark.parametrize("name", sorted(store_schemas()))
def test_the_stored_schema_has_not_drifted(name):
    assert (STORED / name).read_text(encoding="utf-8") == schema_text(store_schemas()[name]), (
        "run python -m loganalyze.fleet.store.store_schemas schemas/store and commit it")


def test_no_schema_is_of_a_dataset_that_is_gone():
    assert {path.name for path in STORED.iterdir()} == {*store_schemas()}


def test_a_store_is_as_its_schemas_say(fleet, sheet, tmp_path):
    store = tmp_path / "store"
    loganalyze.run_fleet([str(fleet)], store, limits=sheet, workers=0, samples="all",
                         protect=tmp_path / "a.key")
    datasets = json.loads((store / "store.json").read_text())["datasets"]
    assert {f"{name}.schema.json" for name in datasets} == {*store_schemas()}
    filled = 0
    for name in datasets:
        table = pads.dataset(store / name, partitioning="hive").to_table()
        fields = store_schemas()[f"{name}.schema.json"]["fields"]
        assert [one["name"] for one in fields] == table.column_names
        filled += bool(table.num_rows)
        for one in fields:
            column = table[one["name"]]
            assert KINDS[one["type"]](column.type), (name, one)
            rules = one.get("constraints", {})
            if rules.get("required") and name != "samples":
                assert not column.null_count, (name, one)
            if "enum" in rules:
                assert {*column.to_pylist()} <= {*rules["enum"], None}, (name, one)
    assert filled >= 6

import json
from dataclasses import asdict, fields
from pathlib import Path

import jsonschema
import pytest

from loganalyze import ExceedanceFacts, write_results
from loganalyze.show.files.result_schemas import schema_text, schemas
from loganalyze.show.tables.exceedance_table import EXCEEDANCE_COLUMNS, OWN_COLUMNS

STORED = Path(__file__).parents[2] / "schemas"


@pytest.mark.parametrize("name", sorted(schemas()))
def test_the_stored_schema_has_not_drifted(name):
    assert (STORED / name).read_text(encoding="utf-8") == schema_text(schemas()[name]), (
        "run python -m loganalyze.show.files.result_schemas schemas and commit what it wrote")


def test_a_summary_fits_its_schema(analysis, sheet_path, tmp_path):
    summary = write_results(analysis, tmp_path / "out", limits=sheet_path)
    schema = schemas()["summary.schema.json"]
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(json.loads(summary.json()), schema)
    spoiled = asdict(summary)
    spoiled["flights"][0]["judged_s"] = "long"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(spoiled, schema)


def test_columns_and_facts_of_an_exceedance_are_one_list():
    assert [field.name for field in fields(ExceedanceFacts)] == [
        column.name for column in (*EXCEEDANCE_COLUMNS, *OWN_COLUMNS)]


def test_every_schema_is_json_to_the_letter():
    # RFC 8259, section 6: NaN and Infinity are no numbers.
    def refused(name):
        raise AssertionError(f"{name} is no JSON")

    files = sorted(STORED.glob("*.json"))
    assert len(files) >= 7
    for path in files:
        json.loads(path.read_text("utf-8"), parse_constant=refused)

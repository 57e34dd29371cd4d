"""The JSON Schemas of the files that people write.

Export them with `python -m loganalyze.show.files.sheet_schemas FOLDER`.

An editor checks a sheet against them as it is written. What a schema can't express (rows that
rise, names given once, a range that isn't empty, units that suit their channel) only the
program itself checks.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from loganalyze.sheets.columns_file import ColumnsFile
from loganalyze.sheets.fleet_file import FleetFile
from loganalyze.sheets.lesson.schedule_file import Schedule
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.sheets.priors_file import PriorsFile
from loganalyze.sheets.toml_models import Sheet

FILES: dict[str, type[Sheet]] = {
    "columns-file.schema.json": ColumnsFile,
    "fleet-file.schema.json": FleetFile,
    "limits-sheet.schema.json": LimitsSheet,
    "priors-file.schema.json": PriorsFile,
    "schedule.schema.json": Schedule,
}


class _WithoutNull(GenerateJsonSchema):
    """TOML has no null: a key that isn't given is absent, so null is neither type nor default."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        if schema.get("default") is None:
            return self.generate_inner(schema["schema"])
        return super().default_schema(schema)


def schema_of(model: type[Sheet]) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a file that people write."""
    schema = model.model_json_schema(schema_generator=_WithoutNull)
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema}


def written_schema(model: type[Sheet]) -> str:
    """Return the schema as written in its file."""
    return json.dumps(schema_of(model), indent=2, ensure_ascii=False) + "\n"


def main(folder: str) -> None:
    """Write all schemas into a folder."""
    for name, model in FILES.items():
        (Path(folder) / name).write_text(written_schema(model), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1])

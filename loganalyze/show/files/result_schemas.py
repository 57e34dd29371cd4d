"""JSON Schemas of the results, generated from the definitions that write them."""

from __future__ import annotations

import json
import sys
from dataclasses import fields
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from loganalyze.results import assessment_results, evidence
from loganalyze.show.tables.exercise_tables import LESSON_TABLES
from loganalyze.show.tables.lesson_facts import LessonFacts
from loganalyze.show.tables.result_tables import TABLES
from loganalyze.show.tables.sample_table import sample_columns
from loganalyze.show.tables.table_columns import table_schema
from loganalyze.text import facts, recording_facts
from loganalyze.training.progress import LessonRecord, Progress


def schemas() -> dict[str, dict[str, Any]]:
    """Return each schema by its file name."""
    summary = TypeAdapter(facts.Summary).json_schema(mode="serialization")
    for name, definition in summary["$defs"].items():
        result = getattr(assessment_results, name, None) or getattr(evidence, name, None)
        if result is not None or name == "AssessmentFacts":
            _allow_null(definition)
        made = result or getattr(facts, name, None) or getattr(recording_facts, name, None)
        if made is not None and "required" in definition:
            left_out = {field.name for field in fields(made) if field.metadata.get("left out")}
            definition["required"] = [
                key for key in definition["required"] if key not in left_out]
    progress = TypeAdapter(Progress).json_schema(mode="serialization")
    _allow_null(progress)
    draft = "https://json-schema.org/draft/2020-12/schema"
    return {
        "lesson-record.schema.json": {"$schema": draft, **LessonRecord.model_json_schema()},
        "progress.schema.json": {"$schema": draft, **progress, "title": "progress.json"},
        "summary.schema.json": {
            "$schema": "https://json-schema.org/draft/2020-12/schema", **summary,
            "title": "summary.json",
        },
        "lesson.schema.json": _lesson_schema(),
        **{f"{table.name}.schema.json": table_schema(
            table.columns, f"{table.name}.csv and {table.name}.parquet")
            for table in LESSON_TABLES},
        "samples.schema.json": table_schema(sample_columns(["<limit>"]), "samples.parquet"),
        **{f"{table.name}.schema.json": table_schema(
            table.columns, f"{table.name}.csv and {table.name}.parquet") for table in TABLES},
    }


def _lesson_schema() -> dict[str, Any]:
    schema = TypeAdapter(LessonFacts).json_schema(mode="serialization")
    _allow_null(schema)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema,
            "title": "lesson.json"}


def _allow_null(schema: Any) -> None:
    """Let every number be null: an assessment's numbers are NaN, and so null, where unknown."""
    if isinstance(schema, dict):
        if schema.get("type") == "number":
            schema["type"] = ["number", "null"]
            if schema.get("default") != schema.get("default"):
                schema["default"] = None  # NaN isn't JSON
        for part in schema.values():
            _allow_null(part)
    elif isinstance(schema, list):
        for part in schema:
            _allow_null(part)


def schema_text(schema: dict[str, Any]) -> str:
    """Return a schema as the text of its file."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    for name, schema in schemas().items():
        (Path(sys.argv[1]) / name).write_text(schema_text(schema), encoding="utf-8")

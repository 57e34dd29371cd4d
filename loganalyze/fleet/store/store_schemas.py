"""Table Schemas of a store's datasets, made from the definitions that write them.

    python -m loganalyze.fleet.store.store_schemas schemas/store
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from loganalyze.fleet.judging.evidence_rows import SECOND_COLUMNS
from loganalyze.fleet.judging.log_judging import row_tables
from loganalyze.fleet.protection.pseudonyms import IDENTITIES, IDENTITY_COLUMNS
from loganalyze.fleet.store.store_layout import (
    LAYOUT,
    SAMPLES,
    SMALL,
    dataset_columns,
    sample_store_schema,
)
from loganalyze.show.files.result_schemas import schema_text
from loganalyze.show.tables.sample_table import sample_columns
from loganalyze.show.tables.table_columns import Column, table_schema

PARTITIONS = (
    Column("year", "integer", "", "year of the log's first flight, 0 without a date; a folder "
           "year=... in place of a column of the files", True),
    Column("month", "integer", "", "its month, 0 without a date; likewise", True),
)


def store_schemas() -> dict[str, dict[str, Any]]:
    """Return the schema of each dataset, by its file name."""
    columns: dict[str, tuple[Column, ...]] = {
        table.name: dataset_columns(table) for table in row_tables()}
    columns[SAMPLES] = _sample_columns()
    columns |= SMALL
    columns[IDENTITIES] = IDENTITY_COLUMNS
    return {f"{name}.schema.json": {"layout": LAYOUT, **table_schema(
        (*inside, *PARTITIONS), f"dataset {name} of a store")}
        for name, inside in columns.items()}


def _sample_columns() -> tuple[Column, ...]:
    known = {column.name: column for column in (*sample_columns(()), *SECOND_COLUMNS)}
    return tuple(known.get(field.name) or Column(
        field.name, "string", "", field.metadata[b"description"].decode(), True)
        for field in sample_store_schema())


if __name__ == "__main__":
    for name, schema in store_schemas().items():
        (Path(sys.argv[1]) / name).write_text(schema_text(schema), encoding="utf-8")

"""What lies where in a store: its datasets, their columns, and the version of both."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pyarrow as pa

from loganalyze.fleet.judging.evidence_rows import SECOND_COLUMNS, SECOND_FIELDS
from loganalyze.fleet.judging.flight_rows import (
    FLIGHT_KEY,
    FLIGHTS,
    PROBLEM_COLUMNS,
    PROBLEMS,
    RECORD_COLUMNS,
    RETURNED,
    RETURNED_COLUMNS,
)
from loganalyze.fleet.judging.log_judging import row_tables
from loganalyze.fleet.protection.pseudonyms import IDENTITIES
from loganalyze.fleet.protection.secret_key import SecretKey
from loganalyze.problems import Problem
from loganalyze.show.tables.sample_table import sample_schema
from loganalyze.show.tables.table_columns import Column, ResultTable, metadata

LAYOUT = 5
"""Version of the layout; it rises when a dataset or column is added, renamed or taken away."""
ABOUT = "store.json"
UNDATED = (0, 0)
"""Year and month of logs without a date."""
EMPTY_SHARD = "000000-000000"
"""The name of the shard without rows that lets an empty dataset be read."""
SAMPLES = "samples"
EXPIRED = "expired"
EXPIRED_COLUMNS = (
    Column("log_digest", "string", "", "hash of the `log_sha256` of a log whose flights were "
           "deleted for their age: it isn't judged again", True),
)
SMALL: dict[str, tuple[Column, ...]] = {
    PROBLEMS: PROBLEM_COLUMNS, RETURNED: RETURNED_COLUMNS, EXPIRED: EXPIRED_COLUMNS}
"""Datasets of one file each, which is replaced whole."""
PROTECTED_BY = "protected_by"
"""What `store.json` says of a protected store: the fingerprint of its key."""


def dataset_names() -> tuple[str, ...]:
    """Return the names of all datasets, that of `flights` last: its shard is written last."""
    return (*(table.name for table in row_tables() if table is not FLIGHTS), SAMPLES,
            FLIGHTS.name)


def dataset_columns(table: ResultTable) -> tuple[Column, ...]:
    """Return the columns of a table in the store."""
    extra = RECORD_COLUMNS if table is FLIGHTS else ()
    return (FLIGHT_KEY, *table.columns, *extra)


def sample_store_schema() -> pa.Schema:
    """Return the schema of `samples`: those of any sheet, without the state of single limits.

    With what another recorded channel says around exceedances.
    """
    fields = [pa.field(FLIGHT_KEY.name, pa.string(), metadata=metadata(FLIGHT_KEY))]
    for field in sample_schema(()):
        kind = pa.string() if pa.types.is_dictionary(field.type) else field.type
        if field.name != "state":
            fields.append(pa.field(field.name, kind, metadata=field.metadata))
    fields += [pa.field(column.name, kind, metadata=metadata(column))
               for column, kind in zip(SECOND_COLUMNS, SECOND_FIELDS, strict=True)]
    return pa.schema(fields)


def partition(folder: Path, dataset: str, year: int, month: int) -> Path:
    """Return the folder of a month's shards."""
    return folder / dataset / f"year={year}" / f"month={month}"


def single_file(folder: Path, dataset: str) -> Path:
    """Return the file of a dataset that is there from the beginning."""
    return partition(folder, dataset, *UNDATED) / f"{EMPTY_SHARD}.parquet"


def about(key: SecretKey | None = None) -> dict[str, Any]:
    """Return what `store.json` says; every run of a program of this layout writes the same."""
    protected = {} if key is None else {PROTECTED_BY: key.fingerprint}
    return {"what": "a store of judged flights", "layout": LAYOUT, **protected,
            "datasets": [*dataset_names(), *SMALL, *([IDENTITIES] if key else [])],
            "partitions": ["year", "month"]}


def is_protected(folder: Path) -> bool:
    """Whether a store holds pseudonyms instead of names; raises Problem where it is none."""
    return PROTECTED_BY in check_store(folder)


def check_store(folder: Path) -> dict[str, Any]:
    """Return what `store.json` says; refuse a folder without one, or of another layout.

    Raises
    ------
    Problem
        Naming what is there instead.
    """
    if not folder.is_dir():
        raise Problem("there is no store in this folder", str(folder),
                      "run loganalyze fleet first, or check --store")
    try:
        said: dict[str, Any] = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
        layout = said["layout"]
    except (OSError, ValueError, KeyError, TypeError):
        raise Problem(f"the folder holds no {ABOUT}, so it is no store", str(folder),
                      "give another --store") from None
    if layout != LAYOUT:
        raise Problem(f"the store has layout {layout}, and this program writes {LAYOUT}",
                      str(folder), "judge the logs into a new store")
    return said

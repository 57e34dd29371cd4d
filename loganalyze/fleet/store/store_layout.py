"""What lies where in a store: its datasets, their columns, and the version of both."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pyarrow as pa

from loganalyze.fleet.judging.flight_rows import (
    FLIGHT_KEY,
    FLIGHTS,
    PROBLEMS,
    RECORD_COLUMNS,
    RETURNED,
)
from loganalyze.fleet.judging.log_judging import row_tables
from loganalyze.problems import Problem
from loganalyze.show.tables.sample_table import sample_schema
from loganalyze.show.tables.table_columns import Column, ResultTable, metadata

LAYOUT = 2
"""Version of the layout; it rises when a dataset or column is added, renamed or taken away."""
ABOUT = "store.json"
SAMPLES = "samples"


def dataset_names() -> tuple[str, ...]:
    """Return the names of all datasets, that of `flights` last: its shard is written last."""
    return (*(table.name for table in row_tables() if table is not FLIGHTS), SAMPLES,
            FLIGHTS.name)


def dataset_columns(table: ResultTable) -> tuple[Column, ...]:
    """Return the columns of a table in the store."""
    extra = RECORD_COLUMNS if table is FLIGHTS else ()
    return (FLIGHT_KEY, *table.columns, *extra)


def sample_store_schema() -> pa.Schema:
    """Return the schema of `samples`: those of any sheet, without the state of single limits."""
    fields = [pa.field(FLIGHT_KEY.name, pa.string(), metadata=metadata(FLIGHT_KEY))]
    for one in sample_schema(()):
        kind = pa.string() if pa.types.is_dictionary(one.type) else one.type
        if one.name != "state":
            fields.append(pa.field(one.name, kind, metadata=one.metadata))
    return pa.schema(fields)


def partition(folder: Path, dataset: str, year: int, month: int) -> Path:
    """Return the folder of a month's shards."""
    return folder / dataset / f"year={year}" / f"month={month}"


def about() -> dict[str, Any]:
    """Return what `store.json` says; every run of a program of this layout writes the same."""
    return {"what": "a store of judged flights", "layout": LAYOUT,
            "datasets": [*dataset_names(), PROBLEMS, RETURNED],
            "partitions": ["year", "month"]}


def check_store(folder: Path) -> None:
    """Refuse a folder that is none of a store, or one of another layout.

    Raises
    ------
    Problem
        Naming what is there instead.
    """
    if not folder.is_dir():
        raise Problem("there is no store in this folder", str(folder),
                      "run loganalyze fleet first, or check --store")
    try:
        said = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
        layout = said["layout"]
    except (OSError, ValueError, KeyError, TypeError):
        raise Problem(f"the folder holds no {ABOUT}, so it is no store", str(folder),
                      "give another --store") from None
    if layout != LAYOUT:
        raise Problem(f"the store has layout {layout}, and this program writes {LAYOUT}",
                      str(folder), "judge the logs into a new store")

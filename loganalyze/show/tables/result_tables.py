"""The registry of the tables that every folder of results holds: one line adds one."""

from __future__ import annotations

from loganalyze.show.tables.ceiling_table import CEILINGS
from loganalyze.show.tables.contribution_table import CONTRIBUTIONS
from loganalyze.show.tables.exceedance_table import EXCEEDANCES
from loganalyze.show.tables.near_table import NEAR
from loganalyze.show.tables.table_columns import ResultTable

TABLES = [EXCEEDANCES, NEAR, CONTRIBUTIONS, CEILINGS]
"""All tables; `register` and `withdraw` change them."""


def register(table: ResultTable) -> None:
    """Add a table to every folder that follows; ValueError where its name is taken."""
    if table.name in [registered.name for registered in TABLES]:
        raise ValueError(f"there is a table {table.name} already")
    TABLES.append(table)


def withdraw(table: ResultTable) -> None:
    """Take a table out again; ValueError where it isn't there."""
    TABLES.remove(table)

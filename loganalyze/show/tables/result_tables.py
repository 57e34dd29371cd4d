"""The registry of the tables that every folder of results holds: one line adds one."""

from __future__ import annotations

from loganalyze.show.tables.contribution_table import CONTRIBUTIONS
from loganalyze.show.tables.exceedance_table import EXCEEDANCES
from loganalyze.show.tables.near_table import NEAR

TABLES = (EXCEEDANCES, NEAR, CONTRIBUTIONS)

"""``training``: how a fleet's flights were flown against a schedule, a row a flight and measure.

Nothing in it says who flew. Without a schedule in the fleet file it has no rows and costs nothing.
"""

from __future__ import annotations

from loganalyze.show.tables.table_columns import Column, ResultTable

TRAINING_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("exercise", "string", "", "kind of exercise, or part of the schedule", True),
    Column("measure", "string", "", "name of the measure, ending with its unit", True),
    Column("value", "number", "", "its mean over the flight's exercises of that kind, in the unit "
           "that the name ends with", True),
    Column("uncertainty", "number", "", "standard uncertainty by the measurement"),
    Column("count", "integer", "", "over so many exercises", True),
)

TRAINING = ResultTable("training", TRAINING_COLUMNS, lambda judged, facts: ())
"""Its rows come from `training_rows.training_rows`, since only a run knows the schedule."""

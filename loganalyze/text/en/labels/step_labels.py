"""The steps of an analysis and what they counted, by name."""

from __future__ import annotations

from loganalyze.text.en.labels.report_labels import HIDDEN_COLUMN
from loganalyze.text.en.sentences.reading_text import ROW_FAULTS

COUNTS: dict[str, str] = {
    "rows": "rows",
    "kept": "kept",
    "spread over a coarse stamp": "spread over a coarse stamp",
    "lines without a sample": "lines without a sample",
    "damaged lines": "damaged lines",
    "ground running before, of no flight": "ground running before, of no flight",
    **{f"left out, {reason}": f"left out, {words}" for reason, words in ROW_FAULTS.items()},
}
"""What the readers count, by code."""

COUNTED_IN: dict[str, str] = {
    "fill values in ": "fill values in {column}",
    "damaged cells in ": "damaged cells in {column}",
}
"""What they count by column, by the start of the code; the column's name follows, quoted."""

STEPS: dict[str, str] = {
    "read": "Read", "screening": "Screening", "judgement": "Judgement", "decision": "Decision",
    "uncertainty": "Uncertainty", "assurance": "Assurance", "phases": "Phases",
    "approach": "Approach", "measures": "Measures", "warnings": "Warnings",
}
"""The steps of an analysis, by name."""


def counted(code: str, hidden: bool = False) -> str:
    """Return what was counted while reading; `hidden` : without a column's name."""
    start = next((suffix for suffix in COUNTED_IN if code.startswith(suffix)), None)
    if start is None:
        return COUNTS.get(code, code)
    column = HIDDEN_COLUMN if hidden else code.removeprefix(start)
    return COUNTED_IN[start].format(column=column)


def step_count(step: str, code: str, hidden: bool = False) -> str:
    """Return what a step of the analysis counted, for a heading."""
    return f"{STEPS[step]}: {counted(code, hidden)}"

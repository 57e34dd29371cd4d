"""Tables whose cells blanks hold apart: names wider than their values, and units rows."""

from __future__ import annotations

from pathlib import Path

import damage_matrix
import exporting
import numpy as np
import pytest
from exporting import BLANK_FORMS, Habits

from loganalyze import read_log

CASES = [
    *(Habits(form, heading=heading, clock="elapsed s")
      for form in BLANK_FORMS for heading in exporting.HEADINGS),
    *(Habits(form, lead=lead, heading="units row", clock="date and time")
      for form in BLANK_FORMS for lead in exporting.LEADS),
    # A stamp of two words, and names that hold as many words as the rows.
    Habits("two blanks", heading="suffix", clock="ISO with offset"),
    Habits("fixed width, decimal comma", heading="suffix", clock="ISO with offset"),
]


@pytest.mark.parametrize("how", CASES, ids=lambda how: f"{how.form}, {how.heading}, {how.lead}")
def test_a_table_of_blanks_holds_what_was_written(how: Habits, tmp_path: Path) -> None:
    at, values = damage_matrix.flight(np.random.default_rng(1), 1.0)
    written = exporting.export(tmp_path, at, values, how)
    exporting.check(read_log(written.path, written.columns), written, at, values)

"""How the files of the gallery are interpreted is said in sentences, with or without names."""

from __future__ import annotations

import pytest
from gallery.cases import CASES, Case

from loganalyze import read_log
from loganalyze.text.language import reading_text


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.file)
def test_what_was_inferred_needs_no_name_to_be_said(case: Case) -> None:
    log = read_log(case.path, case.columns)
    named, hidden = (reading_text.sentences(log.source.inferred, hide) for hide in (False, True))
    assert bool(named) == bool(hidden)
    for one in (*named, *hidden):
        assert one[0] == one[0].upper()
        assert one.endswith(".")
        assert "{" not in one
    for channel in log.channels.values():
        assert reading_text.known_by(channel)
        assert not any(f'"{channel.column}"' in one for one in hidden)
    assert not any(case.path.name in one for one in hidden)

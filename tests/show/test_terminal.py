"""What is printed about a log where much was found."""

from dataclasses import replace

from loganalyze.show import wording
from loganalyze.show.summary import summarise
from loganalyze.show.terminal import log_lines
from loganalyze.show.wording.presentation import Presentation

from .made import assessment_of


def test_what_isnt_listed_is_counted(analysis):
    one = assessment_of(analysis)
    near = tuple(replace(one.near[0], time_s=float(i)) for i in range(wording.LISTED + 2))
    said = [line.text for line in log_lines(
        "a.csv", "b.toml", summarise([replace(one, near=near)]), Presentation())]
    assert sum(line.startswith("Near: MMO") for line in said) == wording.LISTED
    assert "The other 2 stretches that came near are less likely to have been over." in said
    fewer = [line.text for line in log_lines("a.csv", "b.toml", summarise([one]), Presentation())]
    assert not any("came near are" in line for line in fewer)

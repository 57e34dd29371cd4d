"""What is printed about a log where much was found."""

from dataclasses import replace

from loganalyze import Presentation, summarise
from loganalyze.show.terminal.terminal_lines import log_lines
from loganalyze.text.language import verdict_sentences

from .made import assessment_of


def test_what_isnt_listed_is_counted(analysis):
    one = assessment_of(analysis)
    near = tuple(replace(one.near[0], time_s=float(i)) for i in range(verdict_sentences.LISTED + 2))
    said = [line.text for line in log_lines(
        "a.csv", "b.toml", summarise([replace(one, near=near)]), Presentation())]
    assert sum(line.startswith("Near: MMO") for line in said) == verdict_sentences.LISTED
    assert "The other 2 stretches that came near are less likely to have been over." in said
    fewer = [line.text for line in log_lines("a.csv", "b.toml", summarise([one]), Presentation())]
    assert not any("came near are" in line for line in fewer)


def test_the_prior_is_named_once_or_where_it_is_not_the_flat_one(analysis):
    one = assessment_of(analysis)
    said = [line.text for line in log_lines("a.csv", "b.toml", summarise([one]), Presentation(),
                                            "verbose")]
    assert sum("no excess is taken as likelier than another" in line for line in said) == 1
    fleet = replace(one, near=(), exceedances=tuple(
        replace(each, displayed=replace(each.displayed, prior="our fleet"),
                flown=replace(each.flown, prior="our fleet")) for each in one.exceedances))
    said = [line.text for line in log_lines("a.csv", "b.toml", summarise([fleet]), Presentation(),
                                            "verbose")]
    assert not any("likelier than another" in line for line in said)
    named = [line for line in said if "probability more than 99 % (prior: our fleet)." in line]
    assert len(named) == 2 * len(one.exceedances)

"""What speaks for and against an exceedance, as sentences."""

import pytest

from loganalyze import (
    CANT_TELL,
    CONFIRMS,
    CONFIRMS_LESS,
    CONTRADICTS,
    KMH_METRES,
    Edge,
    Evidence,
    Presentation,
    Reference,
)
from loganalyze.results import evidence as codes
from loganalyze.text.language import corroboration_text, report_labels


@pytest.mark.parametrize(("one", "said"), [
    (Reference("mach", "airspeed", CONTRADICTS, 64.1, 2.9, -22.4, 8),
     "The recorded Mach number contradicts it: the airspeed reads 64.1 kt more than it says, of "
     "which noise, steps, lag and drift explain at most 2.9 kt; by that, the speed stayed 22.4 kt "
     "under."),
    (Reference("true_airspeed", "airspeed", CONFIRMS, 0.4, 3.0, 24.0, 30),
     "The recorded true airspeed confirms it: by that, the limit was exceeded by 24.0 kt."),
    (Reference("calibrated_airspeed_2", "airspeed", CONFIRMS_LESS, 64.0, 2.0, 10.0, 6),
     "The recorded calibrated airspeed, source 2 confirms that the limit was exceeded, but by "
     "less: the airspeed reads 64.0 kt more than it says, of which noise, steps, lag and drift "
     "explain at most 2.0 kt; by that, the limit was exceeded by 10.0 kt."),
    (Reference("ground_speed", "airspeed", CANT_TELL, 1.0, 17.0, 4.0, 6),
     "The recorded ground speed is inconclusive: by that, the limit was exceeded by 4.0 kt, give "
     "or take 17.0 kt of the airspeed."),
])
def test_each_verdict_of_a_channel(one, said):
    assert corroboration_text.corroboration(Evidence((one,)), "calibrated_airspeed") == [said]


def test_a_mach_limit_and_other_units():
    one = Reference("vertical_speed", "pressure altitude", CONTRADICTS, 4096.0, 120.0, -0.02, 8)
    (said,) = corroboration_text.corroboration(Evidence((one,)), "mach", Presentation(
        units=KMH_METRES))
    assert "the pressure altitude reads 1,248 m more than it says" in said
    assert said.endswith("by that, the speed stayed Mach .020 under.")


def test_edges_and_an_entry_that_was_not_recorded():
    edge = Edge("airspeed", 100.0, 64.5, 26.6, 1.0)
    evidence = Evidence((), (edge, Edge("flap", 101.0, -30.0, 17.0, 1.0)), True, codes.NOT_FLOWN)
    assert corroboration_text.corroboration(evidence, "calibrated_airspeed") == [
        corroboration_text.NOTHING,
        "The airspeed rises by 64.5 kt within 1 s at 0:01:40.0, where at most 26.6 kt can be "
        "flown.",
        "The flap angle falls by 30 deg within 1 s at 0:01:41.0, where at most 17 deg can be "
        "flown.",
        corroboration_text.UNSEEN]


def test_only_what_decides_is_said_with_the_verdict():
    for_it = Reference("mach", "airspeed", CONFIRMS, 0.4, 3.0, 24.0, 30)
    against = Reference("true_airspeed", "airspeed", CONTRADICTS, 60.0, 3.0, -24.0, 30)
    assert corroboration_text.decisive(Evidence((for_it,)), "calibrated_airspeed") == []
    (said,) = corroboration_text.decisive(Evidence((for_it, against), reason=codes.CONTRADICTED),
                       "calibrated_airspeed")
    assert "true airspeed contradicts it" in said


def test_every_reason_has_its_words():
    assert {codes.CONTRADICTED, codes.NOT_FLOWN, codes.NO_ENTRY, codes.SHOWS_LESS} <= set(
        report_labels.REASONS)

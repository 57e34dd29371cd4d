"""What is said of a recording."""

import numpy as np

from loganalyze import Intervals, QualityFlag
from loganalyze.record.quality_flags import FLAG_CODES
from loganalyze.text.language import recording_text

ALL, SOME = Intervals.of([(0, 100)]), Intervals.of([(10, 12), (50, 51)])


def test_every_flag_has_its_words():
    assert set(recording_text.FLAGS) == set(FLAG_CODES)


def test_a_flag_as_a_sentence():
    one = QualityFlag("frozen", "indicated_airspeed", ALL, SOME, True,
                      {"witnesses": ("mach", "ground_speed")})
    assert recording_text.flag(one) == (
        "Indicated airspeed: frozen while others moved for 3.0 s of 1 min 40 s, 2 stretches from "
        "0:00:10.0 (shown by Mach number and ground speed): screened out.")
    apart = QualityFlag("sources disagree", "pressure_altitude", ALL, Intervals.of([(3, 9)]), False,
                        {"sources": ("pressure_altitude_2",), "mean": 30.48, "greatest": 304.8})
    assert recording_text.flag(apart) == (
        "Pressure altitude: two sources disagree for 6.0 s of 1 min 40 s, from 0:00:03.0 (by "
        "1000 ft at most, 100 ft on average).")
    lost = QualityFlag("synchronisation lost", "", ALL, Intervals.of([(3, 7)]))
    assert recording_text.flag(lost) == (
        "Several channels corrupt at once, synchronisation lost for 4.0 s of 1 min 40 s, from "
        "0:00:03.0: screened out.")


def test_nothing_found_is_nothing_said():
    assert recording_text.flag(QualityFlag("missing", "flap", ALL, Intervals.of(()))) == ""
    assert recording_text.flag(QualityFlag("quantised", "mach", ALL, Intervals.of(()), False,
                                      {"step": np.nan})) == ""


def test_steps_and_what_the_recorder_does_with_the_rest():
    def said(**values):
        return recording_text.flag(
            QualityFlag(
                "quantised",
                "indicated_airspeed",
                ALL,
                Intervals.of(()),
                False,
                {"step": 0.5 * 1852 / 3600, **values},
            )
        )

    assert said(recorder="truncates", by="mach") == (
        "Indicated airspeed: recorded in steps of 0.5 kt; the recorder truncates, as shown by "
        "Mach number.")
    assert said() == ("Indicated airspeed: recorded in steps of 0.5 kt; whether "
                      "rounded or cut off isn't known.")

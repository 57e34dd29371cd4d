"""Cross-checks, as a person reads them."""

import pytest

from loganalyze import Check
from loganalyze.text.language import check_text

VALUES = {"channel": "mach", "samples": 1200, "median_difference": -0.004, "spread": 0.001,
          "largest_difference": -0.02}
TURNS = {"turns": 2, "samples": 300, "reads_high_kt": 5.7, "reads_high_u_kt": 0.4,
         "condition": 400.0, "allowed": 4.1}


def test_size_sign_and_verdict_are_said():
    assert check_text.check(Check("recorded_mach", True, {**VALUES, "allowed": 0.006})) == (
        "The recorded Mach number lies Mach .004 below the reconstructed one (median of 1,200 "
        "samples, spread Mach .001): consistent within Mach .006.")


def test_two_sources_name_their_channel():
    values = {**VALUES, "channel": "pressure_altitude", "median_difference": 100.0,
              "spread": 10.0, "allowed": 60.0}
    assert check_text.check(Check("two_sources", False, values)) == (
        "The first source of pressure altitude lies 100 ft above the second one (median of 1,200 "
        "samples, spread 10 ft): more than the 60 ft that uncertainty allows.")


def test_turns_offer_an_error_and_say_that_it_is_not_applied():
    said = check_text.check(Check("turns", False, TURNS))
    assert said == (
        "Ground speed in 2 turns says that the reconstructed true airspeed reads 5.7 kt high "
        "(standard uncertainty 0.4 kt): more than the 4.1 kt that uncertainty allows. Offered, "
        "not applied. The turns can't separate an airspeed error from a temperature error.")
    split = check_text.check(Check("turns", None, TURNS | {
        "airspeed_reads_high_kt": 4.0, "airspeed_u_kt": 0.5, "temperature_reads_high_k": -1.0,
        "temperature_u_k": 2.0}))
    assert "no tolerance is known" in split
    assert split.endswith("Split: airspeed +4.0 kt (u 0.5 kt), temperature -1.0 K (u 2.0 K).")


@pytest.mark.parametrize("code", [code for code in check_text.CODES if code != "turns"])
def test_every_code_has_a_sentence_even_without_enough_samples(code):
    said = check_text.check(Check(code, None, {"channel": "mach", "samples": 3}))
    assert "only 3 samples" in said

"""Every member of a closed set has its words: none falls to words meant for another."""

from __future__ import annotations

import re
from dataclasses import asdict
from typing import get_args, get_type_hints

import numpy as np
import pytest

import loganalyze
from loganalyze import OUTCOMES, Analysis, Check, Edge, Evidence, Settings, cli
from loganalyze.sheets.limit_conditions import ConfigurationSheet
from loganalyze.text.language import (
    check_text,
    corroboration_text,
    decision_text,
    finding_text,
    phase_labels,
    quantity_words,
    value_words,
    verdict_sentences,
)


def test_outcomes_of_flights_and_of_the_decision():
    flights = get_args(get_type_hints(Analysis.outcome.fget)["return"])
    assert len(flights) == 4
    assert set(verdict_sentences.OUTCOMES) == set(flights)
    assert set(decision_text.OUTCOMES) == set(OUTCOMES)


def test_steps_at_edges_each_in_its_unit():
    quantities = get_args(get_type_hints(Edge)["quantity"])
    assert set(corroboration_text.STEPS) == set(quantities)
    units = {"airspeed": " kt", "pressure altitude": " ft", "flap": " deg", "slat": " deg"}
    for quantity in quantities:
        said = " ".join(corroboration_text.corroboration(
            Evidence(edges=(Edge(quantity, 10.0, 30.0, 5.0, 1.0),)), "calibrated_airspeed"))
        assert corroboration_text.STEPS[quantity] in said
        assert units[quantity] in said


def test_checks_say_what_they_compare():
    values = {"channel": "mach", "median_difference": 0.1, "spread": 0.01, "samples": 50,
              "allowed": 0.02}
    for code in set(check_text.CODES) - {"turns"}:
        assert check_text.check(Check(code, False, values))


def test_every_exit_code_is_in_the_help():
    stated = {int(code) for line in re.findall(r"^  (\d[\d, ]*?)  ", cli.EXIT_CODES, re.MULTILINE)
              for code in line.split(",")}
    named = {value for name, value in vars(cli).items()
             if name.isupper() and isinstance(value, int)}
    assert {0} | named <= stated
    assert len(named) == 6


@pytest.mark.parametrize("kt", [240.0, 260.0, np.nan])
def test_a_flight_of_each_kind_is_put_in_words(kt, log, sheet):
    page = sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250})
    flight = loganalyze.analyze(log(range(3), calibrated_airspeed=[kt] * 3,
                                    pressure_altitude=[9000.0] * 3), page)
    assert flight.outcome in verdict_sentences.OUTCOMES


def test_settings_quantities_and_phases_have_words_of_their_own():
    units = sorted([*value_words.UNITS_BY_SUFFIX, "_mach"], key=len, reverse=True)
    names = {next((name.removesuffix(unit) for unit in units if name.endswith(unit)), name)
             for name in asdict(Settings())}
    assert set(quantity_words.SETTINGS) == names
    published = {"indicated_airspeed", "calibrated_airspeed", "equivalent_airspeed",
                 "true_airspeed", "mach", "indicated_mach"}
    assert set(quantity_words.QUANTITIES) == published
    assert set(phase_labels.PHASES) == set(phase_labels.WHILE) == set(loganalyze.PHASES)
    assert not [words for table in (quantity_words.SETTINGS, quantity_words.QUANTITIES,
                                    phase_labels.PHASES)
                for words in table.values() if "_" in words]


def test_each_meaning_of_the_recorded_gear_has_its_words():
    stated = get_args(get_type_hints(ConfigurationSheet)["gear_down"])
    assert set(finding_text.GEAR_MOVES) == set(stated)

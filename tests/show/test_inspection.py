"""What a log holds, as text and as plain values, whatever it is written in."""

import json
import sys
from dataclasses import asdict
from pathlib import Path

import pytest

from loganalyze import read_flights
from loganalyze.show.terminal.log_inspection import inspection, text

sys.path.insert(0, str(Path(__file__).parents[1] / "read"))
from gallery.cases import CASES


@pytest.mark.parametrize("case", CASES[::5], ids=lambda case: case.file)
def test_every_export_can_be_inspected(case):
    found = inspection(read_flights(case.path, case.columns))
    flight, = found.flights
    assert {one.channel for one in flight.channels} == set(case.channels)
    assert flight.samples == len(case.t)
    assert (flight.start_utc is not None) == case.dated
    json.dumps(asdict(found), allow_nan=False)
    lines = text(found).splitlines()
    drawn = [line for line in lines if "▁" in line or "▄" in line]
    assert len(drawn) == len(case.channels)
    assert max(map(len, drawn)) <= 80
    assert lines[0].startswith(f"{case.path.name}: format ")


def test_a_lone_sample(tmp_path):
    path = tmp_path / "one.csv"
    path.write_text("time_s,press_alt_ft,ias_kt\n7,100,200\n")
    said = text(inspection(read_flights(path)))
    assert "1 sample over 0 s" in said
    assert "Screening: nothing of 0 s airborne screened out" in said

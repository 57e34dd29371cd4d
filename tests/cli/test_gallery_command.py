"""Every export of the gallery through the whole command: one flight, so one verdict."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "read"))

sys.path.insert(0, str(Path(__file__).parent))

import gallery_reports
from gallery.cases import CASES, Case
from gallery_reports import SHEET

from loganalyze.cli import main

CROSSED_S = 20.0
"""The gallery's airspeed is 160 kt and half a knot a second more: it passes 170 kt here."""
REPORTED = ("plain.csv", "raw_pressures.csv", "impact_pressure.csv", "mach_and_altitude.csv",
            "long_mixed_rates.csv", "sequence", "plain.parquet", "indicated_altitude.csv",
            "no_altitude.csv", "impact_pressure_alone.csv", "no_altitude_nor_temperature.csv",
            "no_temperature.csv", "which_temperature.csv")
"""One of each kind, with page, PDF, picture and files."""


def analyzed(case: Case, folder: Path, capsys: pytest.CaptureFixture[str], *more: str
             ) -> dict[str, object]:
    """Run the command on an export and return what it prints as JSON."""
    sheet = folder / "limits.toml"
    sheet.write_text(SHEET)
    columns = () if case.columns is None else ("--columns", str(case.columns))
    capsys.readouterr()
    with pytest.raises(SystemExit) as stopped:
        main(["analyze", str(case.path), "--limits", str(sheet), *columns, "--json", *more])
    out, err = capsys.readouterr()
    # Without an altitude nobody can judge MMO.
    assert (stopped.value.code or 0) == (0 if case.has_altitude else 3), err
    assert "Traceback" not in err
    answer = json.loads(out)
    return answer[0] if isinstance(answer, list) else answer


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.file)
def test_every_export_gets_the_verdict_of_the_one_flight(
    case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (flight,) = analyzed(case, tmp_path, capsys)["flights"]
    crossings = {one["limit"]: one["start_s"] for one in flight["exceedances"]}
    assert set(crossings) == ({"VMO", "MMO"} if case.has_altitude else {"VMO"})
    assert flight["unjudged_limits"] == ([] if case.has_altitude else ["MMO"])
    assert [one["values"]["limit"] for one in flight["taken"] if "limit" in one["values"]] == (
        flight["unjudged_limits"])
    # Coarse or slow exports know the crossing less well, as do those of coarse clocks.
    step = float(np.diff(case.t).max())
    crossed = max(CROSSED_S - case.t[0], 0.0)
    assert crossings["VMO"] == pytest.approx(crossed, abs=max(0.5, 1.1 * step, case.clock_s))
    assert crossings.get("MMO", 0.0) <= crossings["VMO"]


@pytest.mark.parametrize("file", REPORTED)
def test_each_kind_of_export_gets_all_its_files_with_the_verdict_in_them(
    file: str, tmp_path: Path
) -> None:
    """All other exports: `python -m tests.cli.gallery_reports`."""
    case = next(case for case in CASES if case.file == file)
    assert gallery_reports.faults(case, tmp_path) == []


def test_an_airspeed_from_pressures_of_unstated_tolerance_is_judged_but_not_called_certain(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = next(case for case in CASES if case.file == "raw_pressures.csv")
    (flight,) = analyzed(case, tmp_path, capsys)["flights"]
    assert {one["assessment"] for one in flight["exceedances"]} == {"not determinable"}


@pytest.mark.parametrize(("file", "stated"), [
    ("raw_pressures.csv", "airspeed = { limits = 2 }\npressure_altitude = { limits = 50 }"),
])
def test_a_stated_tolerance_makes_it_determinable(
    file: str, stated: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = next(case for case in CASES if case.file == file)
    sheet = tmp_path / "limits.toml"
    sheet.write_text(f"{SHEET}\n[uncertainty]\n{stated}\n")
    capsys.readouterr()
    with pytest.raises(SystemExit):
        main(["analyze", str(case.path), "--limits", str(sheet), "--json"])
    answer = json.loads(capsys.readouterr().out)
    (flight,) = (answer[0] if isinstance(answer, list) else answer)["flights"]
    assert all(one["probability"] is not None for one in flight["exceedances"])

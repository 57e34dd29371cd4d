"""``loganalyze sheet``: a first limits sheet from options or questions, and a look at one."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
import sys
import tomllib
from itertools import pairwise
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loganalyze import read_limits
from loganalyze.text.language import first_sheet, sheet_labels

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_logs"
SCHEMA = json.loads((ROOT / "schemas" / "limits-sheet.schema.json").read_text(encoding="utf-8"))
EVERYTHING = ("--aircraft", "an invented twin", "--vmo", "0:250,8000:260,45000:260",
              "--mmo", "0.5", "--vfe", "15:180,35:150", "--vle", "190", "--published",
              "calibrated", "--recorded", "calibrated", "--outside-air", "probe",
              "--recovery-factor", "0.8")


def fits_the_schema(text: str) -> None:
    jsonschema.validate(tomllib.loads(text), SCHEMA)


@pytest.mark.parametrize(("log", "over"), [
    ("clean_flight.csv", []), ("descent_through_mmo_and_vmo.csv", ["MMO", "VMO"]),
    ("climb_into_the_limit.csv", ["MMO"])])
def test_one_command_writes_a_sheet_that_judges(run, tmp_path, log, over):
    path = tmp_path / "limits.toml"
    done = run("sheet", "new", path, "--vmo", "255", "--mmo", "0.49")
    assert (done.code, done.err) == (0, "")
    fits_the_schema(path.read_text(encoding="utf-8"))
    assert {limit.name: limit.maximum_kt or limit.maximum for limit in read_limits(path).limit
            } == {"VMO": 255.0, "MMO": 0.49}
    judged = run("analyze", SAMPLES / log, "--limits", path, "--json")
    found = {one["limit"] for flight in json.loads(judged.out)["flights"]
             for one in flight["exceedances"]}
    assert sorted(found) == over


def test_it_says_where_the_limits_cross_and_what_comes_next(run, tmp_path):
    path = tmp_path / "limits.toml"
    said = run("sheet", "new", path, "--vmo", "255", "--mmo", "0.49").out
    # The crossover by the other command, which takes no sheet.
    alone = json.loads(run("crossover", "--cas", "255", "--mach", "0.49", "--json").out)
    assert f"{alone['pressure_altitude_ft']:,.0f} ft pressure altitude" in said
    assert f"loganalyze analyze LOG --limits {path}" in said
    assert "aircraft has no name yet" in said


def test_every_option_comes_back_from_the_sheet(run, tmp_path):
    path = tmp_path / "limits.toml"
    assert run("sheet", "new", path, *EVERYTHING).code == 0
    fits_the_schema(path.read_text(encoding="utf-8"))
    sheet = read_limits(path)
    assert sheet.aircraft == "an invented twin"
    assert sheet.airspeed.recorded == "calibrated"
    assert sheet.temperature is not None
    assert (sheet.temperature.outside_air, sheet.temperature.recovery_factor) == ("probe", 0.8)
    assert [(limit.name, limit.quantity) for limit in sheet.limit] == [
        ("VMO", "calibrated_airspeed"), ("MMO", "mach"), ("VFE 15", "calibrated_airspeed"),
        ("VFE 35", "calibrated_airspeed"), ("VLE", "calibrated_airspeed")]
    assert sheet.limit[0].by_pressure_altitude == ((0, 250), (8000, 260), (45000, 260))
    assert "Worth a look" not in run("sheet", "check", path).out


def test_what_stands_in_comments_is_a_sheet_too(run):
    text = run("sheet", "new", "-", "--vmo", "0:250,8000:260", "--mmo", "0.5").out
    opened = re.sub(r"^# (?=\[+\w+\]+|\w+ = )", "", text, flags=re.MULTILINE)
    assert opened.count("\n#") < text.count("\n#") - 10
    fits_the_schema(opened)
    stated = tomllib.loads(opened)
    assert {"uncertainty", "severity", "temperature"} <= stated.keys()
    assert stated["limit"][0]["outside"] == "hold"


@given(st.lists(st.integers(1, 60), min_size=1, max_size=6, unique=True))
def test_every_flap_position_has_its_own_limit_and_no_angle_has_none(positions):
    positions.sort()
    text = first_sheet.limits_sheet_text(first_sheet.FirstLimits(
        vfe=tuple((float(at), 300.0 - at) for at in positions)))
    reaches = [limit["when"]["flap_deg"] for limit in tomllib.loads(text)["limit"]]
    for at, reach in zip(positions, reaches, strict=True):
        assert reach["above"] < at <= reach.get("up_to", at)
        assert reach["above"] > 0
    for reach, after in pairwise(reaches):
        assert reach["up_to"] == after["above"]
    assert "up_to" not in reaches[-1]


def test_nothing_is_ever_replaced(run, tmp_path):
    path = tmp_path / "limits.toml"
    path.write_text("mine")
    done = run("sheet", "new", path, "--vmo", "255")
    assert done.code == 2
    assert "never replaced" in done.err
    assert path.read_text() == "mine"
    dangling = tmp_path / "link.toml"
    dangling.symlink_to(tmp_path / "elsewhere.toml")
    assert run("sheet", "new", dangling, "--vmo", "255").code == 2
    assert not (tmp_path / "elsewhere.toml").exists()


@pytest.mark.parametrize(("options", "said"), [
    (("--vmo", "5000"), "a limit of 5000 kt is outside 20 to 1200 kt"),
    (("--mmo", "48"), "Mach 48 is outside"),
    (("--vmo", "0:250,8000"), "'8000' is no pair such as 8000:260"),
    (("--vmo", "8000:250,0:240"), "must rise"),
    (("--vfe", "15=180"), "'15=180' is no pair"),
    (("--vmo", "nan"), "not a finite number"),
    (("--vmo", "250", "--outside-air", "probe"), "go together"),
    (("--vmo", "250", "--recovery-factor", "0.8"), "go together"),
    (("--aircraft", "an invented twin"), "Give at least one of --vmo"),
    (("--vmo", "250", "--aircraft", ""), "the text is empty"),
])
def test_a_slip_in_an_option_leaves_no_file(run, tmp_path, options, said):
    path = tmp_path / "limits.toml"
    done = run("sheet", "new", path, *options)
    assert done.code == 2
    assert said in " ".join(done.err.split())
    assert not path.exists()


def test_a_folder_that_is_not_there_is_named(run, tmp_path):
    done = run("sheet", "new", tmp_path / "none" / "limits.toml", "--vmo", "255")
    assert done.code == 2
    assert "none" in done.err


def answered(path: Path, answers: list[str], *options: str) -> tuple[int, str]:
    """Run `sheet new` on a terminal of its own, and answer what it asks."""
    ours, theirs = pty.openpty()
    with subprocess.Popen([sys.executable, "-m", "loganalyze", "sheet", "new", str(path), *options],
                          stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                          cwd=ROOT) as asked:
        os.close(theirs)
        os.write(ours, "".join(f"{answer}\n" for answer in answers).encode())
        said = asked.communicate(timeout=60)[0].decode()
    os.close(ours)
    return asked.returncode, said


def test_the_questions_lead_to_the_same_sheet_as_the_options(run, tmp_path):
    asked, given_ = tmp_path / "asked.toml", tmp_path / "given.toml"
    code, said = answered(asked, [
        "an invented twin", "0:250,8000:260,45000:260", "half", "0.5", "15:180,35:150", "190",
        "calibrated", "calibrated", "probe", "0.8"])
    assert code == 0, said
    assert "half" in said  # refused, and asked again
    assert run("sheet", "new", given_, *EVERYTHING).code == 0
    assert asked.read_text() == given_.read_text()


def test_empty_answers_leave_out_what_they_were_asked_for(tmp_path):
    path = tmp_path / "limits.toml"
    code, said = answered(path, ["", "", "0.5", "", "", "", "", ""])
    assert code == 0, said
    sheet = read_limits(path)
    assert [limit.name for limit in sheet.limit] == ["MMO"]
    assert sheet.temperature is None
    code, said = answered(tmp_path / "half.toml", ["", "0.5", "", "", ""], "--aircraft", "mine",
                          "--published", "calibrated", "--recorded", "calibrated")
    assert code == 0, said
    assert "These airspeeds are" not in said
    half = read_limits(tmp_path / "half.toml")
    assert (half.aircraft, half.airspeed.recorded) == ("mine", "calibrated")
    code, said = answered(tmp_path / "none.toml", [""] * 8)
    assert code == 2
    assert "nothing to write" in said
    assert not (tmp_path / "none.toml").exists()


HEAD = """aircraft = "an invented twin"
[airspeed]
recorded = "indicated"
"""
VMO = """[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = 250
"""
MMO = """[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.5
"""
TABLE = VMO.replace("maximum_kt = 250", "by_pressure_altitude = [[0, 245], [8000, 260]]")
SOUND = HEAD + VMO + MMO


def flaps(name: str, speed: float, reach: str) -> str:
    return (VMO.replace("VMO", name).replace("250", str(speed))
            + f"when = {{ flap_deg = {{ {reach} }} }}\n")


FLAPS = flaps("VFE 15", 180, "above = 2, up_to = 17") + flaps("VFE 35", 150, "above = 17")
GEAR = VMO.replace("VMO", "VLE").replace("250", "190") + 'when = { gear_down = { is = "up" } }\n'
REMARKED = [
    (SOUND.replace("an invented twin", "an unnamed aircraft"), ["aircraft_unnamed"]),
    (HEAD + VMO, ["no_mach_limit"]),
    (HEAD + MMO, ["no_airspeed_limit"]),
    (SOUND + '[[severity]]\nname = "any"\nlevel = "low"\nexample = true\n', ["example_rules"]),
    (HEAD + VMO.replace("250", "463") + MMO.replace("0.5", "0.9"), ["unusual_kt"]),
    (HEAD + VMO + MMO.replace("0.5", "1.2").replace("mach", "indicated_mach")
     + MMO.replace("MMO", "MMO 2"), ["unusual_mach", "never_lowest"]),
    (HEAD + TABLE + MMO, ["table_ends"]),
    (HEAD + TABLE + 'outside = "hold"\n' + MMO, []),
    (SOUND + FLAPS, []),
    (SOUND + FLAPS.replace("above = 2,", "above = 0,"), ["flaps_at_rest"]),
    (SOUND + FLAPS.replace("above = 17", "above = 20"), ["flap_gap"]),
    (SOUND + FLAPS.replace("150", "185"), ["flap_limit_rises"]),
    (SOUND + FLAPS.replace("flap_deg = { above = 17", "flap_lever_deg = { above = 20"), []),
    (SOUND + GEAR.replace('"up"', '"down"'), []),
    (SOUND + GEAR, ["gear_up"]),
    (SOUND + GEAR.replace('"up"', '"down"').replace("190", "250"), ["never_lowest"]),
    (SOUND + VMO.replace("VMO", "VNE").replace("250", "280"), ["never_lowest"]),
    (HEAD + VMO.replace("250", "320") + MMO.replace("0.5", "0.52"), ["unusual_crossover"]),
    (HEAD.replace('"indicated"\n', '"indicated"\nposition_correction = [{ flap_deg = { up_to = 1 '
     "}, table = [[60, 2], [200, 5]] }]\n") + VMO + MMO + FLAPS, []),
]


@pytest.mark.parametrize(("text", "codes"), REMARKED)
def test_what_is_unlikely_is_named(run, tmp_path, text, codes):
    path = tmp_path / "limits.toml"
    path.write_text(text)
    done = run("sheet", "check", path, "--json")
    assert (done.code, done.err) == (0, "")
    found = json.loads(done.out)["remarks"]
    assert [one["code"] for one in found] == codes
    said = run("sheet", "check", path).out
    assert said.count("Worth a look: ") == len(codes)
    for one in found:
        assert one["sentence"] in said
        assert "{" not in one["sentence"]


def test_every_remark_was_met():
    assert {code for _, codes in REMARKED for code in codes} == sheet_labels.REMARKS.keys()


def test_a_sheet_that_cannot_be_used_ends_in_2(run, tmp_path):
    path = tmp_path / "limits.toml"
    path.write_text(SOUND.replace("maximum_kt", "maximum_kts"))
    done = run("sheet", "check", path)
    assert done.code == 2
    assert "write maximum_kt if that is meant" in done.err


def test_the_sample_sheet_is_marked_for_its_example_rules_alone(run):
    found = json.loads(run("sheet", "check", SAMPLES / "ouzelwing_240.toml", "--json").out)
    assert [one["code"] for one in found["remarks"]] == ["example_rules"]
    assert [(one["below"], one["above"]) for one in found["crossovers"]] == [("VMO", "MMO")]


@pytest.mark.parametrize("which", ["limits-sheet", "columns-file", "priors-file"])
def test_the_schemas_can_be_had_without_the_source(run, which):
    kept = (ROOT / "schemas" / f"{which}.schema.json").read_text(encoding="utf-8")
    assert run("sheet", "schema", which.split("-")[0]).out == kept
    assert which != "limits-sheet" or run("sheet", "schema").out == kept

import json
import os
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from loganalyze import Settings
from loganalyze.sheets.evaluation_settings import DESCRIPTIONS
from loganalyze.text.language import verdict_sentences

from .conftest import SHEET, write_log


def test_a_plain_verdict_is_printed(run, fast, sheet):
    done = run("analyze", fast, "--limits", sheet)
    assert done.code == 0
    assert done.err == ""
    said = " ".join(done.out.split())
    assert "VMO was exceeded. Worst: 250.0 kt CAS, 5.0 kt over VMO, at 5,000 ft, 0:00:20.0." in said
    assert "1 VMO 0:00:19.8 9.5 s 9.5 s 5.0 kt -" in said
    assert "As displayed: not determinable" in said
    assert "Thresholds:" not in said
    done = run("analyze", fast, "--limits", sheet, "-v")
    assert done.out.rstrip().endswith("\n".join(verdict_sentences.CAUTIONS))
    assert 'pressure_altitude: column "Pressure Altitude [ft]", in ft' in " ".join(done.out.split())
    assert "VMO was exceeded from 0:00:19.8 to 0:00:29.2: 9.5 s from" in " ".join(done.out.split())
    assert "join gap 5 s, join margin 2 kt, join margin Mach 0.004" in " ".join(done.out.split())
    done = run("analyze", fast, "--limits", sheet, "--join-gap-s", "7")
    assert "Thresholds: join gap 7 s\n" in done.out
    assert done.out.rstrip().endswith("\n".join(verdict_sentences.CAUTIONS_IN_SHORT))


def test_two_lines_hold_all_four_cautions(run, fast, sheet, tmp_path):
    done = run("analyze", fast, "--limits", sheet, "--out", tmp_path, "--plot-format", "svg")
    lines = done.out.rstrip().splitlines()[-2:]
    picture = " ".join(re.findall("<!-- (.*?) -->", (tmp_path / "fast" / "margin.svg").read_text()))
    assert all(len(line) <= 80 for line in lines)
    for said in (" ".join(lines), picture):
        for words in ("Not for use in flight", "release to service", "punitive use",
                      "A flag is no proof", "no flag no clearance",
                      "manuals, operator, authority prevail"):
            assert words in said


def test_nothing_that_is_printed_is_wider_than_80_columns(run, fast, sheet):
    for level in ("--verbose", "--quiet", "--color=never"):
        done = run("analyze", fast, "--limits", sheet, level)
        wide = [line for line in done.out.splitlines()
                if len(line) > 80 and str(fast.parent) not in line]
        assert set(wide) <= set(verdict_sentences.CAUTIONS)


def test_quiet_prints_a_line_a_flight_and_verbose_what_was_measured(run, fast, slow, sheet):
    quiet = run("analyze", fast, slow, "--limits", sheet, "--quiet").out
    said = " ".join(quiet.split())
    assert f"{fast}: exceeded: VMO by 5.0 kt at 0:00:20.0 (not determinable); VFE 20" in said
    assert f"{slow}: not exceeded, smallest margin 45.0 kt at 0:00:00.0; VFE 20" in said
    assert said.count("; VFE 20 could not be judged") == 2
    assert "Taken as" not in quiet
    verbose = " ".join(run("analyze", fast, "--limits", sheet, "--verbose").out.split())
    assert "Measured" in verbose
    assert "standard uncertainty" in verbose
    refused = run("analyze", fast, "--limits", sheet, "--quiet", "--verbose")
    assert refused.code == 2
    assert "exclude each other" in refused.err


def test_everything_printed_is_in_the_units_asked_for(run, fast, sheet):
    said = run("analyze", fast, "--limits", sheet, "--verbose", "--units", "kmh-m").out
    told = " ".join(said[:said.index("Taken as")].split())
    sourced = told.index("Steps of the recorded airspeed")  # sources of tolerances quote knots
    assert "km/h" in told
    assert not re.findall(r"[\d.]+ (?:kt|ft)\b", told[:sourced])


def test_colour_comes_only_where_it_is_wanted(run, fast, sheet, monkeypatch):
    plain = run("analyze", fast, "--limits", sheet).out
    assert "\x1b" not in plain
    coloured = run("analyze", fast, "--limits", sheet, "--color", "always").out
    assert "\x1b[31m" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b" not in run("analyze", fast, "--limits", sheet).out


def test_units_are_metric_throughout_when_asked(run, fast, sheet):
    said = " ".join(run("analyze", fast, "--limits", sheet, "--units", "kmh-m").out.split())
    verdict = said[: said.index("Not for use")]
    assert "km/h" in verdict
    assert re.search(r"\d (kt|ft)\b", verdict) is None


def test_a_fleets_margins_can_be_given_as_the_prior(run, sheet, tmp_path):
    # In and out by 4 kt/s: a step of 20 kt within a second would be no measurement.
    fast = write_log(tmp_path / "ramp.csv", [*[230] * 16, 234, 238, 242, 246, *[250] * 10,
                                             246, 242, 238, 234, *[230] * 16])
    priors = tmp_path / "priors.toml"
    priors.write_text('[[prior]]\nlimit = "VMO"\nsource = "an invented fleet"\n'
                      "normals = [[1.0, 40.0, 15.0]]\n")
    flat = json.loads(run("analyze", fast, "--limits", sheet, "--json").out)
    with_prior = run("analyze", fast, "--limits", sheet, "--json", "--priors", priors)
    assert with_prior.code == 0, with_prior.err
    told = [one["flights"][0]["exceedances"][0]["probability"]
            for one in (flat, json.loads(with_prior.out))]
    assert told[1] < told[0]


def test_an_exceedance_fails_only_when_asked(run, fast, slow, sheet):
    assert run("analyze", fast, "--limits", sheet, "--fail-on-exceedance").code == 1
    assert run("analyze", slow, "--limits", sheet, "--fail-on-exceedance").code == 0
    assert run("analyze", fast, "--limits", sheet).code == 0


def test_json_is_the_summary(run, fast, slow, sheet, tmp_path):
    done = run("analyze", fast, "--limits", sheet, "--json", "--out", tmp_path / "out")
    row = json.loads(done.out)
    assert (row.pop("log"), row.pop("status")) == (str(fast), "exceeded")
    assert row == json.loads((tmp_path / "out" / "fast" / "summary.json").read_text())
    bad = tmp_path / "bad.csv"
    bad.write_text("")
    done = run("analyze", fast, bad, slow, "--limits", sheet, "--json")
    rows = json.loads(done.out)
    assert [Path(row["log"]).name for row in rows] == ["fast.csv", "bad.csv", "slow.csv"]
    assert [row["status"] for row in rows] == ["exceeded", "failed", "not exceeded"]
    assert rows[1]["error"] in done.err


def test_thresholds_are_options_and_reach_the_result(run, fast, sheet):
    assert list(DESCRIPTIONS) == [field.name for field in fields(Settings)]
    done = run("analyze", fast, "--limits", sheet, "--json", "--minimum-duration-s", "30")
    said = json.loads(done.out)
    assert said["settings"]["minimum_duration_s"] == 30.0
    assert said["flights"][0]["exceedances"][0]["brief"] is True
    for absurd in ("-1", "nan", "inf", "long"):
        assert run("analyze", fast, "--limits", sheet, "--join-gap-s", absurd).code == 2


def test_other_thresholds_stand_in_the_limits_sheet(run, fast, sheet):
    assert run("analyze", fast, "--limits", sheet, "--frozen-s", "30").code == 2
    text = sheet.read_text()
    sheet.write_text(f"{text}\n[screening]\nfrozen_s = 30\nspike_noise = 9.5\n")
    done = run("analyze", fast, "--limits", sheet, "--json", "--join-gap-s", "7")
    settings = json.loads(done.out)["settings"]
    assert {name: settings[name] for name in ("frozen_s", "spike_noise", "join_gap_s")} == {
        "frozen_s": 30.0, "spike_noise": 9.5, "join_gap_s": 7.0}
    for line, words in (("frozen_sec = 30", "did you mean frozen_s?"),
                        ("join_gap_s = 3", "give --join-gap-s"),
                        ("frozen_s = -1", "not a number from 0 up"),
                        ("frozen_s = true", "not a number"), ("frozen_s = nan", "not a number")):
        sheet.write_text(f"{text}\n[screening]\n{line}\n")
        done = run("analyze", fast, "--limits", sheet)
        assert done.code == 2
        assert words in done.err
        assert "limits.toml" in done.err


def test_a_declared_state_counts(run, slow, sheet):
    said = json.loads(run("analyze", slow, "--limits", sheet, "--json").out)
    # A flap that nothing tells takes away VFE, which the verdict says, and nothing else.
    missing = "VFE 20 could not be judged: flap not recorded and not declared."
    assert said["flights"][0]["judged_s"] == 50.0
    assert missing in [one["sentence"] for one in said["flights"][0]["taken"]]
    assert missing in said["flights"][0]["verdict"].splitlines()
    said = json.loads(run("analyze", slow, "--limits", sheet, "--json", "--declare",
                          "flap_deg=15").out)
    assert said["declared"] == {"flap_deg": 15.0}
    assert [one["limit"] for one in said["flights"][0]["exceedances"]] == ["VFE 20"]
    assert said["flights"][0]["judged_s"] == 50.0


def test_a_state_may_be_declared_that_only_a_ceiling_depends_on(run, slow, sheet):
    sheet.write_text(sheet.read_text() + """
[[ceiling]]
name = "gear-down speed"
set_by = "the school"
quantity = "calibrated_airspeed"
maximum_kt = 150
when = { gear_down = { is = true } }
""")
    asked = ("analyze", slow, "--limits", sheet, "--json")
    before, = json.loads(run(*asked).out)["flights"][0]["ceilings"]
    done = run(*asked, "--declare", "gear_down=true")
    assert done.code in (0, 3), done.err
    after, = json.loads(done.out)["flights"][0]["ceilings"]
    assert before["measured_s"] == 0 < after["measured_s"]


@pytest.mark.parametrize("declared", ["flap_deg", "=3", "flap_deg=much", "flap_deg=nan",
                                      "flap=3", "flpa_deg=3", "flap_kt=3", "gear_down=yes"])
def test_a_declaration_that_says_nothing_is_refused(run, slow, sheet, declared):
    done = run("analyze", slow, "--limits", sheet, "--declare", declared)
    assert done.code == 2
    assert done.err.startswith("loganalyze: --declare: ")
    assert len(done.err.splitlines()) == 1


def test_one_bad_log_does_not_stop_the_others(run, fast, slow, sheet, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("")
    done = run("analyze", fast, bad, slow, "--limits", sheet, "--out", tmp_path / "out")
    assert done.code == 5
    assert "bad.csv" in done.err
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["fast", "slow"]
    assert "slow.csv against" in " ".join(done.out.split())


def test_two_logs_of_one_name_go_to_folders_named_for_theirs(run, fast, sheet, tmp_path):
    (tmp_path / "other").mkdir()
    other = write_log(tmp_path / "other" / "fast.csv", [200] * 20)
    out = tmp_path / "out"
    assert run("analyze", fast, other, "--limits", sheet, "-o", out).code == 0
    samples = {path.name: json.loads((path / "summary.json").read_text())["flights"][0]["samples"]
               for path in out.iterdir()}
    assert samples == {f"{tmp_path.name}-fast": 50, "other-fast": 20}


def test_one_log_twice_is_refused_the_second_time(run, fast, sheet, tmp_path):
    done = run("analyze", fast, fast, "--limits", sheet, "--out", tmp_path / "out", "--json")
    assert done.code == 5
    assert "its results would go to" in done.err
    assert [row["status"] for row in json.loads(done.out)] == ["exceeded", "failed"]


def test_a_name_is_given_to_the_results_of_one_log(run, fast, slow, sheet, tmp_path):
    out = tmp_path / "out"
    assert run("analyze", fast, "--limits", sheet, "--out", out, "--name", "lesson 3").code == 0
    assert [path.name for path in out.iterdir()] == ["lesson 3"]
    for arguments, words in (((fast, slow, "--out", out), "one log"), ((fast,), "needs --out")):
        done = run("analyze", *arguments, "--limits", sheet, "--name", "lesson 3")
        assert done.code == 2
        assert words in done.err


def test_results_that_are_there_are_skipped_when_asked(run, fast, sheet, tmp_path):
    out = tmp_path / "out"
    arguments = ("analyze", fast, "--limits", sheet, "--out", out, "--skip-existing", "--json")
    assert json.loads(run(*arguments).out)["status"] == "exceeded"
    before = (out / "fast" / "summary.json").stat().st_ino
    done = run(*arguments)
    assert (done.code, json.loads(done.out)) == (0, {"log": str(fast), "status": "skipped"})
    assert (out / "fast" / "summary.json").stat().st_ino == before
    # Anything that would change the results isn't skipped, but refused or replaced.
    for more in (("--minimum-duration-s", "7"), ("--report", "pdf")):
        assert run(*arguments, *more).code == 2
        assert json.loads(run(*arguments, *more, "--overwrite").out)["status"] == "exceeded"
    fast.write_text(fast.read_text().replace(".0\n", ".1\n", 1) + "\n")
    assert run(*arguments, "--report", "pdf").code == 2


def test_leftovers_of_killed_runs_are_removed_and_moved_results_brought_back(
        run, fast, sheet, tmp_path):
    out = tmp_path / "out"
    arguments = ("analyze", fast, "--limits", sheet, "--out", out)
    assert run(*arguments).code == 0
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    (out / f".fast.partial-{gone.pid}").mkdir()
    (out / f".fast.partial-{os.getppid()}").mkdir()
    (out / "fast").rename(out / f".fast.former-{gone.pid}")
    assert run(*arguments).code == 2
    # What belongs to a process that runs stays.
    assert {path.name for path in out.iterdir()} == {"fast", f".fast.partial-{os.getppid()}"}
    assert (out / "fast" / "summary.json").is_file()


def test_an_existing_folder_is_refused_or_replaced(run, fast, sheet, tmp_path):
    arguments = ("analyze", fast, "--limits", sheet, "--out", tmp_path / "out")
    assert run(*arguments).code == 0
    done = run(*arguments, "--plot-format", "svg")
    assert done.code == 2
    assert "exists already" in done.err
    assert (tmp_path / "out" / "fast" / "margin.png").exists()
    assert run(*arguments, "--plot-format", "svg", "--overwrite").code == 0
    assert not (tmp_path / "out" / "fast" / "margin.png").exists()
    assert (tmp_path / "out" / "fast" / "margin.svg").exists()


ROWS = "Time [s],Pressure Altitude [ft],CAS [kt],SAT [degC]\n"
GOOD = "".join(f"{i},5000,200,4\n" for i in range(50))

BAD_LOGS = {
    "empty": b"",
    "header only": ROWS.encode(),
    "missing column": b"Time [s],Pressure Altitude [ft]\n0,5000\n1,5000\n",
    "text in a number column": (ROWS + GOOD.replace("200", "fast")).encode(),
    "an unknown unit": (ROWS.replace("[kt]", "[furlong]") + GOOD).encode(),
    "not a log": bytes(range(256)) * 50,
    "not a gzip": b"\x1f\x8b nothing of the kind",
}


@pytest.mark.parametrize("what", BAD_LOGS)
def test_a_bad_log_is_one_sentence_and_exit_2(run, sheet, tmp_path, what):
    log = tmp_path / "log.csv"
    log.write_bytes(BAD_LOGS[what])
    for command in (("analyze", log, "--limits", sheet, "--out", tmp_path / "out"),
                    ("analyze", log, "--limits", sheet, "--json"), ("inspect", log, "--json"),
                    ("inspect", log)):
        done = run(*command)
        assert done.code == 2, what
        if command[0] == "analyze" and "--json" in command:
            assert json.loads(done.out)["status"] == "failed"
        else:
            assert done.out == ""
        first = done.err.splitlines()[0]
        assert first.startswith("loganalyze: ")
        assert first.endswith(".")
        assert "log.csv" in first
        assert "Traceback" not in done.err
    assert not (tmp_path / "out").exists() or not any((tmp_path / "out").iterdir())


BAD_SHEETS = {
    "an unknown key": SHEET + "\nspeed = 3\n",
    "a negative limit": SHEET.replace("245", "-245"),
    "an absurd limit": SHEET.replace("245", "24500"),
    "not TOML": SHEET.replace("[airspeed]", "[airspeed"),
}


@pytest.mark.parametrize("what", BAD_SHEETS)
def test_a_bad_sheet_is_one_sentence_and_exit_2(run, slow, tmp_path, what):
    path = tmp_path / "bad.toml"
    path.write_text(BAD_SHEETS[what])
    for command in (("analyze", slow), ("envelope",), ("crossover",)):
        done = run(*command, "--limits", path)
        assert done.code == 2
        assert done.out == ""
        assert done.err.startswith("loganalyze: ")
        assert "bad.toml" in done.err
        assert len(done.err.splitlines()) == 1


def test_a_folder_and_a_missing_file_are_refused(run, sheet, tmp_path):
    for log in (tmp_path, tmp_path / "nothing.csv"):
        done = run("analyze", log, "--limits", sheet)
        assert done.code == 2
        assert done.err.startswith("loganalyze: ")
        assert len(done.err.splitlines()) == 1


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="permissions don't bind here")
def test_no_permission_is_refused(run, slow, sheet, tmp_path):
    slow.chmod(0)
    assert run("analyze", slow, "--limits", sheet).code == 2
    (tmp_path / "shut").mkdir(mode=0o500)
    slow.chmod(0o600)
    done = run("analyze", slow, "--limits", sheet, "--out", tmp_path / "shut")
    assert done.code == 2
    assert "can't be written" in done.err


def test_an_output_place_that_is_a_file_is_refused(run, slow, sheet, tmp_path):
    (tmp_path / "out").write_text("a file")
    done = run("analyze", slow, "--limits", sheet, "--out", tmp_path / "out")
    assert done.code == 2
    assert len(done.err.splitlines()) == 1


def test_several_flights_are_told_apart(run, sheet, tmp_path):
    log = tmp_path / "two.csv"
    rows = [f"{t},5000,{v},4\n" for start, v in ((0, 200), (9000, 250))
            for t in range(start, start + 30)]
    log.write_text(ROWS + "".join(rows))
    done = run("analyze", log, "--limits", sheet, "--declare", "flap_deg=0")
    said = " ".join(done.out.split())
    assert "Flight 1 No limit was exceeded in the 30.0 s" in said
    assert "Flight 2 VMO was exceeded" in said
    assert "1 VMO 0:00:00.0 30.0 s" in said  # on its own clock


def test_progress_is_shown_on_the_error_stream_only(run, fast, slow, sheet, monkeypatch):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    done = run("analyze", fast, slow, "--limits", sheet)
    assert done.code == 0
    assert "logs" in done.err
    assert "100%" in done.err
    assert "100%" not in done.out


def test_the_flights_of_a_single_log_are_counted_and_the_line_is_cleared(
        run, sheet, tmp_path, monkeypatch):
    log = tmp_path / "two.csv"
    rows = [f"{t},5000,{v},4\n" for start, v in ((0, 200), (9000, 230))
            for t in range(start, start + 30)]
    log.write_text(ROWS + "".join(rows))
    assert run("analyze", log, "--limits", sheet).err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    for options in ((), ("--json",), ("-q",)):
        done = run("analyze", log, "--limits", sheet, *options)
        shown = done.err.split("\r\x1b[K")
        assert shown == ["", "reading", "30 rows read, flights judged: 0",
                         "60 rows read, flights judged: 1", ""]
        assert "rows read" not in done.out


def test_the_files_of_one_recording_are_judged_together(run, fast, sheet, tmp_path):
    lines = fast.read_text().splitlines(keepends=True)
    first, second = tmp_path / "leg_1.csv", tmp_path / "leg_2.csv"
    first.write_text("".join(lines[:26]))
    second.write_text("".join(lines[:1] + lines[26:]))
    whole = json.loads(run("analyze", fast, "--limits", sheet, "--json").out)
    # Named in the wrong order, they are still read in the order of time.
    done = run("analyze", second, first, "--limits", sheet, "--together", "--json",
               "--out", tmp_path / "out")
    assert done.code == 0
    parted = json.loads(done.out)
    assert [one.pop("files") for one in whole["flights"]] == [[]]
    assert [one.pop("files") for one in parted["flights"]] == [["leg_1.csv", "leg_2.csv"]]
    assert parted["flights"] == whole["flights"]
    assert [(one["role"], one["file"]) for one in parted["inputs"]][:2] == [
        ("log", "leg_2.csv"), ("log", "leg_1.csv")]
    assert (tmp_path / "out" / "leg_2" / "summary.json").exists()

"""What the command prints: short, whole, and without hidden characters."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import write_log

SAMPLES = Path(__file__).parents[2] / "sample_logs"
HOSTILE = "fast\x1b[31m\u202eevil\u2066.csv"


def test_two_exceedances_take_a_screen(run):
    done = run("analyze", SAMPLES / "descent_through_mmo_and_vmo.csv", "--limits",
               SAMPLES / "ouzelwing_240.toml")
    lines = done.out.splitlines()
    assert len(lines) <= 23
    assert all(len(line) <= 80 for line in lines if "against" not in line)
    table = [line.split() for line in lines if line.lstrip().startswith(("No.", "1  ", "2  "))]
    assert table[0] == ["No.", "Limit", "Start", "Span", "Time", "over", "Worst", "Severity"]
    assert table[1] == ["1", "MMO", "0:04:01.6", "4", "min", "48", "s", "4", "min", "45", "s",
                        "Mach", ".012", "(6.3", "kt)", "medium"]
    said = " ".join(done.out.split())
    assert said.count("example rules") == 1
    assert "1  In the 1 min 10 s before MMO was passed, the descent added 9.9 kt;" in done.out


def test_names_too_long_for_a_table_are_told_in_sentences(run, fast, sheet):
    sheet.write_text(sheet.read_text().replace('"VMO"', '"a limit with a name that is long"'))
    done = run("analyze", fast, "--limits", sheet)
    assert all(len(line) <= 80 for line in done.out.splitlines() if str(fast.parent) not in line)
    said = " ".join(done.out.split())
    assert ("1 a limit with a name that is long: start 0:00:19.8, span 9.5 s, time over 9.5 s, "
            "worst 5.0 kt, severity -.") in said


@pytest.mark.parametrize("options", [[], ["-q"], ["-v"], ["--json"]])
def test_controls_in_names_are_made_visible(run, tmp_path, sheet, options):
    log = write_log(tmp_path / HOSTILE, [230] * 20 + [250] * 10 + [230] * 20)
    sheet.write_text(sheet.read_text().replace("an invented twin", "twin \u202e\U000e0001"))
    done = run("analyze", log, "--limits", sheet, *options)
    assert done.code == 0, done.err
    for one in "\x1b\u202e\u2066\U000e0001":
        assert one not in done.out + done.err
    assert "\\u202e" in done.out
    inspected = run("inspect", log)
    assert "\x1b" not in inspected.out
    missing = run("analyze", tmp_path / f"no{HOSTILE}", "--limits", sheet)
    assert missing.code == 2
    assert "\x1b" not in missing.err
    assert "\\u202e" in missing.err


def test_quiet_is_one_short_unwrapped_line_a_flight(run, sheet, tmp_path):
    log = write_log(tmp_path / f"{'long' * 30}.csv", [230] * 20 + [250] * 10 + [230] * 20)
    (line,) = run("analyze", "-q", log, "--limits", sheet).out.splitlines()
    assert line == (f"{log}: exceeded: VMO by 5.0 kt at 0:00:20.0 (not determinable); VFE 20 "
                    "could not be judged (flap not recorded)")
    short = [line.partition(": ")[2] for line in run(
        "analyze", "-q", *sorted(SAMPLES.glob("*.csv")), "--limits",
        SAMPLES / "ouzelwing_240.toml").out.splitlines()]
    assert short == [
        "not exceeded, smallest margin 3.4 kt at 0:19:45.0",
        "exceeded: MMO by Mach .013 (6.0 kt) at 0:13:12.0 (proven over), severity medium",
        "exceeded: VMO by 10.0 kt at 0:08:29.2 (proven over), 2 exceedances, severity medium",
        "exceeded: VMO by 9.5 kt at 0:07:29.5 (proven over), 3 exceedances, severity medium; "
        "1 min 19 s of 18 min 00 s could not be judged"]

"""What a script learns from the exit code: clean, over, wrong input, no verdict, a fault."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loganalyze.cli import EXIT_CODES, group, main

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 250
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.6
"""


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    sheet = tmp_path / "limits.toml"
    sheet.write_text(SHEET)

    def running(*arguments: object) -> tuple[int, str, str]:
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            main(["analyze", *map(str, arguments), "--limits", str(sheet)])
        out, err = capsys.readouterr()
        return int(stopped.value.code or 0), out, err

    return running


def log(folder: Path, name: str, speeds: list[object], altitudes: list[object] | None = None
        ) -> Path:
    """Write a log of one row a second."""
    altitudes = altitudes or [10000.0 + i % 3 for i in range(len(speeds))]
    path = folder / name
    path.write_text("Time [s],Pressure Altitude [ft],CAS [kt]\n" + "".join(
        f"{i},{height},{speed}\n"
        for i, (height, speed) in enumerate(zip(altitudes, speeds, strict=True))))
    return path


def clean(count: int) -> list[object]:
    return [200 + i % 7 / 2 for i in range(count)]


def test_clean_over_and_wrong_input(tmp_path, run):
    under = log(tmp_path, "under.csv", clean(300))
    over = log(tmp_path, "over.csv", [240 + 20 * (i > 100) * min(1, (i - 100) / 20)
                                      for i in range(300)])
    assert run(under)[0] == run(under, "--fail-on-exceedance")[0] == 0
    assert run(over)[0] == 0
    assert run(over, "--fail-on-exceedance")[0] == 1
    broken = tmp_path / "broken.csv"
    broken.write_text("no log at all\n")
    assert run(broken)[0] == 2
    # The worst that happened counts.
    assert run(over, broken, under, "--fail-on-exceedance")[0] == 5
    assert run(broken, broken)[0] == 2


def test_a_flight_that_nobody_judged_passes_no_gate(tmp_path, run):
    lost = log(tmp_path, "lost.csv", [-9999] * 300)
    code, out, _ = run(lost, "--fail-on-exceedance", "-q")
    assert code == 3
    assert "could be judged" in out
    assert run(lost)[0] == 3
    over = log(tmp_path, "over.csv", [260.0 + i % 5 for i in range(300)])
    assert run(lost, over, "--fail-on-exceedance")[0] == 1


@pytest.mark.parametrize(("lost", "code"), [(100, 0), (140, 0), (160, 3), (290, 3)])
def test_a_flight_judged_for_less_than_half_of_its_time_counts_as_not_judged(
    lost, code, tmp_path, run
):
    speeds = [*clean(300 - lost), *([""] * lost)]
    path = log(tmp_path, "half.csv", speeds, [10000 + 20.0 * i for i in range(300)])
    found, out, _ = run(path, "-q")
    assert found == code
    # One line that says how much was not judged.
    assert len(out.splitlines()) == 1
    assert "could not be judged" in out
    assert ("(too little of the flight)" in out) is (code == 3)


def test_the_share_is_the_users_to_set(tmp_path, run):
    path = log(tmp_path, "half.csv", [*clean(200), *([""] * 100)],
               [10000 + 20.0 * i for i in range(300)])
    assert run(path)[0] == 0
    assert run(path, "--judged-least-pct", "90")[0] == 3


def test_a_limit_judged_for_too_little_is_named_though_others_were_judged(tmp_path, run):
    path = log(tmp_path, "low.csv", clean(300), [10000.0] * 50 + [""] * 250)
    code, out, _ = run(path)
    assert code == 3
    said = " ".join(out.split())
    assert "Too little for a verdict on the flight: MMO (judged for 17 %" in said


def test_samples_in_doubt_over_a_limit_pass_no_gate(tmp_path, run):
    speeds = clean(300)
    speeds[150:152] = [360.0, 362.0]
    code, out, _ = run(log(tmp_path, "doubt.csv", speeds), "--fail-on-exceedance")
    assert code == 3
    assert "not determined" in " ".join(out.split())


def test_a_fault_of_the_program_has_an_exit_code_of_its_own(tmp_path, run, monkeypatch):
    path = log(tmp_path, "flight.csv", clean(60))
    other = log(tmp_path, "other.csv", [260.0 + i % 5 for i in range(60)])

    def broken(*_: object, **__: object) -> None:
        raise StopIteration("nothing left")

    monkeypatch.setattr("loganalyze.explain.assessment.near_misses", broken)
    code, _, err = run(path, other, "--fail-on-exceedance")
    assert code == 4
    assert "Traceback" not in err
    assert err.count("a fault of this program") == 2
    assert str(path) in err
    monkeypatch.setenv("LOGANALYZE_DEBUG", "1")
    with pytest.raises(StopIteration):
        main(["analyze", str(path), "--limits", str(tmp_path / "limits.toml")])


def test_an_absurd_number_in_a_cell_ends_in_no_fault(tmp_path, run):
    speeds = clean(300)
    speeds[150] = "1e160"
    code, _, err = run(log(tmp_path, "absurd.csv", speeds))
    assert (code, err) == (0, "")


def test_the_codes_are_told_where_users_look(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    told = capsys.readouterr().out
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for line in EXIT_CODES.splitlines():
        if line[:4].strip().isdigit():
            assert line.strip().split("  ")[0] in told
    for code in "01234":
        assert f"`{code}`" in readme.split("Exit codes")[1][:900]
    assert group.epilog == EXIT_CODES


CONFIGURED = """
[[limit]]
name = "VFE 15"
quantity = "calibrated_airspeed"
maximum_kt = 180
when = { flap_deg = { above = 2, up_to = 15 } }
[[limit]]
name = "VFE 35"
quantity = "calibrated_airspeed"
maximum_kt = 150
when = { flap_deg = { above = 15 } }
[[limit]]
name = "VLE"
quantity = "calibrated_airspeed"
maximum_kt = 190
when = { gear_down = { is = true } }
"""


@pytest.fixture
def configured(tmp_path, run):
    """Limits of flaps and gear, none of which the logs here record, beside the others."""
    sheet = tmp_path / "limits.toml"
    sheet.write_text(SHEET + CONFIGURED)
    return run


def test_a_limit_whose_channel_is_not_recorded_is_named_in_the_one_line(tmp_path, configured):
    code, out, _ = configured(log(tmp_path, "plain.csv", clean(300)), "-q")
    assert code == 0
    assert len(out.splitlines()) == 1
    # And why, so that nobody takes the line for a verdict on them.
    assert "; VFE 15, VFE 35, VLE could not be judged (flap, gear_down not recorded)" in out
    over = log(tmp_path, "over.csv", [260.0 + i % 5 for i in range(300)])
    code, out, _ = configured(over, "-q")
    assert (code, len(out.splitlines())) == (0, 1)
    assert "VLE could not be judged (flap, gear_down not recorded)" in out


def test_it_is_in_the_results_too(tmp_path, configured):
    _, out, _ = configured(log(tmp_path, "plain.csv", clean(300)), "--json")
    (flight,) = json.loads(out)["flights"]
    assert flight["lacking_channels"] == {
        "VFE 15": ["flap"], "VFE 35": ["flap"], "VLE": ["gear_down"]}
    assert set(flight["judged_shares"]) == {"VMO", "MMO"}


def test_an_office_can_ask_for_every_limit(tmp_path, configured):
    path = log(tmp_path, "plain.csv", clean(300))
    assert configured(path, "--require-every-limit")[0] == 3
    over = log(tmp_path, "over.csv", [260.0 + i % 5 for i in range(300)])
    assert configured(over, "--require-every-limit")[0] == 3
    assert configured(over, "--require-every-limit", "--fail-on-exceedance")[0] == 1
    declared = ("--declare", "flap_deg=0", "--declare", "gear_down=0")
    code, out, _ = configured(path, "--require-every-limit", "-q", *declared)
    assert code == 0
    assert "could not be judged" not in out

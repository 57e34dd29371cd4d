"""`[configuration]`: its defaults, and what it refuses."""

from __future__ import annotations

import pytest

from loganalyze import Problem, read_limits

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[[limit]]
name = "VLO"
quantity = "calibrated_airspeed"
maximum_kt = 170
when = { gear_extending = { is = true } }
"""


def test_defaults_and_what_is_stated(tmp_path):
    path = tmp_path / "limits.toml"
    path.write_text(SHEET, encoding="utf-8")
    assert read_limits(path).configuration.model_dump() == {
        "flap_transit_s": 10.0, "gear_transit_s": 15.0, "gear_down": "lever"}
    path.write_text(SHEET + '[configuration]\nflap_transit_s = 12\ngear_down = "locked"\n',
                    encoding="utf-8")
    assert read_limits(path).configuration.model_dump() == {
        "flap_transit_s": 12.0, "gear_transit_s": 15.0, "gear_down": "locked"}


@pytest.mark.parametrize(("line", "said"), [
    ("flap_transit_s = -1", "flap_transit_s = -1 is outside 0 to 120"),
    ("gear_transit_s = 121", "gear_transit_s = 121 is outside 0 to 120"),
    ('gear_down = "up"', "gear_down"),
    ("flaps = 3", "flaps"),
])
def test_slips_are_refused_with_their_place(tmp_path, line, said):
    path = tmp_path / "limits.toml"
    path.write_text(f"{SHEET}[configuration]\n{line}\n", encoding="utf-8")
    with pytest.raises(Problem) as refused:
        read_limits(path)
    assert said in str(refused.value)
    assert "[configuration]" in str(refused.value)

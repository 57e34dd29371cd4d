"""Which crossings of two limits are worked out step by step in closed form."""

from __future__ import annotations

import json

import pytest

from loganalyze.cli import main

CAS, IAS = ({"quantity": f"{kind}_airspeed", "maximum_kt": 250.0}
            for kind in ("calibrated", "indicated"))
MACH, INDICATED_MACH = ({"quantity": kind, "maximum": 0.5} for kind in ("mach", "indicated_mach"))
EAS = {"quantity": "equivalent_airspeed", "maximum_kt": 245.0}
TAS = {"quantity": "true_airspeed", "maximum_kt": 310.0}
CAS_TABLE = {"quantity": "calibrated_airspeed", "by_pressure_altitude": [[0, 250], [40000, 250]]}
MACH_TABLE = {"quantity": "mach", "by_pressure_altitude": [[0, 0.5], [40000, 0.5]]}
CORRECTED = {"position_correction": [[100, 0.0], [300, 3.0]]}


def tables(limits, airspeed):
    stated = {"recorded": "indicated" if airspeed else "calibrated", **airspeed}
    parts = [("[airspeed]", stated), *(
        ("[[limit]]", {"name": f"limit {k}", **limit}) for k, limit in enumerate(limits))]
    return 'aircraft = "an invented twin"\n' + "".join(
        f"{head}\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in rows.items())
        for head, rows in parts)


@pytest.mark.parametrize(("below", "above", "airspeed", "closed"), [
    (CAS, MACH, {}, True), (IAS, MACH, {}, True), (CAS, INDICATED_MACH, {}, True),
    (CAS, MACH, CORRECTED, True), (IAS, MACH, CORRECTED, False),
    (CAS, INDICATED_MACH, CORRECTED, False), (EAS, MACH, {}, False), (CAS, TAS, {}, False),
    (CAS_TABLE, MACH, {}, False), (CAS, MACH_TABLE, {}, False),
])
def test_only_constants_taken_as_calibrated_cross_in_closed_form(
        below, above, airspeed, closed, tmp_path, capsys):
    path = tmp_path / "limits.toml"
    path.write_text(tables([below, above], airspeed))
    with pytest.raises(SystemExit) as left:
        main(["crossover", "--limits", str(path), "--steps"])
    assert not left.value.code
    output = " ".join(capsys.readouterr().out.split())
    assert ("no closed form" in output) != closed
    assert ("NACA" in output) == closed

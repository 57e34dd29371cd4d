"""Columns are recognised by their names and units; what is in doubt is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import FT, KT, PLAIN, export, lines

from loganalyze.problems import Problem
from loganalyze.read import read_log
from loganalyze.sheets.columns import Column, ColumnsFile

HEADERS = [
    # header, channel, unit as recorded, 100 of it in SI
    ("Pressure Altitude (ft)", "pressure_altitude", "ft", 100 * FT),
    ("PRESS ALT [m]", "pressure_altitude", "m", 100),
    ("pressure_altitude_ft", "pressure_altitude", "ft", 100 * FT),
    ("PressureAltitudeFt", "pressure_altitude", "Ft", 100 * FT),
    ("Altitude (pressure) ft", "pressure_altitude", "ft", 100 * FT),
    ("ALT_STD_FT", "pressure_altitude", "FT", 100 * FT),
    ("Alt 1013 [feet]", "pressure_altitude", "feet", 100 * FT),
    ("FL", "pressure_altitude", "FL", 10000 * FT),
    ("Hp [ft]", "pressure_altitude", "ft", 100 * FT),
    ("Pressure altitude, ft", "pressure_altitude", "ft", 100 * FT),
    ("IAS (kt)", "indicated_airspeed", "kt", 100 * KT),
    ("ias_kts", "indicated_airspeed", "kts", 100 * KT),
    ("KIAS", "indicated_airspeed", "kt", 100 * KT),
    ("Airspeed Indicated [KIAS]", "indicated_airspeed", "KIAS", 100 * KT),
    ("IAS km/h", "indicated_airspeed", "km/h", 100 / 3.6),
    ("IAS_km_h", "indicated_airspeed", "km/h", 100 / 3.6),
    ("IAS_L [kt]", "indicated_airspeed", "kt", 100 * KT),
    ("IAS_1_kt", "indicated_airspeed", "kt", 100 * KT),
    ("Computed Airspeed (m/s)", "calibrated_airspeed", "m/s", 100),
    ("CAS.mph", "calibrated_airspeed", "mph", 44.704),
    ("Vc [km/h]", "calibrated_airspeed", "km/h", 100 / 3.6),
    ("TAS kt", "true_airspeed", "kt", 100 * KT),
    ("SAT deg C", "static_air_temperature", "deg C", 373.15),
    ("SAT_C", "static_air_temperature", "C", 373.15),
    ("Total Air Temp (°C)", "total_air_temperature", "°C", 373.15),
    ("TAT [K]", "total_air_temperature", "K", 100),
    ("OAT_degF", "outside_air_temperature", "degF", (100 + 459.67) / 1.8),
    ("Mach", "mach", "1", 100),
    ("MACH_NO", "mach", "1", 100),
    ("Static Pressure [hPa]", "static_pressure", "hPa", 10000),
    ("QNH inHg", "altimeter_setting", "inHg", 338638.9),
    ("Vertical Speed (fpm)", "vertical_speed", "fpm", 100 * FT / 60),
    ("Roll angle [deg]", "roll", "deg", np.radians(100)),
    ("Flap Angle (deg)", "flap", "deg", np.radians(100)),
    ("GPS Altitude (ft)", "satellite_altitude", "ft", 100 * FT),
    ("Baro Altitude (ft)", "indicated_altitude", "ft", 100 * FT),
    ("Gross weight, lb", "weight", "lb", 45.359237),
    ("Torque %", "torque", "%", 1),
]


@pytest.mark.parametrize(("header", "channel", "unit", "hundred"), HEADERS)
def test_names_of_the_trade(header: str, channel: str, unit: str, hundred: float,
                            tmp_path: Path) -> None:
    others = {"pressure_altitude": "press_alt_m", "indicated_airspeed": "ias_mps"}
    names = ["time_s", header, *(name for key, name in others.items() if key != channel)]
    rows = [";".join([str(i), "100", "0", "0"][: len(names)]) for i in range(3)]
    read = read_log(export(tmp_path, lines(";".join(names), rows))).channels[channel]
    np.testing.assert_allclose(read.values, hundred, rtol=1e-12)
    assert (read.column, read.recorded_unit) == (header, unit)
    assert read.known_by.startswith("recognised by its name")


@pytest.mark.parametrize("header", ["HP", "PS [deg]", "T [degC]", "EGT [degC]", "VS"])
def test_short_symbols_of_other_things_are_left_alone(header: str, tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN.replace("\n", ",5\n").replace("degc,5", f"degc,{header}"))
    assert set(read_log(path).channels) == {
        "pressure_altitude", "indicated_airspeed", "static_air_temperature"}


def test_the_columns_file_wins(tmp_path: Path) -> None:
    path = export(tmp_path, lines("UTC,HP,VC,SAT,IAS_kt",
                                  ["12:00:00,3000,360,-5,1", "12:00:01,3000,360,-5,1"]))
    sheet = tmp_path / "columns.toml"
    sheet.write_text("""[columns]
time = { column = "UTC" }
pressure_altitude = { column = "HP", unit = "m" }
calibrated_airspeed = { column = "VC", unit = "km/h" }
static_air_temperature = { column = "SAT", unit = "degC" }
""")
    log = read_log(path, sheet)
    assert log.channels["pressure_altitude"].values.tolist() == [3000, 3000]
    np.testing.assert_allclose(log.channels["calibrated_airspeed"].values, 100)
    np.testing.assert_allclose(log.channels["static_air_temperature"].values, 268.15)
    assert log.channels["pressure_altitude"].known_by == (
        "named in the columns file, unit from the columns file")
    assert "indicated_airspeed" in log


def test_a_columns_file_may_name_channels_of_its_own(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN.replace("\n", ",7\n").replace("degc,7", "degc,Winch"))
    sheet = ColumnsFile(columns={"winch_tension": Column(column="Winch")})
    assert read_log(path, sheet).channels["winch_tension"].values.tolist() == [7, 7, 7, 7]


def test_a_columns_file_settles_an_ambiguous_temperature(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN.replace("sat_degc", "temperature_degc"))
    sheet = ColumnsFile(columns={"total_air_temperature": Column(column="temperature_degc")})
    log = read_log(path, sheet)
    assert log.channels["total_air_temperature"].recorded_unit == "degc"


def test_a_columns_file_that_names_no_column_of_the_log(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN)
    sheet = ColumnsFile(columns={"indicated_airspeed": Column(column="Speed", unit="kt")})
    with pytest.raises(Problem) as caught:
        read_log(path, sheet)
    assert caught.value.sentence == (
        f'{path}: the columns file names "Speed" for indicated_airspeed, but no column is called '
        "so; name one of the columns found.")
    assert caught.value.details == (
        'columns found: "time_s", "pressure_altitude_ft", "ias_kt", "sat_degc"')


def test_kelvin_is_inferred_where_nothing_else_fits(tmp_path: Path) -> None:
    text = "time_s,press_alt_ft,ias_kt,OAT\n0,0,200,288.1\n1,0,200,288.2\n"
    log = read_log(export(tmp_path, text))
    assert log.channels["outside_air_temperature"].values.tolist() == [288.1, 288.2]
    assert log.channels["outside_air_temperature"].known_by == (
        "recognised by its name, unit inferred")
    assert log.source.inferred == (
        '"OAT" states no unit; all its values lie within 180 to 330: taken as kelvin.',)


def test_kelvin_is_not_inferred_from_the_first_rows_alone(tmp_path: Path) -> None:
    rows = [f"{i},0,200,{250 if i < 900 else 20}" for i in range(1000)]
    path = export(tmp_path, lines("time_s,press_alt_ft,ias_kt,OAT", rows))
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}: nothing states the unit of column "OAT", and not all its values are kelvin; '
        "state it in a columns file.")


def test_what_the_verdict_does_not_rest_on_is_left_unread_and_said_so(tmp_path: Path) -> None:
    path = export(tmp_path, "time_s,press_alt_ft,ias_kt,flap,N1_L_%,N1_R_%,Ground speed [furlong]\n"
                  "0,0,200,5,90,91,1\n1,0,200,5,90,91,1\n")
    log = read_log(path)
    assert set(log.channels) == {"pressure_altitude", "indicated_airspeed"}
    assert log.source.inferred == (
        'Column "flap" (flap angle) states no unit: not read.',
        'Column "Ground speed [furlong]" was not read: the unit "furlong" of column "Ground speed '
        "[furlong]\" isn't known.",
        'Columns "N1_L_%" and "N1_R_%" may each be the engine N1: not read.',
    )


def test_states_may_be_numbers_or_words(tmp_path: Path) -> None:
    path = export(tmp_path, "time_s,press_alt_ft,ias_kt,gear_down,WOW,AP engaged\n"
                  "0,0,200,DOWN,1,ON\n1,0,200,UP,0,OFF\n2,0,200,,,\n")
    log = read_log(path)
    for name in ("gear_down", "weight_on_wheels", "autopilot"):
        np.testing.assert_array_equal(log.channels[name].values, [1, 0, np.nan])


@pytest.mark.parametrize(("header", "rows", "sentence", "details"), [
    ("time_s,altitude_ft,ias_kt", ["0,1,2", "1,1,2"],
     '{}: column "altitude_ft" may be pressure altitude, indicated (baro-corrected) altitude or '
     "satellite altitude; say which in a columns file.",
     'columns found: "time_s", "altitude_ft", "ias_kt"\na columns file to start from:\n[columns]\n'
     'time = { column = "time_s" }\n'
     'pressure_altitude = { column = "?", unit = "ft" }   # check\n'
     'indicated_airspeed = { column = "ias_kt", unit = "kt" }'),
    ("time_s,press_alt_ft,airspeed_kt", ["0,1,2", "1,1,2"],
     '{}: column "airspeed_kt" may be indicated airspeed, calibrated airspeed or true airspeed; '
     "say which in a columns file.", None),
    ("time_s,press_alt_ft,Speed", ["0,1,2", "1,1,2"],
     '{}: column "Speed" may be indicated airspeed, calibrated airspeed or true airspeed; '
     "say which in a columns file.", None),
    ("time_s,press_alt_ft,ias_kt,Temperature (degC)", ["0,1,2,3", "1,1,2,3"],
     '{}: column "Temperature (degC)" may be static air temperature, total air temperature or '
     "outside air temperature; say which in a columns file.", None),
    ("time_s,press_alt_ft,sat_degc", ["0,1,2", "1,1,2"],
     "{}: no column is recognised as the indicated or calibrated airspeed; name it in a columns "
     "file.",
     'columns found: "time_s", "press_alt_ft", "sat_degc"\na columns file to start from:\n'
     '[columns]\ntime = { column = "time_s" }\n'
     'pressure_altitude = { column = "press_alt_ft", unit = "ft" }\n'
     'indicated_airspeed = { column = "?", unit = "kt" }   # check\n'
     'static_air_temperature = { column = "sat_degc", unit = "degC" }'),
    ("time_s,ias_kt,sat_degc", ["0,1,2", "1,1,2"],
     "{}: no column is recognised as the pressure altitude; name it in a columns file.", None),
    ("when,press_alt_ft,ias_kt", ["0,1,2", "1,1,2"],
     "{}: no column is recognised as the time; name it in a columns file.", None),
    ("time_s,press_alt_ft,IAS_L_kt,IAS_R_kt", ["0,1,2,3", "1,1,2,3"],
     '{}: columns "IAS_L_kt" and "IAS_R_kt" may each be the indicated airspeed; choose one in a '
     "columns file.", None),
    ("time_s,press_alt_ft,ias [furlong/h]", ["0,1,2", "1,1,2"],
     '{}: the unit "furlong/h" of column "ias [furlong/h]" isn\'t known; state the unit in a '
     "columns file as one of kt, km/h, m/s, mph, ft/min, 100 ft/min, ft/s, m/min.",
     None),
    ("time_s,press_alt_ft,ias [degC]", ["0,1,2", "1,1,2"],
     '{}: column "ias [degC]" states the unit "degC", which isn\'t one of speed, so it can\'t be '
     "the indicated airspeed; say what it is in a columns file.", None),
    ("time_s,press_alt_ft,IAS", ["0,1,2", "1,1,2"],
     '{}: nothing states the unit of column "IAS" (indicated airspeed); state it in a columns '
     "file.", None),
    ("time_s,press_alt_ft,ias_kt,OAT", ["0,1,2,-30", "1,1,2,-30"],
     '{}: nothing states the unit of column "OAT" (outside air temperature); state it in a '
     "columns file.", None),
    ("time (s),press_alt [ft],ias [kt]\ns,m,kt", ["0,1,2", "1,1,2"],
     '{}: column "press_alt [ft]" states the unit "ft" in its name and "m" in the units row; '
     "state the right one in a columns file.", None),
    ("time,press_alt_ft,ias_kt", ["0,1,2", "100,1,2"],
     '{}, line 2: nothing states whether the time column "time" counts seconds or milliseconds; '
     'state its unit in a columns file, such as time = {{ column = "time", unit = "s" }}.', None),
    ("time [ticks],press_alt_ft,ias_kt", ["0,1,2", "1,1,2"],
     '{}, line 2: the unit "ticks" of the time column "time [ticks]" isn\'t known; state the unit '
     "in a columns file as one of s, ms, us, ns, min, h.", None),
])
def test_doubt_is_refused(header: str, rows: list[str], sentence: str, details: str | None,
                          tmp_path: Path) -> None:
    path = export(tmp_path, lines(header, rows))
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == sentence.format(path)
    if details is not None:
        assert caught.value.details == details

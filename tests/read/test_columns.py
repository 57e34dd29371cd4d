"""Columns are recognised by their names and units; what is in doubt is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import FT, KT, PLAIN, export, lines

from loganalyze import ColumnsFile, Problem, read_log
from loganalyze.sheets.columns_file import Column
from loganalyze.text.language import reading_text

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
    ("Mach [thousandths]", "mach", "thousandths", 0.1),
    ("Static Pressure [hPa]", "static_pressure", "hPa", 10000),
    ("QNH inHg", "altimeter_setting", "inHg", 338638.9),
    ("Vertical Speed (fpm)", "vertical_speed", "fpm", 100 * FT / 60),
    ("Roll angle [deg]", "roll", "deg", np.radians(100)),
    ("Flap Angle (deg)", "flap", "deg", np.radians(100)),
    ("GPS Altitude (ft)", "satellite_altitude", "ft", 100 * FT),
    ("Baro Altitude (ft)", "indicated_altitude", "ft", 100 * FT),
    ("Gross weight, lb", "weight", "lb", 45.359237),
    ("Torque %", "torque", "%", 1),
    ("Alt Std (ft x 100)", "pressure_altitude", "ft x 100", 10000 * FT),
    ("ADC1_CAS_kt", "calibrated_airspeed", "kt", 100 * KT),
    ("IAS (F/O) [kt]", "indicated_airspeed", "kt", 100 * KT),
    ("Ps [mmHg]", "static_pressure", "mmHg", 13332.24),
    ("Impact Press (psi)", "impact_pressure", "psi", 689475.7293168361),
    ("Vert Accel [m/s2]", "load_factor", "m/s2", 100 / 9.80665),
    ("Max Allowable Airspeed kt", "limit_pointer", "kt", 100 * KT),
    ("Fuel Qty [lbs x 1000]", "fuel", "lbs x 1000", 45359.237),
    ("Flap Handle Pos (deg)", "flap_lever", "deg", np.radians(100)),
    ("GPS LAT [deg]", "latitude", "deg", np.radians(100)),
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
    assert reading_text.known_by(read).startswith("recognised by its name")


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
    assert reading_text.known_by(log.channels["pressure_altitude"]) == (
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
    assert caught.value.details.splitlines()[0] == (
        'columns found: "time_s", "pressure_altitude_ft", "ias_kt", "sat_degc"')
    assert 'indicated_airspeed = { column = "?", unit = "kt" }   # check' in caught.value.starter


def test_kelvin_is_inferred_where_nothing_else_fits(tmp_path: Path) -> None:
    text = "time_s,press_alt_ft,ias_kt,OAT\n0,0,200,288.1\n1,0,200,288.2\n"
    log = read_log(export(tmp_path, text))
    assert log.channels["outside_air_temperature"].values.tolist() == [288.1, 288.2]
    assert reading_text.known_by(log.channels["outside_air_temperature"]) == (
        "recognised by its name, unit inferred")
    assert reading_text.sentences(log.source.inferred) == (
        '"OAT" states no unit; all its values lie within 180 to 330: taken as kelvin.',)


def test_kelvin_is_not_inferred_from_the_first_rows_alone(tmp_path: Path) -> None:
    rows = [f"{i},0,200,{250 if i < 900 else 20}" for i in range(1000)]
    log = read_log(export(tmp_path, lines("time_s,press_alt_ft,ias_kt,OAT", rows)))
    # No airspeed or Mach limit needs it: the log is read without it.
    assert set(log.channels) == {"pressure_altitude", "indicated_airspeed"}
    assert reading_text.sentences(log.source.inferred) == (
        'Column "OAT" (outside air temperature) states no unit, and not all its values are kelvin: '
        "not read; state its unit in a columns file.",)


@pytest.mark.parametrize(("name", "note"), [
    ("Temperature (degC)",
     'Column "Temperature (degC)" may be static air temperature, total air temperature or outside '
     "air temperature: not read; say which in a columns file."),
    ("OAT", 'Column "OAT" (outside air temperature) states no unit: not read.'),
    ("OAT [furlong]", 'Column "OAT [furlong]" was not read: the unit "furlong" of column "OAT '
     "[furlong]\" isn't known."),
])
def test_a_temperature_in_doubt_is_left_unread_and_said_so(
    name: str, note: str, tmp_path: Path
) -> None:
    log = read_log(export(tmp_path, lines(f"time_s,press_alt_ft,ias_kt,{name}",
                                          ["0,1,2,-30", "1,1,2,-30"])))
    assert set(log.channels) == {"pressure_altitude", "indicated_airspeed"}
    assert reading_text.sentences(log.source.inferred) == (note,)


@pytest.mark.parametrize("more", ["", ",gps_alt_ft", ",baro_alt_ft"])
def test_an_absent_altitude_is_not_refused(more: str, tmp_path: Path) -> None:
    rows = [f"{i},200{',9' if more else ''}" for i in range(3)]
    log = read_log(export(tmp_path, lines(f"time_s,ias_kt{more}", rows)))
    assert "pressure_altitude" not in log
    assert 'indicated_airspeed = { column = "ias_kt", unit = "kt" }' in log.source.starter
    assert 'pressure_altitude = { column = "?", unit = "ft" }   # check' in log.source.starter


def test_a_recorded_altitude_leaves_no_columns_file_to_start_from(tmp_path: Path) -> None:
    assert read_log(export(tmp_path, PLAIN)).source.starter == ""


def test_an_airspeed_from_the_mach_number_needs_the_altitude(tmp_path: Path) -> None:
    path = export(tmp_path, lines("time_s,mach", ["0,0.5", "1,0.5", "2,0.5"]))
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f"{path}: no column is recognised as the pressure altitude; name it as "
        "pressure_altitude under [columns] in a columns file.")


def test_what_the_verdict_does_not_rest_on_is_left_unread_and_said_so(tmp_path: Path) -> None:
    path = export(tmp_path, "time_s,press_alt_ft,ias_kt,flap,N1_%,N1 [%],Ground speed [furlong]\n"
                  "0,0,200,5,90,91,1\n1,0,200,5,90,91,1\n")
    log = read_log(path)
    assert set(log.channels) == {"pressure_altitude", "indicated_airspeed"}
    assert reading_text.sentences(log.source.inferred) == (
        'Column "Ground speed [furlong]" was not read: the unit "furlong" of column "Ground speed '
        "[furlong]\" isn't known.",
        'Columns "N1_%" and "N1 [%]" may each be the engine N1: not read.',
        'Column "flap" (flap angle) states no unit: not read.',
    )


def test_two_sources_are_both_kept(tmp_path: Path) -> None:
    names = ["time_s", "press_alt_2_ft", "press_alt_1_m", "IAS (CAPT) [kt]", "IAS (F/O) [kt]",
             "IAS STBY [kt]", "GS [kt]"]
    path = export(tmp_path, lines(",".join(names), ["0,1000,300,200,201,202,9"] * 2).replace(
        "202,9\n", "202,9\n1", 1).replace("\n10,", "\n1,"))
    log = read_log(path)
    assert {name: channel.column for name, channel in log.channels.items()} == {
        "pressure_altitude": "press_alt_1_m", "pressure_altitude_2": "press_alt_2_ft",
        "indicated_airspeed": "IAS (CAPT) [kt]", "indicated_airspeed_2": "IAS (F/O) [kt]",
        "indicated_airspeed_3": "IAS STBY [kt]", "ground_speed": "GS [kt]"}
    assert log.channels["pressure_altitude_2"].values[0] == pytest.approx(1000 * FT)
    assert reading_text.sentences(log.source.inferred) == (
        '"press_alt_1_m" was taken as the pressure altitude, "press_alt_2_ft" as another source '
        "of it.",
        '"IAS (CAPT) [kt]" was taken as the indicated airspeed, "IAS (F/O) [kt]" and "IAS STBY '
        '[kt]" as other sources of it.')


def test_the_columns_file_chooses_one_of_two_sources(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN.replace("\n", ",1\n").replace("ias_kt", "IAS_L_kt").replace(
        "degc,1", "degc,IAS_R_kt"))
    sheet = ColumnsFile(columns={"indicated_airspeed": Column(column="IAS_R_kt")})
    log = read_log(path, sheet)
    assert log.channels["indicated_airspeed"].column == "IAS_R_kt"
    assert log.channels["indicated_airspeed_2"].column == "IAS_L_kt"
    assert reading_text.sentences(log.source.inferred) == (
        '"IAS_R_kt" was taken as the indicated airspeed, "IAS_L_kt" as another source of it.',)


def test_an_unmarked_column_comes_before_a_standby_one(tmp_path: Path) -> None:
    log = read_log(export(tmp_path, "time_s,IAS_STBY_kt,IAS_kt,press_alt_ft\n0,1,2,3\n1,1,2,3\n"))
    assert log.channels["indicated_airspeed"].column == "IAS_kt"
    assert log.channels["indicated_airspeed_2"].column == "IAS_STBY_kt"


@pytest.mark.parametrize(("header", "channels"), [
    ("time_s,Static pressure [hPa],Impact pressure [hPa]", {"static_pressure", "impact_pressure"}),
    ("time_s,Ps [hPa],Pt [hPa]", {"static_pressure", "total_pressure"}),
    ("time_s,Baro alt [ft],QNH [hPa],CAS [kt]", {"indicated_altitude", "altimeter_setting",
                                                 "calibrated_airspeed"}),
    ("time_s,press_alt_ft,Mach", {"pressure_altitude", "mach"}),
])
def test_any_sufficient_set_will_do(header: str, channels: set[str], tmp_path: Path) -> None:
    cells = ",".join(["0.5"] * header.count(","))
    log = read_log(export(tmp_path, lines(header, [f"0,{cells}", f"1,{cells}"])))
    assert set(log.channels) == channels


@pytest.mark.parametrize(("header", "value", "channel", "si", "said"), [
    ("QNH", "1013", "altimeter_setting", 101300, "all its values lie within 850 to 1100: taken as "
     "hPa"),
    ("QNH", "29.92", "altimeter_setting", 101320.75888, "all its values lie within 25.1 to 32.5: "
     "taken as inHg"),
    ("Heading", "359", "heading", np.radians(359), "its values reach 359, more than a whole turn "
     "in radians: taken as deg"),
    ("Longitude", "-71.5", "longitude", np.radians(-71.5), "its values reach -71.5, more than a "
     "whole turn in radians: taken as deg"),
    ("Normal acceleration", "1.02", "load_factor", 1.02, "its values lie about 1.02, and most of "
     "any flight is flown at 1 g: taken as g"),
    ("Normal acceleration", "9.9", "load_factor", 9.9 / 9.80665, "its values lie about 9.9, and "
     "most of any flight is flown at 1 g: taken as m/s2"),
    ("Static pressure", "101325", "static_pressure", 101325, "all its values lie within 4000 to "
     "110000: taken as Pa"),
    ("Fan speed", "88.5", "fan_speed", 0.885, "its values reach 88.5: taken as %"),
])
def test_a_unit_is_inferred_where_no_other_fits(header: str, value: str, channel: str, si: float,
                                                said: str, tmp_path: Path) -> None:
    path = export(tmp_path, lines(f"time_s,press_alt_ft,ias_kt,{header}",
                                  [f"0,0,200,{value}", f"1,0,200,{value}"]))
    log = read_log(path)
    assert log.channels[channel].values == pytest.approx([si, si])
    assert reading_text.known_by(log.channels[channel]) == "recognised by its name, unit inferred"
    assert reading_text.sentences(log.source.inferred) == (f'"{header}" states no unit; {said}.',)


@pytest.mark.parametrize(("header", "value", "said"), [
    ("Heading", "3", "Column \"Heading\" (heading) states no unit: not read."),
    ("Static pressure", "760", 'Column "Static pressure" (static pressure) states no unit: not '
     "read."),
    ("Gross weight", "5000", 'Column "Gross weight" (gross weight) states no unit: not read.'),
    ("Torque", "45", 'Column "Torque" (engine torque) states no unit: not read.'),
    ("Mach", "780", 'Column "Mach" (Mach number) states no unit, and holds numbers such as 780: '
     "not read."),
    ("Landing gear", "1", 'Column "Landing gear" (landing gear down) doesn\'t say which of 0 and '
     "1 is landing gear down; say so under values in a columns file: not read."),
    ("Gear down", "3", 'Column "Gear down" (landing gear down) holds 3, which is neither 0 nor 1; '
     "say what it means under values in a columns file: not read."),
    ("ALT FINE [ft]", "3", None),
])
def test_what_the_data_leave_in_doubt_is_not_read(header: str, value: str, said: str | None,
                                                  tmp_path: Path) -> None:
    path = export(tmp_path, lines(f"time_s,press_alt_ft,ias_kt,{header}",
                                  [f"0,0,200,{value}", f"1,0,200,{value}"]))
    log = read_log(path)
    assert set(log.channels) == {"pressure_altitude", "indicated_airspeed"}
    assert reading_text.sentences(log.source.inferred) == ((said,) if said else ())


def test_states_may_be_numbers_or_words(tmp_path: Path) -> None:
    path = export(tmp_path, "time_s,press_alt_ft,ias_kt,gear_down,WOW,AP engaged\n"
                  "0,0,200,DOWN,1,ON\n1,0,200,UP,0,OFF\n2,0,200,,,\n")
    log = read_log(path)
    for name in ("gear_down", "weight_on_wheels", "autopilot"):
        np.testing.assert_array_equal(log.channels[name].values, [1, 0, np.nan])


@pytest.mark.parametrize(("header", "rows", "sentence", "details"), [
    ("time_s,altitude_ft,ias_kt", ["0,1,2", "1,1,2"],
     '{}: column "altitude_ft" may be pressure altitude, indicated (baro-corrected) altitude or '
     'satellite altitude; say which in a columns file, such as pressure_altitude = {{ column = '
     '"altitude_ft" }}.',
     'columns found: "time_s", "altitude_ft", "ias_kt"\na columns file to start from:\n'
     '[file]\ndelimiter = "comma"\ndecimal = "point"\n\n[columns]\n'
     'time = { column = "time_s", unit = "s" }\n'
     'pressure_altitude = { column = "?", unit = "ft" }   # check\n'
     'indicated_airspeed = { column = "ias_kt", unit = "kt" }'),
    ("time_s,press_alt_ft,airspeed_kt", ["0,1,2", "1,1,2"],
     '{}: column "airspeed_kt" may be indicated airspeed, calibrated airspeed or true airspeed; '
     'say which in a columns file, such as indicated_airspeed = {{ column = "airspeed_kt" }}.',
     None),
    ("time_s,press_alt_ft,Speed", ["0,1,2", "1,1,2"],
     '{}: column "Speed" may be indicated airspeed, calibrated airspeed or true airspeed; '
     'say which in a columns file, such as indicated_airspeed = {{ column = "Speed" }}.', None),
    ("time_s,press_alt_ft,sat_degc", ["0,1,2", "1,1,2"],
     "{}: no column is recognised as the indicated or calibrated airspeed; name it as "
     "indicated_airspeed under [columns] in a columns file.",
     'columns found: "time_s", "press_alt_ft", "sat_degc"\na columns file to start from:\n'
     '[file]\ndelimiter = "comma"\ndecimal = "point"\n\n[columns]\n'
     'time = { column = "time_s", unit = "s" }\n'
     'pressure_altitude = { column = "press_alt_ft", unit = "ft" }\n'
     'indicated_airspeed = { column = "?", unit = "kt" }   # check\n'
     'static_air_temperature = { column = "sat_degc", unit = "degC" }'),
    ("time_s,Altitude [ft],ias_kt", ["0,1,2", "1,1,2"],
     '{}: column "Altitude [ft]" may be pressure altitude, indicated (baro-corrected) altitude or '
     'satellite altitude; say which in a columns file, such as pressure_altitude = {{ column = '
     '"Altitude [ft]" }}.', None),
    ("when,press_alt_ft,ias_kt", ["0,1,2", "1,1,2"],
     "{}: no column is recognised as the time; name it as time under [columns] in a columns "
     "file.", None),
    ("time_s,press_alt_ft,IAS_kt,KIAS", ["0,1,2,3", "1,1,2,3"],
     '{}: columns "IAS_kt" and "KIAS" may each be the indicated airspeed; choose one as '
     "indicated_airspeed under [columns] in a columns file.", None),
    ("time_s,press_alt_ft,IAS_kt,IAS_L_kt", ["0,1,2,3", "1,1,2,3"],
     '{}: columns "IAS_kt" and "IAS_L_kt" may each be the indicated airspeed; choose one as '
     "indicated_airspeed under [columns] in a columns file.", None),
    ("time_s,press alt coarse [ft],press alt fine [ft],ias_kt", ["0,1,2,3", "1,1,2,3"],
     '{}: column "press alt coarse [ft]" holds the coarse word of the pressure altitude; name both '
     'words in a columns file, such as pressure_altitude = {{ column = "press alt coarse [ft]", '
     'fine = "?", fine_span = 5000 }}.', None),
    ("time_s,press_alt_ft,ias [furlong/h]", ["0,1,2", "1,1,2"],
     '{}: the unit "furlong/h" of column "ias [furlong/h]" isn\'t known; state unit for '
     "indicated_airspeed in a columns file as one of kt, km/h, m/s, mph, ft/min, "
     "100 ft/min, ft/s, m/min.",
     None),
    ("time_s,press_alt_ft,ias [degC]", ["0,1,2", "1,1,2"],
     '{}: column "ias [degC]" states the unit "degC", which isn\'t one of speed, so it can\'t be '
     "the indicated airspeed; state unit for indicated_airspeed, or name another column as "
     "it, in a columns file.", None),
    ("time_s,press_alt_ft,IAS", ["0,1,2", "1,1,2"],
     '{}: nothing states the unit of column "IAS" (indicated airspeed); state unit for '
     "indicated_airspeed under [columns] in a columns file.", None),
    ("time (s),press_alt [ft],ias [kt]\ns,m,kt", ["0,1,2", "1,1,2"],
     '{}: column "press_alt [ft]" states the unit "ft" in its name and "m" in the units row; '
     "state the right unit for pressure_altitude in a columns file.", None),
    ("time,press_alt_ft,ias_kt", ["0,1,2", "100,1,2"],
     '{}, line 2: nothing states whether the time column "time" counts seconds or milliseconds; '
     'state its unit in a columns file, such as time = {{ column = "time", unit = "s" }}.', None),
    ("time [ticks],press_alt_ft,ias_kt", ["0,1,2", "1,1,2"],
     '{}, line 2: the unit "ticks" of the time column "time [ticks]" isn\'t known; state unit for '
     "time in a columns file as one of s, ms, us, ns, min, h.", None),
])
def test_doubt_is_refused(header: str, rows: list[str], sentence: str, details: str | None,
                          tmp_path: Path) -> None:
    path = export(tmp_path, lines(header, rows))
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == sentence.format(path)
    if details is not None:
        assert caught.value.details == details

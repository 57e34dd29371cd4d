"""Writes the exports that must be refused; called by ``write.py``."""

from __future__ import annotations

import gzip
import io
import shutil
import tarfile
import zipfile

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from gallery.climb import truth
from gallery.writing import FEW, HERE, T, elapsed, few, grid, put, stamps, text

NAMES = "Time [s],Pressure Altitude [ft],IAS [kt],SAT [degC]\n"


def zipped(files: dict[str, str]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return stream.getvalue()


def no_logs(plain: str) -> None:
    put("refused/empty.csv", b"")
    put("refused/blank.csv", "\n\n   \n\n")
    put("refused/header_only.csv", NAMES)
    put("refused/prose.txt", "Dear colleague,\nthe recorder was read out, as you asked.\nThe "
        "speed looked high, to me.\nRegards\n")
    put("refused/web_page.csv", "<!DOCTYPE html>\n<html><head><title>Session expired</title>"
        "</head>\n<body><p>Log in, please, to download this flight.</p></body></html>\n")
    put("refused/no_header.csv", plain.split("\n", 1)[1])
    words = np.random.default_rng(7).integers(0, 4096, 512).astype("<u2")
    put("refused/memory.bin", words.tobytes())
    put("refused/workbook.xlsx", zipped({"[Content_Types].xml": "<Types/>", "xl/sheet.xml": ""}))
    put("refused/two_members.zip", zipped({"flight_1.csv": plain, "flight_2.csv": plain}))
    put("refused/cut.zip", zipped({"flight.csv": plain})[:-150])
    stream = io.BytesIO()
    with tarfile.open(fileobj=stream, mode="w") as archive:
        entry = tarfile.TarInfo("flight.csv")
        entry.size = len(plain)
        archive.addfile(entry, io.BytesIO(plain.encode()))
    put("refused/archive.tar.gz", gzip.compress(stream.getvalue(), mtime=0))
    put("refused/cut.csv.gz", gzip.compress(plain.encode(), mtime=0)[:-150])
    whole = io.BytesIO()
    pq.write_table(pa.table({"Time [s]": T}), whole)
    put("refused/cut.parquet", whole.getvalue()[:-40])
    put("refused/cut_utf16.csv", plain.encode("utf-16")[:-1])


def headers(rows: list[list[str]]) -> None:
    later = [[*row, "Gear Down" if not i else "0"] for i, row in enumerate([rows[0], *rows[21:]])]
    put("refused/later_channel.csv", text(rows[:21]) + text(later))
    other = [cell.replace("IAS", "CAS") for cell in rows[0]]
    put("refused/later_names.csv", text(rows[:21]) + text([other, *rows[21:]]))
    put("refused/rows_above_header.csv", text(rows[1:21]) + text(later))
    mixed = [[*row] for row in rows]
    for i, row in enumerate(mixed[1:]):
        row[1] = f"{row[1]} ft" if i < 30 else f"{int(row[1]) * 0.3048:.0f} m"
    put("refused/two_units_in_cells.csv", text([[*rows[0][:1], "Pressure Altitude",
                                                 *rows[0][2:]], *mixed[1:]]))


def cells(rows: list[list[str]]) -> None:
    def changed(line: int, column: int, cell: str) -> str:
        copy = [[*row] for row in rows]
        copy[line - 1][column] = cell
        return text(copy)

    put("refused/word_for_a_number.csv", changed(12, 2, "fast"))
    short = [[*row] for row in rows]
    del short[6][1]
    put("refused/short_line.csv", text(short))
    gear = [[*row, "Gear Down" if not i else "TRANSIT" if i == 4 else "DOWN" if i < 4 else "UP"]
            for i, row in enumerate(rows)]
    put("refused/unknown_state.csv", text(gear))
    put("refused/name_missing.csv", text([rows[0][:-1], *rows[1:]]))
    both = [[*row] for row in rows]
    for row in both[1:]:
        row[1] = f"{int(row[1]) // 1000}.{int(row[1]) % 1000:03},5"
        row[2:4] = [cell.replace(".", ",") for cell in row[2:4]]
    put("refused/thousands_beside_comma.csv", text(both, ";"))
    doubtful = [["Time [s]", "Pressure Altitude [ft]", "IAS [kt]"]]
    doubtful += [[row[0], f"{int(row[1]):,}", str(int(float(row[2])))] for row in rows[1:]]
    put("refused/thousands_or_comma.csv", text(doubtful, ";"))


def columns(rows: list[list[str]]) -> None:
    def headed(name: str, *names: str, columns: str = "") -> None:
        put(f"refused/{name}.csv", text([list(names), *rows[1:]]), columns)

    time, altitude, speed, temperature = rows[0]
    headed("unit_unknown", time, altitude, "IAS [furlong/h]", temperature)
    headed("unit_unstated", time, "Pressure Altitude", speed, temperature)
    put("refused/units_disagree.csv", text([
        ["Time", "Pressure Altitude", "IAS (kt)", "SAT"], ["s", "ft", "km/h", "degC"], *rows[1:]]))
    headed("which_altitude", time, "Altitude [ft]", speed, temperature)
    headed("which_airspeed", time, altitude, "Airspeed [kt]", temperature)
    headed("no_time", "Sample", altitude, speed, temperature)
    headed("no_airspeed", time, altitude, "Ground Speed [kt]", temperature)
    headed("named_column_missing", time, altitude, speed, temperature, columns="""[columns]
indicated_airspeed = { column = "VIAS", unit = "kt" }
""")
    headed("no_family", time, "HP", "VI", "TS")
    headed("two_families", "CLK", "HP", "VI", "TS")
    for name in "ab":
        put(f"refused/families/{name}.toml", f"""[signature]
header = ["CLK", "{"HP" if name == "a" else "VI"}"]
[columns]
time = {{ column = "CLK", unit = "s" }}
pressure_altitude = {{ column = "HP", unit = "{"ft" if name == "a" else "m"}" }}
indicated_airspeed = {{ column = "VI", unit = "kt" }}
""")
    put("refused/two_airspeeds.csv", text(grid(T, elapsed(), [
        FEW[0], ("IAS [kt]", *FEW[1][1:]), ("KIAS", *FEW[1][1:]), FEW[2]])))
    twice = [[*row[:3], row[2], row[3]] for row in rows]
    put("refused/same_name.csv", text(twice))
    speeds = pa.array(truth("indicated_airspeed", T))
    names = ["Time [s]", "Pressure Altitude [ft]", "IAS [kt]"]
    heights = pa.array(truth("pressure_altitude", T))
    (HERE / "refused").mkdir(exist_ok=True)
    pq.write_table(pa.Table.from_arrays([pa.array(T), heights, speeds, speeds],
                                        [*names, "IAS [kt]"]), HERE / "refused/same_name.parquet")
    pair = pa.StructArray.from_arrays([speeds, speeds], ["left", "right"])
    pq.write_table(pa.Table.from_arrays([pa.array(T), heights, pair], names),
                   HERE / "refused/nested.parquet")


def clocks(rows: list[list[str]]) -> None:
    late = T[24:]
    put("refused/day_or_month.csv", text(few(
        {"Date": stamps("%d/%m/%Y", late), "UTC": stamps("%H:%M:%S", late)}, late)))
    put("refused/seconds_or_milliseconds.csv", text(few({"Time": [f"{60 * t:g}" for t in T]})))
    put("refused/clock_reset.csv", text(few({"Time [s]": [f"{t % 20:g}" for t in T]})))
    put("refused/newest_first.csv", text([rows[0], *rows[:0:-1]]))
    wrong = stamps("%H:%M:%S")
    wrong[7] = "23:61:43"
    put("refused/no_such_time.csv", text(few({"UTC": wrong})))
    put("refused/minute_missing.csv", text(few({"Hour": stamps("%H"), "Second": stamps("%S")})))
    put("refused/frame_time_missing.csv", text(few({"FRAME": [str(int(t)) for t in T]})),
        """[clock]
form = "frame counter"
frames = 4096
[columns]
frame = { column = "FRAME" }
""")


def several(rows: list[list[str]]) -> None:
    put("refused/long_unit_changes.csv", """Time [s],Parameter,Value,Unit
0,Pressure Altitude,3900,ft
0,IAS,160.0,kt
1,Pressure Altitude,3912,ft
1,IAS,160.5,kt
2,Pressure Altitude,3924,ft
2,SAT,0.4,degC
2,IAS,298.2,km/h
3,Pressure Altitude,3936,ft
""")
    put("refused/long_value_twice.csv", """Time [s],Parameter,Value,Unit
0,Pressure Altitude,3900,ft
0,IAS,160.0,kt
1,Pressure Altitude,3912,ft
1,IAS,160.5,kt
1,IAS,171.5,kt
2,Pressure Altitude,3924,ft
2,IAS,161.0,kt
""")
    other = [[cell.replace("IAS [kt]", "IAS [km/h]") for cell in row] for row in rows]
    put("refused/other_columns/part_1.csv", text(rows[:21]))
    put("refused/other_columns/part_2.csv", text([other[0], *other[21:]]))
    put("refused/overlap/part_1.csv", text(rows[:26]))
    put("refused/overlap/part_2.csv", text([rows[0], *rows[21:]]))
    for number in (1, 2):
        put(f"refused/two_aircraft/flight_{number}.csv", f"Registration: ZZ-00{number}\n" + text(
            [rows[0], *rows[20 * number - 19 : 20 * number + 1]]))
    put("refused/two_formats/part_1.csv", text(rows[:21]))
    pq.write_table(pa.table({"Time [s]": T[20:]}), HERE / "refused/two_formats/part_2.parquet")
    put("refused/no_logs/read_me.md", "# The recorder's files were moved to the archive.\n")


def refused() -> None:
    shutil.rmtree(HERE / "refused", ignore_errors=True)
    rows = grid(T, elapsed(), FEW)
    no_logs(text(rows))
    headers(rows)
    cells(rows)
    columns(rows)
    clocks(rows)
    several(rows)

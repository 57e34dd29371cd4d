"""Writes every clock; called by ``write.py``."""

from __future__ import annotations

import numpy as np
from gallery.climb import START, Array
from gallery.writing import T, elapsed, few, grid, put, same, stamps, text


def serials(t: Array = T) -> list[str]:
    days = (START - np.datetime64("1899-12-30T00:00:00", "ns")) / np.timedelta64(1, "D")
    return [f"{days + one / 86400:.9f}" for one in t]


def clocks() -> None:
    def one(name: str, columns: str = "", t: Array = T, **clock: list[str]) -> None:
        put(name, text(few({key.replace("_", " "): cells for key, cells in clock.items()}, t),
                       ";"), columns)

    put("elapsed_ms.csv", text(few({"Time [ms]": [f"{t * 1000 + 7_200_000:.0f}" for t in T]})))
    put("elapsed_not_from_zero.csv", text(few({"Elapsed [s]": [f"{t + 5311:.2f}" for t in T]})))
    one("iso_extended.csv", UTC=stamps("%Y-%m-%dT%H:%M:%S.%LZ"))
    one("iso_basic.csv", Time=stamps("%Y%m%dT%H%M%SZ"))
    one("iso_offset.csv", Timestamp=stamps("%Y-%m-%dT%H:%M:%S-09:30", ahead_s=-34200))
    one("iso_blank.csv", Time_UTC=stamps("%Y-%m-%d %H:%M:%S"))
    one("iso_ordinal.csv", UTC=stamps("%Y-%jT%H:%M:%SZ"))
    one("local_time.csv", '[clock]\nutc_offset_s = -34200\n',
        Time=stamps("%Y-%m-%d %H:%M:%S", ahead_s=-34200))
    one("date_time_offset.csv", Date=stamps("%Y-%m-%d", ahead_s=3600),
        Time=stamps("%H:%M:%S", ahead_s=3600), UTC_Offset=["+01:00"] * len(T))
    one("date_and_time.csv", Date=stamps("%Y-%m-%d"), UTC=stamps("%H:%M:%S.%L"))
    put("date_basic.csv", text(few({"DATE": stamps("%Y%m%d"), "GMT": stamps("%H:%M:%S")})))
    one("hour_minute_second.csv", Hour=[str(int(one)) for one in stamps("%H")],
        Minute=[str(int(one)) for one in stamps("%M")],
        Second=[str(int(one)) for one in stamps("%S")])
    one("all_parts.csv", Year=stamps("%Y"), Month=stamps("%m"), Day=stamps("%d"),
        Hour=stamps("%H"), Minute=stamps("%M"), Second=stamps("%S"))
    put("named_parts.csv", text(few({"HH": stamps("%H"), "MN": stamps("%M"), "SS": stamps("%S"),
                                     "DD": stamps("%d"), "MO": stamps("%m")})),
        """[clock]
year = 2026
[columns]
hour = { column = "HH" }
minute = { column = "MN" }
second = { column = "SS" }
day = { column = "DD" }
month = { column = "MO" }
""")
    one("day_of_year.csv", '[clock]\nyear = 2026\n', Day_of_year=stamps("%j"),
        UTC=stamps("%H:%M:%S"))
    one("day_of_year_seconds.csv", """[clock]
form = "day of year"
year = 2026
[columns]
day_of_year = { column = "DOY" }
time = { column = "SOD", unit = "s" }
""", DOY=stamps("%j"), SOD=[f"{(86376 + t) % 86400:.1f}" for t in T])
    one("serial_dates.csv", """[clock]
form = "spreadsheet serial"
[columns]
time = { column = "Time" }
""", Time=serials())
    gps = [86400 * 6 + 86376 + 18 + t for t in T]
    one("satellite_week.csv", """[clock]
form = "satellite week"
leap_seconds = 18
[columns]
week = { column = "GPS Week" }
time = { column = "GPS TOW", unit = "s" }
""", GPS_Week=[str(2407 + int(one // 604800)) for one in gps],
        GPS_TOW=[f"{one % 604800:.1f}" for one in gps])
    frames = (4 * 1022 + T).astype(int)
    one("frame_counter.csv", """[clock]
form = "frame counter"
frame_s = 4
frames = 1024
subframes = 4
[columns]
frame = { column = "FRAME" }
subframe = { column = "SF" }
""", FRAME=[str(one // 4 % 1024) for one in frames], SF=[str(one % 4 + 1) for one in frames])
    one("subframe_counter.csv", """[clock]
form = "frame counter"
frame_s = 1
frames = 4096
[columns]
frame = { column = "SFCOUNT" }
""", SFCOUNT=[str((4090 + int(t)) % 4096) for t in T])
    epoch = START.astype(np.int64)
    for unit, size in (("s", 10**9), ("ms", 10**6), ("us", 10**3), ("ns", 1)):
        put(f"epoch_{unit}.csv", text(few({"timestamp": [
            str((epoch + round(t * 10**9)) // size) for t in T]})))
    one("midnight.csv", UTC=stamps("%H:%M:%S"))
    one("midnight_short.csv", UTC=[stamp.lstrip("0") if stamp[:2] != "00" else stamp[1:]
                                   for stamp in stamps("%H:%M:%S")])
    put("hhmmss.csv", text(few({"UTC [hhmmss]": stamps("%H%M%S")})))
    put("hhmmss_fraction.csv", text(few({"GMT (HHMMSS.SS)": stamps("%H%M%S.00")})))
    one("day_first.csv", Date=stamps("%d/%m/%Y"), Time_UTC=stamps("%H:%M:%S"))
    one("day_first_stamp.csv", UTC=stamps("%d.%m.%Y %H:%M:%S"))
    one("month_first.csv", Date=stamps("%m/%d/%Y"), Time_UTC=stamps("%H:%M:%S"))
    one("month_first_12_hours.csv", UTC=stamps("%m/%d/%Y %I:%M:%S %p"))
    one("month_name.csv", UTC=stamps("%d-%b-%Y %H:%M:%S"))
    late = T[24:]
    one("day_first_told.csv", '[clock]\nform = "day first"\n', late,
        Date=stamps("%d/%m/%Y", late), UTC=stamps("%H:%M:%S", late))
    eighths = np.arange(0, 40, 0.125)
    put("coarse_stamps.csv", text(grid(eighths, {"UTC": stamps("%H:%M:%S", eighths)}, [
        ("Pressure Altitude [ft]", "pressure_altitude", same, 1),
        ("IAS [kt]", "indicated_airspeed", same, 2),
        ("SAT [degC]", "static_air_temperature", same, 2)])))
    coarse = [stamp for stamp in stamps("%Y-%m-%dT%H:%M:%SZ") for _ in range(2)]
    halves = np.arange(0, 40, 0.5)
    put("coarse_stamps_started_late.csv", text(few({"UTC": coarse[1:]}, halves[1:])))
    slow = np.arange(0, 17 * 12, 17.0)
    put("slow.csv", text(few(elapsed(slow), slow)))
    quarters = np.arange(0, 40, 0.25)
    put("quarter_seconds.csv", text(few({"Time [s]": [f"{t:.2f}" for t in quarters]}, quarters)))
    jittered = np.round(T + 0.04 * np.sin(5 * T), 3)
    put("jitter.csv", text(few({"Time [s]": [f"{t:.3f}" for t in jittered]}, jittered)))
    whole = few({"UTC": stamps("%H:%M:%S")})
    put("repeated_rows.csv", text([*whole[:12], whole[11], *whole[12:20], *whole[18:20],
                                   *whole[20:]]))
    put("minutes.csv", text(few({"Time [min]": [f"{t / 60:.6f}" for t in T]})))
    put("snippet.csv", text(few({"UTC": stamps("%Y-%m-%dT%H:%M:%SZ", T[12:22])}, T[12:22])))
    gap = np.r_[T[:15], T[27:]]
    put("gap.csv", text(few(elapsed(gap), gap)))

"""The exports that must be refused, and the whole sentence that each deserves."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Refusal:
    """An export, the sentence (``{}`` is its path, ``{columns}`` the columns file's)."""

    file: str
    sentence: str
    families: str = ""

    @property
    def path(self) -> Path:
        return HERE / self.file

    @property
    def columns(self) -> Path | None:
        if self.families:
            return HERE / self.families
        beside = HERE / (self.file.split(".")[0] + ".toml")
        return beside if beside.exists() else None

    @property
    def said(self) -> str:
        return self.sentence.format(self.path, columns=self.columns)


REFUSED: tuple[Refusal, ...] = (
    # No log at all
    Refusal("refused/empty.csv", "{}: the file is empty; export the log again."),
    Refusal("refused/blank.csv",
            "{}: the file holds nothing but blank lines; export the log again."),
    Refusal("refused/header_only.csv",
            "{}: the file holds a header but no rows; export the log again."),
    Refusal("refused/prose.txt",
            "{}: this isn't a log: no rows of numbers under a header in its first lines; give a "
            "CSV or Parquet export with a named column a channel."),
    Refusal("refused/web_page.csv",
            "{}: this isn't a log but a web page; download the export itself, as CSV or "
            "Parquet."),
    Refusal("refused/no_header.csv",
            "{}, line 1: no header names the columns; add a line of column names above the first "
            "row."),
    Refusal("refused/memory.bin",
            "{}: this isn't a log but binary data; give the recorder's export as CSV or Parquet, "
            "not its raw memory."),
    Refusal("refused/workbook.xlsx",
            "{}: this isn't a log but a spreadsheet or office document; export it as CSV."),
    Refusal("refused/two_members.zip",
            "{}: the zip archive holds 2 files (flight_1.csv, flight_2.csv); unpack it, and name "
            "the log, or the folder of one recording's files."),
    Refusal("refused/cut.zip",
            "{}: the zip archive is damaged or cut short; export or copy it again."),
    Refusal("refused/later_channel.csv",
            '{}, line 22: a second header adds the landing gear down ("Gear Down"); cut the file '
            "above this line and read its parts one by one."),
    Refusal("refused/later_names.csv",
            "{}, line 22: a second header names no column for the indicated airspeed, as the first "
            "one does; cut the file above this line and read its parts one by one."),
    Refusal("refused/rows_above_header.csv",
            "{}, line 1: rows of numbers stand above the header of line 21; name their columns in "
            "a header of their own, or state the header's line as header_line under [file] in a "
            "columns file."),
    Refusal("refused/two_units_in_cells.csv",
            '{}, line 32: "1298 m" has another unit than the cells above it; export the log with '
            "one unit for each column."),
    Refusal("refused/two_aircraft",
            "{}/flight_2.csv: it is a log of ZZ-002 by its preamble, and flight_1.csv one of "
            "ZZ-001; give the logs of each aircraft on their own."),
    Refusal("refused/archive.tar.gz",
            "{}: this isn't a log but a tar archive; unpack it, and give the log in it."),
    Refusal("refused/cut.csv.gz",
            "{}: the compressed file is damaged or cut short; export or copy it again."),
    Refusal("refused/cut.parquet",
            "{}: the Parquet file is damaged or cut short; export or copy it again."),
    Refusal("refused/cut_utf16.csv",
            "{}: the text's encoding breaks off in the middle; export the log again as UTF-8."),
    # Cells and lines
    Refusal("refused/word_for_a_number.csv",
            '{}, line 12: "fast" in column "IAS [kt]" isn\'t a number; mend the cell, or leave it '
            "blank where nothing was recorded."),
    Refusal("refused/short_line.csv",
            "{}, line 7: the line has 3 cells where the others have 4; export the log again, or "
            "mend the line."),
    Refusal("refused/unknown_state.csv",
            '{}, line 5: "TRANSIT" in column "Gear Down" isn\'t a state that is known; export '
            "states as 0 and 1, or say what it means under values in a columns file."),
    Refusal("refused/name_missing.csv",
            "{}, line 1: the header names 3 columns, but the rows have 4 cells; mend the header "
            "line."),
    Refusal("refused/thousands_beside_comma.csv",
            '{}, line 2: "3.900,5" holds a thousands separator beside a decimal mark; export the '
            "log without thousands separators, or state decimal and thousands under [file] in a "
            "columns file."),
    Refusal("refused/thousands_or_comma.csv",
            '{}: "3,900" may hold a thousands separator or a decimal comma; export the log '
            "without thousands separators, or state decimal and thousands under [file] in a "
            "columns file."),
    # Columns and units
    Refusal("refused/unit_unknown.csv",
            '{}: the unit "furlong/h" of column "IAS [furlong/h]" isn\'t known; state unit for '
            "indicated_airspeed in a columns file as one of kt, km/h, m/s, mph, ft/min, 100 "
            "ft/min, ft/s, m/min."),
    Refusal("refused/unit_unstated.csv",
            '{}: nothing states the unit of column "Pressure Altitude" (pressure altitude); '
            "state unit for pressure_altitude under [columns] in a columns file."),
    Refusal("refused/units_disagree.csv",
            '{}: column "IAS (kt)" states the unit "kt" in its name and "km/h" in the units '
            "row; state the right unit for indicated_airspeed in a columns file."),
    Refusal("refused/which_altitude.csv",
            '{}: column "Altitude [ft]" may be pressure altitude, indicated (baro-corrected) '
            "altitude or satellite altitude; say which in a columns file, such as "
            'pressure_altitude = {{ column = "Altitude [ft]" }}.'),
    Refusal("refused/which_airspeed.csv",
            '{}: column "Airspeed [kt]" may be indicated airspeed, calibrated airspeed or true '
            "airspeed; say which in a columns file, such as indicated_airspeed = {{ column = "
            '"Airspeed [kt]" }}.'),
    Refusal("refused/two_airspeeds.csv",
            '{}: columns "IAS [kt]" and "KIAS" may each be the indicated airspeed; choose one '
            "as indicated_airspeed under [columns] in a columns file."),
    Refusal("refused/same_name.csv",
            '{}, line 1: 2 columns are called "IAS [kt]"; export the log with a name of its own '
            "for each column."),
    Refusal("refused/same_name.parquet",
            '{}: 2 columns are called "IAS [kt]"; export the log with a name of its own for each '
            "column."),
    Refusal("refused/nested.parquet",
            '{}: column "IAS [kt]" holds struct<left: double, right: double>, not numbers; '
            "export it as numbers, or name another column as indicated_airspeed in a columns "
            "file."),
    Refusal("refused/no_time.csv",
            "{}: no column is recognised as the time; name it as time under [columns] in a "
            "columns file."),
    Refusal("refused/no_airspeed.csv",
            "{}: no column is recognised as the indicated or calibrated airspeed; name it as "
            "indicated_airspeed under [columns] in a columns file."),
    Refusal("refused/named_column_missing.csv",
            '{}: the columns file names "VIAS" for indicated_airspeed, but no column is called '
            "so; name one of the columns found."),
    Refusal("refused/no_family.csv",
            "{}: none of the 2 columns files in {columns} is for this log's columns; add one with "
            "their names under [signature], or name a columns file.", "families"),
    Refusal("refused/two_families.csv",
            "{}: a.toml and b.toml in {columns} are both for this log's columns; name the right "
            "one.", "refused/families"),
    # Clocks
    Refusal("refused/day_or_month.csv",
            '{}: nothing in column "Date" tells whether "01/03/2026" is day first or month first; '
            'say form = "day first" or form = "month first" under [clock] in a columns file.'),
    Refusal("refused/seconds_or_milliseconds.csv",
            '{}, line 2: nothing states whether the time column "Time" counts seconds or '
            'milliseconds; state its unit in a columns file, such as time = {{ column = "Time", '
            'unit = "s" }}.'),
    Refusal("refused/clock_reset.csv",
            "{}: the clock can't be followed: 19 of 40 rows have a time earlier than the rows "
            "before them; cut the log where its clock was reset, or name another column as time"
            " in a columns file."),
    Refusal("refused/newest_first.csv",
            "{}: the clock can't be followed: 39 of 40 rows have a time earlier than the rows "
            "before them; cut the log where its clock was reset, or name another column as time"
            " in a columns file."),
    Refusal("refused/no_such_time.csv",
            '{}, line 9: "23:61:43" in the time column "UTC" isn\'t a time that is known; mend '
            "the line, or leave the cell blank."),
    Refusal("refused/minute_missing.csv",
            '{}: columns "Hour" and "Second" hold parts of the time, but none holds the minute;'
            " name it as minute under [columns] in a columns file."),
    Refusal("refused/frame_time_missing.csv",
            '{columns}, [clock]: the key "frame_s" is missing; write it such as frame_s = 4.'),
    Refusal("refused/day_fraction.csv",
            '{}, line 2: nothing states what the time column "Time" counts, and its step of '
            '1.16e-05 is hardly one of seconds; state its unit in a columns file as min or h, such '
            'as time = {{ column = "Time", unit = "min" }}, or say form = "time of day" under '
            '[clock] if it is a part of the day.'),
    Refusal("refused/decimal_hours.csv",
            '{}, line 2: nothing states what the time column "Time" counts, and its step of '
            '0.000278 is hardly one of seconds; state its unit in a columns file as min or h, such '
            'as time = {{ column = "Time", unit = "min" }}, or say form = "time of day" under '
            '[clock] if it is a part of the day.'),
    Refusal("refused/decimal_minutes.csv",
            '{}, line 2: nothing states what the time column "Time" counts, and its step of '
            '0.0167 is hardly one of seconds; state its unit in a columns file as min or h, such '
            'as time = {{ column = "Time", unit = "min" }}, or say form = "time of day" under '
            '[clock] if it is a part of the day.'),
    Refusal("refused/hhmmss_damaged.csv",
            '{}, line 19: "23593" in the time column "UTC" isn\'t a time that is known; mend '
            "the line, or leave the cell blank."),
    Refusal("refused/far_stamps.parquet",
            "{}: the clock can't be followed: 40 of 40 rows have no time; export its stamps "
            "again, or name another column as time in a columns file."),
    # Long tables and several files
    Refusal("refused/long_unit_changes.csv",
            '{}, line 8: the unit of "IAS" changes from "kt" to "km/h"; export the log with one '
            "unit for each parameter."),
    Refusal("refused/long_value_twice.csv",
            '{}, line 6: "IAS" has a second value at the time 1; export the log with one value '
            "for each parameter and time."),
    Refusal("refused/other_columns",
            "{}/part_2.csv: its columns aren't those of part_1.csv; give files of one export in "
            "one folder."),
    Refusal("refused/overlap",
            "{}/part_2.csv: it begins before part_1.csv ends; give each stretch of time once, and "
            "files whose clock runs on, or has a date."),
    Refusal("refused/two_formats",
            "{}: the folder holds CSV and Parquet files; give the files of one export in one "
            "folder."),
    Refusal("refused/no_logs",
            "{}: no log is in this folder; name a log, or a folder with the files of one."),
)

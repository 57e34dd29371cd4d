"""What the gallery's exports hold: a case a file, and the sentence for each that is refused."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).parent
SECONDS = np.arange(40.0)

FEW = {"pressure_altitude": 1.0, "indicated_airspeed": 0.1, "static_air_temperature": 0.1}
ALL = FEW | {"heading": 0.1, "flap": 0.1, "gear_down": 0.0}
RATES = FEW | {"static_air_temperature": 0.01, "heading": 0.1}
EVERY = ALL | {
    "indicated_altitude": 1, "satellite_altitude": 0.33, "calibrated_airspeed": 0.1,
    "true_airspeed": 0.1, "mach": 0.001, "total_air_temperature": 0.1, "static_pressure": 0.1,
    "total_pressure": 0.1, "impact_pressure": 0.1, "altimeter_setting": 0.1, "ground_speed": 1,
    "vertical_speed": 1, "track": 0.1, "pitch": 0.1, "roll": 0.1, "load_factor": 0.001,
    "latitude": 0.0001, "longitude": 0.0001, "flap_lever": 0, "slat": 0.1, "speedbrake": 0,
    "weight_on_wheels": 0, "overspeed_warning": 0, "autopilot": 0, "autothrottle": 0,
    "weight": 1, "fuel": 0.1, "torque": 0.1, "fan_speed": 0.1, "power_lever": 0,
    "limit_pointer": 0,
}


@dataclass(frozen=True)
class Case:
    """An export and what a reader must make of it.

    ``channels`` : each channel that is read, and the quantum of its cells in its edge unit;
    ``t`` : the instants of the rows [s]; ``clock_s`` : how exactly the clock is written [s];
    ``dated`` : whether the log says the day; ``every`` : for a slow channel, the rows at which
    it was recorded; ``missing`` : rows at which a channel has no value; ``open_ends`` : rows at
    the log's ends that a corrected lag may leave without one; ``columns`` : the columns file.
    """

    file: str
    channels: Mapping[str, float] = field(default_factory=lambda: ALL)
    t: NDArray[np.float64] = field(default_factory=lambda: SECONDS)
    clock_s: float = 1e-6
    dated: bool = False
    every: Mapping[str, Iterable[int]] = field(default_factory=dict)
    missing: Mapping[str, Iterable[int]] = field(default_factory=dict)
    open_ends: int = 0
    families: str = ""

    @property
    def path(self) -> Path:
        return HERE / self.file

    @property
    def has_altitude(self) -> bool:
        """Whether anything that was read tells the pressure altitude."""
        there = set(self.channels)
        return bool(there & {"pressure_altitude", "static_pressure"}
                    or {"indicated_altitude", "altimeter_setting"} <= there)

    @property
    def columns(self) -> Path | None:
        """The columns file beside the export, or the folder of them that is searched."""
        if self.families:
            return HERE / self.families
        beside = HERE / (self.file.split(".")[0] + ".toml")
        return beside if beside.exists() else None


def clock(file: str, dated: bool = True, clock_s: float = 1e-6,
          t: NDArray[np.float64] = SECONDS) -> Case:
    return Case(file, FEW, t, clock_s, dated)


HALVES = np.arange(0, 40, 0.5)
JITTERED = np.round(SECONDS + 0.04 * np.sin(5 * SECONDS), 3)

CASES: tuple[Case, ...] = (
    # How the file is written
    *(Case(file) for file in (
        "plain.csv", "preamble.csv", "preamble_pairs.csv", "comments.csv", "comment_header.csv",
        "units_row.csv", "units_row_brackets.csv", "units_row_dashes.csv", "semicolon.csv",
        "decimal_comma_latin1.csv", "decimal_comma_quoted.csv", "decimal_comma_tab.txt",
        "tab.tsv", "pipe.txt", "quoted.csv", "quoted_names.csv", "bom_crlf.csv", "utf16_tab.txt",
        "utf16_big_endian.csv", "utf16_no_mark.csv", "cr_only.csv", "trailing_delimiter.csv",
        "trailing_delimiter_rows.csv", "blank_lines.csv", "padded.txt", "repeated_header.csv",
        "pages.csv", "truncated.csv", "truncated_cell.csv", "end_of_file_mark.csv",
        "last_line_without_end.csv", "total_line.csv", "packed.csv.gz", "packed.csv.zst",
        "packed_utf16.csv.gz", "thousands.csv", "thousands_blank.csv", "other_columns.csv",
        "names_of_the_trade.csv", "numbered_lines.csv", "exponents_and_signs.csv",
    )),
    # Forms that take a closer look
    *(Case(file) for file in (
        "white_space.txt", "white_space_names.txt", "white_space_rule.txt", "units_in_cells.csv",
        "units_in_some_cells.csv", "minus_sign.csv", "totals.csv", "types_row.csv",
        "types_row_first.csv", "types_row_alone.csv", "broken_names.csv", "broken_cells.csv",
        "later_order.csv", "later_unit.csv", "later_units_row.csv", "later_column.csv",
        "two_logs.csv", "packed.csv.zip", "text_columns.parquet", "text_columns_comma.parquet",
    )),
    Case("fixed_width.txt", every={"static_air_temperature": range(0, 40, 4),
                                   "heading": range(0, 40, 2)}),
    Case("without_trailing_blanks.csv", every={"static_air_temperature": range(0, 40, 4),
                                               "heading": range(0, 40, 8)}),
    clock("decimal_comma_stamps.csv"),
    # What stands in the cells
    Case("words_for_missing.csv", missing={
        "indicated_airspeed": (3, 4, 5, 20), "static_air_temperature": (7, 8, 9, 10, 11),
        "heading": (30, 31, 32, 33)}),
    Case("own_word_for_missing.csv", missing={"static_air_temperature": (12, 13)}),
    Case("fill_values.csv", missing={
        "pressure_altitude": (5, 6), "indicated_airspeed": (8, 9),
        "static_air_temperature": (15, 16), "heading": (25,)}),
    Case("states.csv", ALL | {"autopilot": 0, "weight_on_wheels": 0}),
    Case("state_codes.csv"),
    Case("flap_lever_words.csv", FEW | {"heading": 0.1, "flap_lever": 0}),
    # Tables
    Case("long.csv"),
    Case("long_mixed_rates.csv", every={"static_air_temperature": range(0, 40, 4),
                                        "heading": range(0, 40, 2)}),
    Case("long_named.csv", FEW),
    Case("sequence"),
    Case("plain.parquet"),
    Case("units_in_metadata.parquet"),
    Case("whole_numbers.parquet", ALL | {"flap": 1}),
    Case("decimals.parquet"),
    Case("dictionaries.parquet"),
    Case("timestamp_zone.parquet", dated=True),
    Case("timestamp_utc_us.parquet", dated=True),
    Case("text_numbers.parquet", dated=True),
    Case("mixed_rates.parquet", every={"static_air_temperature": range(0, 40, 4)}),
    Case("dataset"),
    Case("dataset_keys"),
    # Clocks
    clock("elapsed_ms.csv", dated=False),
    clock("elapsed_not_from_zero.csv", dated=False),
    clock("minutes.csv", dated=False, clock_s=1e-4),
    *(clock(f"{file}.csv") for file in (
        "iso_extended", "iso_basic", "iso_offset", "iso_blank", "iso_ordinal", "local_time",
        "date_time_offset", "date_and_time", "date_basic", "all_parts", "named_parts",
        "day_of_year", "day_of_year_seconds", "satellite_week", "day_first", "day_first_stamp",
        "month_first", "month_first_12_hours", "month_name", "epoch_s", "epoch_ms", "epoch_us",
        "epoch_ns",
    )),
    *(clock(f"{file}.csv", dated=False) for file in (
        "hour_minute_second", "frame_counter", "subframe_counter", "midnight", "midnight_short",
        "hhmmss", "hhmmss_fraction", "repeated_rows",
    )),
    clock("serial_dates.csv", clock_s=2e-4),
    clock("day_first_told.csv", t=SECONDS[24:]),
    Case("coarse_stamps.csv", {"pressure_altitude": 0.1, "indicated_airspeed": 0.01,
                               "static_air_temperature": 0.01}, np.arange(0, 40, 0.125)),
    clock("coarse_stamps_started_late.csv", t=HALVES[1:]),
    clock("slow.csv", dated=False, t=np.arange(0, 17 * 12, 17.0)),
    clock("quarter_seconds.csv", dated=False, t=np.arange(0, 40, 0.25)),
    clock("jitter.csv", dated=False, t=JITTERED),
    clock("snippet.csv", t=SECONDS[12:22]),
    clock("gap.csv", dated=False, t=np.r_[SECONDS[:15], SECONDS[27:]]),
    *(clock(f"{file}.csv", dated=False) for file in (
        "minutes_seconds", "minutes_seconds_tenths", "hours_beyond_24", "out_of_order")),
    clock("short_dates.csv"),
    clock("comma_stamps.csv"),
    # Numbers of 24 bits hold these seconds to within 64.
    clock("epoch_float32.parquet", clock_s=64, t=16 * SECONDS),
    # Rates, lags, words, sources
    Case("mixed_rates.csv", RATES, every={"static_air_temperature": range(0, 40, 4),
                                          "heading": range(0, 40, 2)}),
    Case("held_values.csv", RATES, every={"static_air_temperature": range(0, 40, 4),
                                          "heading": range(0, 40, 2)}),
    Case("mixed_rates_offset.csv", RATES, every={"static_air_temperature": range(2, 40, 4)}),
    Case("lag.csv", FEW | {"static_air_temperature": 0.02}, open_ends=3),
    Case("skew.csv", FEW | {"indicated_airspeed": 0.02}, open_ends=1),
    Case("coarse_and_fine.csv", FEW),
    Case("wrap_around.csv", FEW),
    Case("two_sources.csv", FEW | {"pressure_altitude_2": 1, "indicated_airspeed_2": 0.1}),
    Case("one_of_two_sources.csv", FEW | {"pressure_altitude_2": 1, "indicated_airspeed_2": 0.1}),
    Case("family.csv", {"pressure_altitude": 0.33, "indicated_airspeed": 0.054,
                        "static_air_temperature": 0.1}, families="families"),
    # Units and channels
    Case("metric.csv", {"pressure_altitude": 0.33, "indicated_airspeed": 0.054,
                        "static_air_temperature": 0.1, "vertical_speed": 2, "ground_speed": 0.2,
                        "heading": 0.06, "weight": 1}),
    Case("suffixes.csv", {"pressure_altitude": 1, "indicated_airspeed": 0.02,
                          "static_air_temperature": 0.056, "vertical_speed": 1,
                          "altimeter_setting": 1, "fuel": 0.5}),
    Case("imperial.csv", {"pressure_altitude": 1, "indicated_airspeed": 0.1,
                          "outside_air_temperature": 0.056, "altimeter_setting": 0.34,
                          "weight": 0.5}),
    Case("flight_level.csv", {"pressure_altitude": 100, "indicated_airspeed": 1,
                              "static_air_temperature": 1}),
    Case("kelvin_unstated.csv", {"pressure_altitude": 1, "indicated_airspeed": 0.1,
                                 "outside_air_temperature": 0.1}),
    Case("units_told.csv", {"pressure_altitude": 0.33, "indicated_airspeed": 0.054,
                            "static_air_temperature": 0.1}),
    Case("raw_pressures.csv", {"static_pressure": 0.01, "total_pressure": 0.01,
                               "total_air_temperature": 0.1}),
    Case("impact_pressure.csv", {"static_pressure": 0.01, "impact_pressure": 0.007,
                                 "outside_air_temperature": 0.1}),
    Case("pressures_pascal.csv", {"static_pressure": 0.01, "impact_pressure": 0.034}),
    Case("indicated_altitude.csv", {"indicated_altitude": 1, "altimeter_setting": 0.34,
                                    "calibrated_airspeed": 0.1, "static_air_temperature": 0.1}),
    Case("mach_and_altitude.csv", {"pressure_altitude": 1, "mach": 0.0001,
                                   "calibrated_airspeed": 0.01, "true_airspeed": 0.1,
                                   "total_air_temperature": 0.1}),
    Case("every_channel.csv", EVERY, dated=True),
    # Without an altitude or a temperature
    *(Case(file, {name: quantum for name, quantum in ALL.items() if name != "pressure_altitude"})
      for file in ("no_altitude.csv", "no_altitude.parquet")),
    Case("satellite_altitude_alone.csv", {"satellite_altitude": 0.33, "indicated_airspeed": 0.1,
                                          "static_air_temperature": 0.1}),
    Case("indicated_altitude_alone.csv", {"indicated_altitude": 1, "indicated_airspeed": 0.1,
                                          "static_air_temperature": 0.1}),
    Case("impact_pressure_alone.csv", {"impact_pressure": 0.007, "static_air_temperature": 0.1}),
    *(Case(file, {"pressure_altitude": 1, "indicated_airspeed": 0.1}) for file in (
        "no_temperature.csv", "which_temperature.csv", "temperature_unstated.csv")),
    Case("no_altitude_nor_temperature.csv", {"indicated_airspeed": 0.1}),
)

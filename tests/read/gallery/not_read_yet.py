"""Exports that the reader doesn't read, or refuse, as it should yet: to shrink to nothing."""

NOT_READ_YET: frozenset[str] = frozenset((
    "all_parts.csv", "coarse_and_fine.csv", "cr_only.csv", "dataset", "dataset_keys",
    "date_time_offset.csv", "day_first.csv", "day_first_stamp.csv", "day_first_told.csv",
    "day_of_year.csv", "day_of_year_seconds.csv", "family.csv", "fill_values.csv",
    "flap_lever_words.csv", "frame_counter.csv", "held_values.csv", "hhmmss.csv",
    "hhmmss_fraction.csv", "hour_minute_second.csv", "impact_pressure.csv",
    "indicated_altitude.csv", "iso_ordinal.csv", "lag.csv", "local_time.csv", "long.csv",
    "long_mixed_rates.csv", "long_named.csv", "month_first.csv", "month_first_12_hours.csv",
    "month_name.csv", "named_parts.csv", "own_word_for_missing.csv", "pages.csv",
    "pressures_pascal.csv", "raw_pressures.csv", "satellite_week.csv", "sequence",
    "serial_dates.csv", "skew.csv", "state_codes.csv", "subframe_counter.csv", "thousands.csv",
    "thousands_blank.csv", "total_line.csv", "words_for_missing.csv", "wrap_around.csv",
))
NOT_REFUSED_YET: frozenset[str] = frozenset((
    "refused/archive.tar.gz", "refused/day_or_month.csv", "refused/frame_time_missing.csv",
    "refused/long_unit_changes.csv", "refused/long_value_twice.csv", "refused/minute_missing.csv",
    "refused/no_family.csv", "refused/no_logs", "refused/other_columns", "refused/overlap",
    "refused/same_name.csv", "refused/same_name.parquet", "refused/thousands_beside_comma.csv",
    "refused/thousands_or_comma.csv", "refused/two_families.csv", "refused/two_formats",
    "refused/unit_unknown.csv", "refused/unknown_state.csv", "refused/web_page.csv",
))

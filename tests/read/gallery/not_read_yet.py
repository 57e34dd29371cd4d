"""Exports that the reader doesn't read, or refuse, as it should yet: to shrink to nothing."""

NOT_READ_YET: frozenset[str] = frozenset((
    "cr_only.csv", "dataset", "dataset_keys", "family.csv",
    "fill_values.csv", "flap_lever_words.csv", "long.csv",
    "long_mixed_rates.csv", "long_named.csv", "own_word_for_missing.csv", "pages.csv", "sequence",
    "state_codes.csv", "thousands.csv", "thousands_blank.csv", "total_line.csv",
    "words_for_missing.csv", "wrap_around.csv",
))
NOT_REFUSED_YET: frozenset[str] = frozenset((
    "refused/archive.tar.gz", "refused/long_unit_changes.csv", "refused/long_value_twice.csv",
    "refused/no_family.csv", "refused/no_logs", "refused/other_columns", "refused/overlap",
    "refused/same_name.csv", "refused/thousands_beside_comma.csv", "refused/thousands_or_comma.csv",
    "refused/two_families.csv", "refused/two_formats", "refused/unit_unknown.csv",
    "refused/unknown_state.csv", "refused/web_page.csv",
))

"""Every flight of a fleet: judged by worker processes into a store of Parquet files.

**Keys.** A log is known by the SHA-256 of its bytes. What it is judged by (limits sheet, columns
file, settings, version of the program) gives with it the judgement key, and with the number of the
flight the flight key. A log is judged once for each judgement key; a changed sheet gives another
key, so that only what it touches is judged again, and both verdicts stay.

**The store.** A folder of hive-partitioned Parquet datasets, by `year` and `month` of a log's first
flight (0 and 0 where it has no date); `store.json` lists them and holds the version of the layout,
`schemas/store/` describes each column. A row of `flights` is a flight; those of `exceedances`,
`near`, `contributions`, `measures`, `closest`, `checks`, `ceilings` and `samples` carry its
`flight_key`. `problems` holds the logs that weren't judged, `returned` those whose earlier
judgement counts again, `expired` those that were deleted for their age. A shard holds a batch of
logs: a file of the same name in each dataset. Each file is written to a hidden name, synced and
renamed, that of `flights` last: it is what makes the shard count. What a killed run left without it
is removed by the next run. Deleting goes the other way: flights first, then what belongs to them.

**People.** In a protected store rows hold pseudonyms and months, and `identities` what is behind
them; see `loganalyze.fleet.protection`.

**Processes.** One process reads the list of logs and writes the store; worker processes read,
judge and assess. They end with their parent. A log that ends its worker twice, alone in it, is
left out, with a row in `problems`.
"""

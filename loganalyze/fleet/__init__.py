"""Every flight of a fleet: judged by worker processes into a store of Parquet files.

**Keys.** A log is known by the SHA-256 of its bytes. What it is judged by (limits sheet, columns
file, settings, version of the program) gives with it the judgement key, and with the number of the
flight the flight key. A log is judged once for each judgement key; a changed sheet gives another
key, so that only what it touches is judged again, and both verdicts stay.

**The store.** A folder of hive-partitioned Parquet datasets: `flights`, `exceedances`, `near`,
`contributions`, `measures`, `samples` and `problems`, by `year` and `month` of a log's first
flight (0 and 0 where it has no date). A shard holds a batch of logs: a file of the same name in
each dataset. Each file is written to a hidden name, synced and renamed, that of `flights` last: it
is what makes the shard count. What a killed run left without it is removed by the next run.

**Processes.** One process reads the list of logs and writes the store; worker processes read,
judge and assess. They end with their parent. A log that ends its worker twice, alone in it, is
left out, with a row in `problems`.
"""

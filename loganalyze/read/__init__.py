"""Reading a recorder's export: files, dialects, columns and clocks, to flight logs.

Bottom up: `cells`, `columns`, `clocks`, `files`, `repair`, `csv`, `parquet`, `long`, `plan`,
`flights`. Rules:

- A slow channel that is smooth (``ChannelKind.smooth``) is interpolated between two of its own
  samples less than 1.5 of its intervals apart; states, settings and angles are held.
  `FlightLog.recorded` tells which rows are its own.
- A channel whose changes keep a period of n rows is held between (`repair.sample_and_hold`): its
  repeats are no samples. A level cruise doesn't change, and a slow drift changes at any row.
- A recording is divided where the aircraft stands on the ground (`flights.flight_boundaries`).
  Each flight keeps half an hour of ground time on either side. A short stop, a rejected take-off or
  a bounce doesn't divide it.
- A clock that falls back by a minute or more and runs on begins a new stretch with its times as
  recorded: the length of the break is unknown. Rows behind by less are dropped and counted. A stamp
  that jumps ahead and returns at once is dropped alone and makes no gap.
- The upper parts of a clock (minute, hour, date) are refreshed late: within seconds of a rollover
  the lower part counts (`clocks.rollover`).
- A number that stands three times or more in sequence, entered and left by steps that no aircraft
  can make, is a fill value even within the plausible range (511.9 kt): `repair.fill_values`. Only
  air data and speeds are examined so: levers and surfaces do step there and back.
- Stamps of two numbers (10:04) are hours and minutes only where 30 rows or more share each, or the
  columns file says so. A zone in a clock's name counts; local times give no UTC.
- Points that may group thousands (982, then 1.004 in one column) are refused, as commas are.
- Days and months in digits are distinguished by a number above 12, or by the one order in which the
  dates run on from day to day; otherwise the log is refused.

A long recording is read flight by flight in bounded memory. Parquet row groups of up to half a
million rows are decoded column by column on two threads, larger ones and many small ones in
batches; each column is converted straight to where its flight is gathered, in memory of Arrow's
pool (`record.buffers`). A short flight in a large buffer gets memory of its own.
"""

from loganalyze.read.flights.log_reading import read_flights, read_log

__all__ = ["read_flights", "read_log"]

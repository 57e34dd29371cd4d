"""Rejection of samples: out of range, spikes, frozen or stale channels, disagreeing sources.

`sample_checks` compares samples with their neighbours block by block, with an overlap so that
results don't depend on block boundaries. `channel_screening` checks whole channels beforehand
(frozen, stale, two sources).

- A constant value isn't a fault by itself: a value changes at the edge of a quantization step but
  not in its middle, and noise may stop in calm air. A channel is frozen only where a reference
  channel changed by more than the drift and the steps of both, or where noise of a whole step stops
  at a step of at most 0.125 kt (2 ft), finer than any aircraft is flown. A channel that only lost
  its noise is flagged and evaluated. A single airspeed with steps of 0.25 kt or more that freezes
  in a climb is therefore not found.
- Held values are stale only if they are frequent in the recording, since a flown step looks the
  same; an airspeed only if it doesn't return within 10 s, as it would in a gust.
- A spike or an excursion must exceed the scatter of the samples around it as well as the greatest
  rate: at 8 Hz, noise in coarse steps is faster than any aircraft.
- Temperature doesn't count as evidence of lost synchronisation: a failed probe must not remove the
  verdict on VMO and MMO.

Where only screened samples are over a limit the outcome is "not determined", never clean, and the
stretches are listed (`events.suspects`). ``python -m tests.events.vanishing`` checks this on 2,000
flights of known truth in steps, noise and gusts: none of 1,752 exceedances of 10 s were lost,
and 0.004 % of the samples over a limit rejected.
"""

"""Samples that no verdict may rest on: implausible, stuck, stale, spiking or disagreeing.

`sample_checks` looks at samples and their neighbours block by block, with a margin beyond either
end so that block boundaries leave no trace. `channel_screening` looks at whole channels before
(stuck, stale, two sources).

- A constant value is no fault by itself: a value flickers at the edge of a quantization step and
  rests in its middle, and noise that stops may be calm air. A channel is stuck only where a
  reference channel moved by more than the drift and the steps of both, or where noise of a whole
  step stops in steps of at most 0.125 kt (2 ft), finer than anyone flies. One that only ceased to
  flicker is flagged and evaluated. So a single airspeed in steps of .25 kt or more that freezes in
  a climb isn't found.
- A value is stale only where holding is a habit of the recording, since a step that was flown
  looks the same, and an airspeed only where it stays off: in a gust it comes back within 10 s.
- A spike or an excursion must stand out from the samples about it, not only be fast: at 8 Hz,
  noise in coarse steps is faster than any aircraft.
- Garbage in a temperature takes no part in lost synchronisation: a probe that fails must not take
  the verdict on VMO and MMO away.

Where only screened samples are over a limit the outcome is "not determined", never clean, and the
stretches are listed (`events.suspects`). ``python -m tests.events.vanishing`` holds this to 2,000
flights of known truth in steps, noise and gusts: none of 1,752 exceedances of 10 s hidden, .004 %
of the samples over a limit screened out.
"""

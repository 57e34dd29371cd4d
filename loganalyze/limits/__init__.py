"""Limits at samples: applicability, equivalents as calibrated airspeed, margins and states.

Rules:

- Each limit is evaluated in the quantity in which it is published. Its equivalent as CAS (for the
  limit airspeed and the margin in knots) takes the position correction at the limit speed.
- A limit in indicated airspeed is compared with the airspeed free of instrument error, as flight
  manuals define indicated airspeed.
- An unknown condition makes its limit unknown, not inactive. The limit airspeed is then that of
  the limits that are known to apply, and the combined state is unknown. Where the altitude is
  unknown for a while there is no limit airspeed, but a limit that needs none is evaluated all the
  same. Where none is recorded at all the limit airspeed is that of the limits that need none, and
  each of the others is a finding and counts as not judged.
- A condition changes only once its value is beyond an edge by more than the deadband.
- A number format that can't hold a limit exactly (float32) doesn't make an exceedance: the
  tolerance is at least that format's rounding.
"""

"""Exceedances, suspects and bounded gaps of a flight, and its `Analysis`.

- A sample stands for the time to the next one, at most 1.5 usual intervals; longer is a gap.
- The worst instant of an exceedance is that of the greatest excess in the published quantity.
- Stretches over a limit are joined to one exceedance by the three rules of `joining`: chatter, a
  flight along the limit within the noise of its margin, and a gap too short to have returned below
  the limit.
- Samples rejected as doubtful are evaluated again as recorded; stretches that would be over a limit
  are listed as suspects.
- A bounded gap (too short to reach a limit at the greatest plausible rate) counts as unknown time,
  not as judged.
"""

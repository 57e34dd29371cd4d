"""What is found along a flight: exceedances, suspects, bounded gaps, and the analysis.

- A sample stands for the time to the next one, at most 1.5 normal intervals; more is a gap.
- The worst instant of an exceedance is that of the greatest excess in the published quantity.
- Stretches over a limit are one exceedance by the three rules of `joining`: chatter, a limit
  ridden within the noise of its margin, and a gap in which the limit can't have been regained.
- The samples at which something was in doubt are evaluated once more without the doubt; what
  would be over is listed as a suspect.
- A bounded gap (too short to reach a limit at the greatest plausible rate) isn't counted as
  judged: it is a part of the unknown time.
"""

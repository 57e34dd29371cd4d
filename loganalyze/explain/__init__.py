"""Why and how serious: causes, severity, overspeed warning, time to limit, measures.

Causes (`margin_contributions`): two stretches are split, the run-in from the largest smoothed
margin of the two minutes before to the first sample over the limit, and the worsening from there
to the worst sample. Both end on samples, so that their losses add up; sentences name the
interpolated crossing. Exceedances of one limit within 30 s of each other (engineering judgement)
are one pass along it: each has the run-in to the first crossing and its own worsening. The
worsening is of the exceedance's own limit, whichever governs meanwhile, and starts anew after a
gap. Over more than 1,200 samples it is split over that many: the Shapley values along any path
between the same ends add up to the same loss.

Severity (`severity`): a rule's ``time_s`` is the longest uninterrupted time beyond the rule's own
excess or, with ``time_counts = "in all"``, the sum; beyond the limit where it states no excess.
Rules and ladder count what is at least at a step; times are interpolated as the exceedance's edges
are. A rule's probability is that of the shift of the whole course that meets it; the stated level
is the highest that is as likely as not.

Overspeed warning (`overspeed_warning`): judged at the samples at which it was recorded. An onset is
late only if it was recorded silent beyond threshold and tolerance.

Time to limit (`time_to_limit`): fitted to the margin of the preceding 8 s, within one stretch of
the same limits: extending flaps moves the limit, and that is no closing.

Measures (`flight_measures`): time counts as the evaluation counts it, from float32 columns and the
tabulated limits; bands of Mach limits are in Mach.
"""

"""A first schedule file as text, with comments, to be corrected by hand."""

TEXT = """\
# What was briefed for a lesson. Lines that begin with # are notes for you, not for the program.
# Airspeeds are calibrated (CAS) in kt, altitudes are pressure altitudes in ft. Every number here
# is an example: write your own, and take out the parts that weren't briefed.

lesson = "Climb and descent on a speed schedule"
set_by = "the school"
# airspeeds = "indicated"  # where you brief what the indicator shows; corrected by the limits sheet

[climb]                    # at 190 kt until that is Mach .40, then at Mach .40
airspeed_kt = 190
mach = 0.40
above_ft = 2500            # nothing is measured below this

[cruise]                   # one speed: airspeed_kt or mach
mach = 0.44

[descent]                  # at Mach .46 until that is 230 kt, then at 230 kt
mach = 0.46
airspeed_kt = 230
above_ft = 5000

[[speed]]                  # a speed that belongs to a flap or gear position
name = "flaps 10"
airspeed_kt = 150
when = { flap_deg = { above = 5, up_to = 13 } }
phases = ["approach"]      # not after take-off

# How close counts as flown. Leave a part out, and a generic tolerance is taken and named as such:
# 10 kt either way, and none in Mach, since no published one is known.
[tolerance.climb]
within_kt = 5              # either way
within_mach = 0.01
source = "the school's syllabus"

[tolerance.cruise]
within_mach = 0.01
source = "the school's syllabus"

[tolerance.descent]
faster_kt = 5              # faster and slower may differ; one of them alone is one-sided
slower_kt = 10
faster_mach = 0.005
slower_mach = 0.015
source = "the school's syllabus"

# The school's own ceilings: measured beside the limits of the aircraft, never mixed with them.
[[ceiling]]
name = "descent speed"
set_by = "the school"
quantity = "calibrated_airspeed"
maximum_kt = 240

# The school's words for a part. The first that nothing speaks against counts, and the page shows
# all that it asks for. Without [[grade]] nothing is graded.
[[grade]]
name = "as briefed"
least_within_pct = 90
settled_after_s = 60

[[grade]]
name = "nearly as briefed"
least_within_pct = 70
"""

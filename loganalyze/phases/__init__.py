"""Phases of flight and manoeuvres.

Names are those of the CICTT common taxonomy (phase of flight definitions, version 1.3), which goes
by what the crew does; the thresholds are the program's own, each with its reason in
`phase_definitions`. Pressure altitude and airspeed are enough; a recorded vertical speed helps.

========================  ======================================================================
phase                     when
========================  ======================================================================
standing, taxi            on the ground: slower than 40 kt, or than the least airspeed shown, at a
                          level altitude; separated by ground speed, else "standing or taxi"
take-off                  from the start of the acceleration (extended back from 40 kt) to 35 ft
                          above the ground; a rejected one too
initial climb             to 1,000 ft above the ground of the take-off; in a traffic circuit to
                          the pattern
climb                     to the first cruise level, with its level-offs
cruise                    a level of 5 min in the upper third of the flight's heights, 1 min at
                          its top, or 10 min anywhere
change of cruise level    between two cruise levels
descent                   after the last cruise level, with its level-offs
holding                   a level of 4 min with its turns; without roll and heading, one flown
                          steadily no faster than holding speeds and 12 % slower than before: an
                          inference
approach                  below 3,000 ft above the ground of the landing, the last 25 min,
                          go-arounds included; where that ground wasn't recorded, by gear or
                          flap; all of a traffic circuit from the pattern to the flare
landing                   from 50 ft to 20 kt
manoeuvring               a climb and a descent of 400 ft within 90 s each, three reversals or
                          more; stalls; two steep turns or more (with roll or heading)
emergency descent         4,000 ft/min for 1 min; numbers can't separate an emergency from practice
unknown                   gaps, and no altitude or airspeed
========================  ======================================================================

Heights count only above a pressure altitude that was recorded on the ground: a log that begins or
ends in the air has none of the phases that rest on it.

Measured on scripted flights with noise: ``python tests/phases/missions.py`` (400 flights with
level-offs, step climbs, holding, manoeuvring, emergency descents, go-arounds) gives a macro F1 of
.98 at 1 Hz and at a sample in 4 s, .93 at one in 16 s; ``python tests/phases/training_missions.py``
(a third each of missions, traffic circuits and airwork) .97 at 1 Hz and .96 at 4 s, .98 with roll
and heading. Steep turns don't show in altitude and airspeed alone; a touch-and-go lasts three
samples of 4 s, so circuits alone come to .94 there.
"""

"""Simulated flights with known truth, computed in static and impact pressure.

Independent of the rest of the package, which it is used to test.
``python -m loganalyze.simulate OUT`` writes the sample logs, with ``--lesson`` the flights of a
lesson, and with ``--fleet N`` a fleet.
"""

from loganalyze.simulate.flight import Segment, Truth, Weather, fly
from loganalyze.simulate.lesson_flights import LESSON, LessonFlight, write_lesson
from loganalyze.simulate.recorder import FILL_DEGC, Recorder, write_csv
from loganalyze.simulate.samples import MMO, SAMPLES, VMO_KT, Sample, write_samples
from loganalyze.simulate.simulated_fleet import Behaviour, FlownFlight, fly_descent, write_fleet

__all__ = [
           "FILL_DEGC",
           "LESSON",
           "MMO",
           "SAMPLES",
           "VMO_KT",
           "Behaviour",
           "FlownFlight",
           "LessonFlight",
           "Recorder",
           "Sample",
           "Segment",
           "Truth",
           "Weather",
           "fly",
           "fly_descent",
           "write_csv",
           "write_fleet",
           "write_lesson",
           "write_samples",
]

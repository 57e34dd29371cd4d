"""Flights with known truth, reckoned in static and impact pressure.

Imports nothing of the program that it is there to test. ``python -m loganalyze.simulate OUT``
writes the sample logs.
"""

from loganalyze.simulate.flight import Segment, Truth, Weather, fly
from loganalyze.simulate.recorder import FILL_DEGC, Recorder, write_csv
from loganalyze.simulate.samples import MMO, SAMPLES, VMO_KT, Sample, write_samples

__all__ = ["FILL_DEGC", "MMO", "SAMPLES", "VMO_KT", "Recorder", "Sample", "Segment", "Truth",
           "Weather", "fly", "write_csv", "write_samples"]

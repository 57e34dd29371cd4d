"""Simulated flights with known truth, computed in static and impact pressure.

Independent of the rest of the package, which it is used to test.
``python -m loganalyze.simulate OUT`` writes the sample logs, and with ``--fleet N`` a fleet.
"""

from loganalyze.simulate.flight import Segment, Truth, Weather, fly
from loganalyze.simulate.recorder import FILL_DEGC, Recorder, write_csv
from loganalyze.simulate.samples import MMO, SAMPLES, VMO_KT, Sample, write_samples
from loganalyze.simulate.simulated_fleet import Behaviour, FlownFlight, fly_descent, write_fleet

__all__ = [
           "FILL_DEGC",
           "MMO",
           "SAMPLES",
           "VMO_KT",
           "Behaviour",
           "FlownFlight",
           "Recorder",
           "Sample",
           "Segment",
           "Truth",
           "Weather",
           "fly",
           "fly_descent",
           "write_csv",
           "write_fleet",
           "write_samples",
]

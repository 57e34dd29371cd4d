"""What one would write by hand: Mach, true airspeed, margin and one PNG, nothing else.

No corrections, no conditions, no gaps, no exceedances, no checks: the yardstick for
``bench_command.py``, not a way to judge a flight.
"""

import sys

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd

log = pd.read_csv(sys.argv[1])
altitude = log["Pressure Altitude [ft]"] * 0.3048
cas = log["CAS [kt]"] * 1852 / 3600
sat = log["SAT [degC]"] + 273.15
a0 = 340.293988
delta = (1 - 2.25577e-5 * altitude) ** 5.2558798


def mach_of(cas):
    """Mach number of a subsonic CAS at the log's altitudes."""
    qc = (1 + 0.2 * (cas / a0) ** 2) ** 3.5 - 1
    return np.sqrt(5 * ((qc / delta + 1) ** (2 / 7) - 1))


mach = mach_of(cas)
tas = mach * np.sqrt(1.4 * 287.05287 * sat)
mmo_cas = a0 * np.sqrt(5 * ((delta * ((1 + 0.2 * 0.48**2) ** 3.5 - 1) + 1) ** (2 / 7) - 1))
limit = np.minimum(245.0, mmo_cas * 3600 / 1852)
margin = limit - log["CAS [kt]"]

figure, axes = plt.subplots(3, 1, sharex=True, figsize=(10, 8))
axes[0].plot(log["Time [s]"], margin)
axes[0].set_ylabel("margin [kt]")
axes[1].plot(log["Time [s]"], log["CAS [kt]"])
axes[1].plot(log["Time [s]"], limit, "--")
axes[1].plot(log["Time [s]"], tas * 3600 / 1852)
axes[1].set_ylabel("airspeed [kt]")
axes[2].plot(log["Time [s]"], log["Pressure Altitude [ft]"])
axes[2].set_ylabel("pressure altitude [ft]")
axes[2].set_xlabel("time [s]")
figure.savefig(sys.argv[2], dpi=150)

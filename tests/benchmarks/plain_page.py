"""A bare matplotlib page of a flight: the four panels of the report's charts, and nothing else.

    python plain_page.py LOG PAGE

What someone writes who wants to look at a log: pandas, NumPy, pyplot.
"""

import sys

import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd

log = pd.read_csv(sys.argv[1])
time, height, cas = (log[name].to_numpy() for name in log.columns[:3])
delta = (1 - 6.87558563e-6 * height) ** 5.25587981
ratio = (1 + 0.2 * (cas / 661.478594) ** 2) ** 3.5 - 1
mach = np.sqrt(5 * ((ratio / delta + 1) ** (2 / 7) - 1))
mmo = 661.478594 * np.sqrt(5 * ((delta * ((1 + 0.2 * 0.48**2) ** 3.5 - 1) + 1) ** (2 / 7) - 1))
limit = np.minimum(245, mmo)

figure, panels = plt.subplots(4, 1, sharex=True, figsize=(8.27, 11.69))
panels[0].plot(time, limit - cas)
panels[0].axhline(0)
panels[0].set_ylabel("margin [kt]")
panels[1].plot(time, cas)
panels[1].plot(time, limit)
panels[1].set_ylabel("airspeed [kt]")
panels[2].plot(time, mach)
panels[2].axhline(0.48)
panels[2].set_ylabel("Mach")
panels[3].plot(time, height)
panels[3].set_ylabel("pressure altitude [ft]")
panels[3].set_xlabel("time [s]")
figure.savefig(sys.argv[2])

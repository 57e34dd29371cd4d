"""The library from Python, cell by cell, for a notebook; or run it as a script.

Writes nothing but in its last cell, to the folder that the command names, if any.
"""

# %% All in one call: an assessment for each flight of the recording
import sys
from pathlib import Path

import pyarrow.csv

import loganalyze as la

SAMPLES = Path(__file__).parent
SHEET = SAMPLES / "ouzelwing_240.toml"

(flight,) = la.assess(SAMPLES / "descent_through_mmo_and_vmo.csv", SHEET)
print(flight)  # a notebook shows the picture where the cell ends with `flight`

# %% How much, how long, how sure: the tables on disk as data frames
print(flight.exceedance_table[
    ["limit", "time_over_s", "worst_excess_kt", "assessment", "probability"]])

# %% Why: what took the aircraft to the limit, and what made it worse
print(flight.contribution_table[["limit", "stretch", "lost_kt", "height_trade_kt"]])

# %% How close otherwise, of every limit
print(flight.measure_table[["limit", "smallest_margin_kt", "within_5_s", "judged_s"]])

# %% Each sample, with phase and uncertainty
samples = flight.samples
print(samples.groupby("phase", observed=True)["margin_kt"].min())

# %% Step by step, from a data frame (pandas, Polars or Arrow) instead of a file
frame = pyarrow.csv.read_csv(SAMPLES / "climb_into_the_limit.csv")
log = la.read_log(frame)
analysis = la.analyze(log, la.read_limits(SHEET))
print(analysis)
assessed = la.assess_flight(analysis)

# %% The plain reading of the limits, on rows of one's own
rows = {"calibrated_airspeed_kt": [240.0, 260.0], "pressure_altitude_ft": [8000.0, 8000.0]}
print(la.evaluate(rows, la.read_limits(SHEET), declared={"flap": 0.0, "gear_down": 0.0})[
    ["margin_kt", "governing_limit", "state"]])

# %% Pictures, and a page for the crew
figure = la.margin_figure(analysis, assessment=assessed)
if len(sys.argv) > 1:
    folder = Path(sys.argv[1])
    la.save_figure(figure, folder / "margin.png")
    options = la.ReportOptions(formats=("html",), presentation=la.Presentation(reader="crew"))
    print(la.write_reports(folder, assessed, la.summarise([assessed]), options))

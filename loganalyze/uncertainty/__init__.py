"""How sure: error budget, propagation, probability and the decision rule.

The report's section on method cites this text; ``python -m pydoc loganalyze.uncertainty`` prints
it.

Error budget
------------
`error_budget` lists every error with its size and source: the limits sheet's ``[uncertainty]``,
the log's own quantization steps and sampling interval, else generic values
(`sheets.sensor_tolerances`). The interval and the columns use typical values; beside each interval
stands the one at the widest tolerances that the rules allow (`interval_bounds`, which also names
the dominating error and what stating it would gain).

=====================  ==============  ========================================  ================
error                  counts in       typical, where the sheet says nothing      widest allowed
=====================  ==============  ========================================  ================
quantization step q    both            from the log, q / sqrt(12)                same
skew between channels  both            up to one sampling interval               same
recorder to display    both            half of SAE AS8002A's tolerance (1)       as recorder (2)
display step and lag   as displayed    1 kt, Mach .001, up to 0.5 s (3)          same
air data and recorder  as flown        airspeed 5 kt at 50 kt, 3 at 80, 2 at     AMC to
                                       100 to 200 (SAE AS8002A), 1 % above (4);  CAT.IDE.A.190
                                       altitude mean 80 ft, mean + 3 sigma       (5); temperature
                                       200 ft (RVSM) at all altitudes (4);       2 degC (14 CFR
                                       temperature 2 degC                        135 App. F)
static source          as flown        2 kt (4); altitude moves with it          same
position correction    as flown        1 kt left of a correction (4); without    14 CFR 25.1323(c)
                                       one 3.4 kt (6)                            greater of 3 %
                                                                                 and 5 kt
=====================  ==============  ========================================  ================

(1) SAE AS417A as described in a catalogue: a recorder output may differ by that much from the
display's; one computer feeds both (engineering judgement). (2) As displayed only. (3) Common
practice, no source. (4) Engineering judgement. (5) Airspeed 5 %, from VS0 up 3 %; altitude 100 to
700 ft. (6) The 30 ft per 100 kt of 14 CFR 25.1325(e), cited from memory, as airspeed and up to VMO
by engineering judgement. Limits published as indicated airspeed aren't affected by the position
correction.

Propagation
-----------
First order (JCGM 100:2008, eqs. 10 and 13), with the partial derivatives of `air.sensitivity`. A
static source is one input that moves airspeed and altitude together. Monte Carlo (JCGM 101:2008)
agrees within 3 % on a grid of limits, speeds and heights. `propagation` makes the columns block by
block, within 0.5 % of the exact calculation in `sample_uncertainty`.

Probability
-----------
P = Phi(e / sqrt(u_s^2 + u_r^2)): e is the estimate of the greatest true excess, u_r its standard
error, u_s what is common to the flight. At a peak, e is the top of a local parabola (`peak_fit`).
On a plateau, where eight or more samples are about as high as the greatest, the greatest sample
is the greatest of the noise; there e is the mean of the posterior of the maximum
(`plateau_maximum`). The samples are separated into motion, gusts and noise by their spectra
(`screening.noise_estimation`, weighed by Whittle's likelihood on a grid), 120 courses that fit the
samples are drawn with a fixed seed, and each one's maximum is taken. The greatest recorded sample
stays beside the estimate.

White noise is estimated from the log itself. Scatter correlated over seconds may be gusts or
filtered noise (`airspeed_noise`): the sheet's ``airspeed_noise`` decides, or a second channel for
the airspeed that was recorded as often (what both share is real, and a part of what they differ by
is taken off: `screening.unshared_noise`). Otherwise the scatter common to
the flight's quieter stretches may be noise; the estimate is given for both cases and the interval
covers both. Out of reach: noise that two channels of one computer share counts as real, gusts
faster than two samples count as noise, and noise correlated over more than some 20 s is an error
common to the stretch that belongs in ``airspeed``.

The outcomes (proven over, over but not proven, under but not proven, proven under) are those of
guarded rejection and guarded acceptance with the 95 % expanded uncertainty as guard band
(JCGM 106:2012, 8.3; `decision_rule`). A peak or plateau beside a gap is a lower bound.

Calibration
-----------
``python -m tests.uncertainty.calibration`` flies 10,000 flights a row. Their truth is in static
and impact pressure, from code that shares nothing with the engine:

===================================  ======================  ==============  ===================
flat truth, errors                   tenths within 99.9 %    Brier skill     over plain excess /
                                                             over base rate  uncertainty
===================================  ======================  ==============  ===================
as stated (the pass rule)            10 of 10                .812            .030
uniform                              9 of 10                 .789            .009
noise correlated over 5 s            10 of 10                .798            .014
steps of 2 kt and 50 ft              10 of 10                .795            .028
steps of 1 kt, truncated             5 of 10: reads low      .792            -.001
===================================  ======================  ==============  ===================

A recorder that truncates reads half a step low; a sheet that states its steps as an error of the
airspeed covers it. The plateau cells are listed in `tests/uncertainty/plateaus.py`.

Priors
------
Most flights stay well under their limits. In an invented fleet of which 1.5 % of the flights are
truly over (10,000 flights), the flat prior reads high in the middle; with the prior that 10,000
earlier flights' margins give (`prior_models`, a mixture of normals freed of measurement error) it
doesn't:

==================  ==========================================  ==============================
stated probability  flat prior: flights, expected, truly over   fleet's prior: the same
==================  ==========================================  ==============================
0 to .3             9,761, 32.2, 21                             9,824, 29.1, 31
.3 to .6            86, 36.9, 16                                75, 34.3, 32
.6 to .9            83, 62.8, 45                                53, 39.4, 39
.9 to 1             70, 68.2, 68                                48, 46.3, 48
Brier score         .0064                                       .0055
==================  ==========================================  ==============================

A prior may be of the margins that crews are shown (``displayed``, as ``loganalyze priors`` makes
it). They fly by these, so that what an instrument reads wrongly adds to what is flown and no habit
of the fleet lessens it: only the recording's part of the error is weighed against the prior.

The flat prior stays the default, since a prior needs data and belongs to one fleet; the output
names the one that was used.
"""

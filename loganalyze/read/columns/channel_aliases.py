"""The one table of spellings: words that exports use for each channel and part of the clock."""

from __future__ import annotations

SPELLINGS: dict[str, str] = {
    "time": "time, elapsed time, elapsed, time elapsed, utc, gmt, utc time, time utc, gmt time, "
            "time gmt, zulu, timestamp, time stamp, datetime, date time, datetime utc, "
            "time since start, seconds, t, epoch, unix time, sample time, record time, "
            "utc date time, date time utc, time of day, recording time, relative time, rel time, "
            "time from start, utc timestamp, zulu time, epoch time, run time, mission time, "
            "seconds of day, seconds since midnight, time code, irig time",
    "date": "date, utc date, date utc, gmt date, date gmt, flight date, dmy, mdy, ymd",
    "utc_offset": "utc offset, utcofst, utc ofst, offset utc, offset to utc, time zone, timezone, "
                  "tz, local offset, zone offset",
    "hour": "hour, hours, hh, utc hour, utc hours, gmt hour, gmt hours, hour utc, hour gmt, "
            "time hour",
    "minute": "minute, minutes, mm, utc minute, utc minutes, gmt minute, gmt minutes, minute utc, "
              "minute gmt, utc min, gmt min, min, time minute",
    "second": "second, sec, ss, utc second, utc seconds, gmt second, gmt seconds, second utc, "
              "second gmt, utc sec, gmt sec, time second, time of week, tow, gps tow, "
              "gps time of week, seconds of week, sow, gps seconds",
    "day": "day, day of month, utc day, gmt day, date day",
    "month": "month, utc month, gmt month, month of year, date month",
    "year": "year, utc year, gmt year, yyyy, date year",
    "day_of_year": "day of year, doy, julian day, utc day of year, yday, ordinal day",
    "week": "week, gps week, satellite week, week number, gnss week, gps week number",
    "frame": "frame, frame counter, frame count, frame number, frame no, frame nr, superframe",
    "subframe": "subframe, sub frame, subframe number, subframe counter, sub frame number, "
                "sub frame counter, subframe no, sub frame no, sf counter",
    "pressure_altitude": "pressure altitude, press altitude, press alt, pressure alt, alt press, "
                         "altitude pressure, palt, p alt, alt p, hp, altitude std, alt std, "
                         "std alt, standard altitude, std altitude, altitude 1013, alt 1013, "
                         "altitude 29.92, alt 29.92, altitude qne, alt qne, fl, flight level, "
                         "altitude standard, altitude 1013.25, alt 1013.25, pressure height, "
                         "pres alt, prs alt, press altd, altp, palt std, adc pressure altitude, "
                         "baro altitude std, baro altitude 1013, uncorrected altitude, "
                         "baro alt std, altitude fl, zp, zp std",
    "indicated_altitude": "indicated altitude, ind alt, ind altitude, baro altitude, baro alt, "
                          "baro corrected altitude, baro corr alt, altitude baro, alt baro, "
                          "barometric altitude, altitude qnh, alt qnh, qnh altitude, "
                          "altitude indicated, alt ind, baro corrected alt, altitude baro corr, "
                          "altitude baro corrected, corrected altitude, displayed altitude, "
                          "alt baro corr, altimeter indication",
    "satellite_altitude": "gps altitude, gps alt, altitude gps, alt gps, gnss altitude, gnss alt, "
                          "geometric altitude, altitude gnss, alt gnss, satellite altitude, "
                          "geo altitude, hae, msl altitude gps, gps height, height gps, "
                          "gps alt msl, alt gps msl, altitude msl gps, gps altitude msl",
    "indicated_airspeed": "ias, indicated airspeed, airspeed indicated, indicated air speed, "
                          "ind airspeed, airspeed ind, ind air speed, vi, v ias, kias, "
                          "indicated speed, speed indicated, airspeed ias, ias airspeed, vias, "
                          "speed ias, ias speed, air speed indicated, ind speed",
    "calibrated_airspeed": "cas, calibrated airspeed, airspeed calibrated, calibrated air speed, "
                           "computed airspeed, computed air speed, comp airspeed, "
                           "airspeed computed, vc, vcas, v cas, kcas, cal airspeed, airspeed cal, "
                           "airspeed cas, rectified airspeed, speed cas, air speed calibrated, "
                           "calibrated speed, comp air speed, airspeed comp",
    "true_airspeed": "tas, true airspeed, airspeed true, true air speed, ktas, v tas, vtas, "
                     "true speed, airspeed tas, speed true, speed tas",
    "mach": "mach, mach number, mach no, m no, machno, mn, mach nr, mach num",
    "static_air_temperature": "sat, static air temperature, static air temp, static temperature, "
                              "static temp, temperature static, temp static, t static, "
                              "air temperature static, ts, temp sat, temperature sat, ambient "
                              "temperature, ambient temp, ambient air temperature, static air t",
    "total_air_temperature": "tat, total air temperature, total air temp, total temperature, "
                             "total temp, temperature total, temp total, temp tat, "
                             "temperature tat, tt, t total, stagnation temperature",
    "outside_air_temperature": "oat, outside air temperature, outside air temp, outside temp, "
                               "outside temperature, outside air t, outdoor air temperature, "
                               "outside air temperature probe, oat probe, temp oat, probe "
                               "temperature, probe temp, air temperature probe, air temp probe, "
                               "ram air temperature, ram air temp",
    "static_pressure": "static pressure, static press, ps, p static, pressure static, static pres, "
                       "static air pressure, press static, pstatic, static port pressure, "
                       "ambient pressure",
    "total_pressure": "total pressure, total press, pt, p total, pressure total, pitot pressure, "
                      "total pres, press total, ptotal, pitot press, pressure pitot, "
                      "stagnation pressure, total air pressure, p pitot",
    "impact_pressure": "impact pressure, impact press, qc, pressure impact, p impact, impact pres, "
                       "differential pressure, pitot static pressure, pitot differential "
                       "pressure, pitot static differential pressure, impact air pressure",
    "altimeter_setting": "altimeter setting, qnh, baro setting, altimeter set, baro set, "
                         "barometric setting, baro correction, altimeter sub scale, baro ref, "
                         "altimeter subscale, baro pressure setting, baroset, altim setting, "
                         "barometric correction, kollsman",
    "ground_speed": "ground speed, gs, groundspeed, speed ground, gps speed, gps ground speed, "
                    "gnd speed, gndspd, gnd spd, grd spd, grd speed, speed over ground, sog, "
                    "inertial ground speed, fms ground speed",
    "vertical_speed": "vertical speed, vs, vsi, ivv, v speed, rate of climb, roc, climb rate, "
                      "altitude rate, vertical rate, vert spd, vert speed, vertical spd, vspd, "
                      "inertial vertical speed, ivsi, baro vertical speed, alt rate, "
                      "vertical velocity, vert velocity, vspeed, baro rate",
    "heading": "heading, hdg, magnetic heading, mag heading, true heading, heading magnetic, "
               "heading true, mag hdg, true hdg, hdg mag, hdg true, head mag, head true, heading "
               "mag, psi angle, compass heading, magnetic hdg, hdng, heading angle",
    "track": "track, trk, ground track, track true, true track, track angle, track angle true, "
             "trk angle, gps track, track mag, track magnetic, course over ground, cog, "
             "track over ground, ground track angle",
    "pitch": "pitch, pitch angle, pitch attitude, theta, pitch att, attitude pitch, pitch deg",
    "roll": "roll, roll angle, bank, bank angle, roll attitude, phi, roll att, attitude roll",
    "load_factor": "load factor, normal acceleration, norm acc, norm accel, vertical acceleration, "
                   "vert accel, nz, vrtg, normac, vertical load factor, g load, vert acc, "
                   "normal accel, normal load factor, vertical accel, acceleration normal, "
                   "acc normal, accel normal, acceleration vertical, vert acceleration, "
                   "norm acceleration, accel vert, body normal acceleration, vertical g, "
                   "normal g, g normal",
    "latitude": "latitude, lat, gps latitude, latitude gps, gps lat, lat gps, position latitude, "
                "present position latitude, pres pos lat, latitude pos, fms latitude",
    "longitude": "longitude, lon, long, lng, gps longitude, longitude gps, gps lon, gps long, "
                 "lon gps, long gps, position longitude, present position longitude, "
                 "pres pos lon, pres pos long, fms longitude",
    "flap": "flap, flaps, flap angle, flap position, flap surface, flap surface angle, flap pos, "
            "flaps position, flaps angle, flap surface position, te flap, te flap position, "
            "te flap angle, trailing edge flap, flap deflection, flap actual, flaps actual, "
            "te flaps, flap surf, flaps surface",
    "flap_lever": "flap lever, flap handle, flap handle position, flap lever position, "
                  "flap selector, flap selected, flap lever angle, flaps lever, flaps selected, "
                  "flap hdl, flap handle pos, flap lever pos, flap hdl pos, flap selection, "
                  "flap sel, flap selector position, flap setting, flaps selector, flap command, "
                  "flaps handle, flap handle angle, slat flap lever",
    "slat": "slat, slats, slat angle, slat position, slat surface, slats position, slats angle, "
            "slat pos, le slat, le slats, leading edge slat, slat surface angle",
    "speedbrake": "speedbrake, speed brake, speedbrakes, spoilers, speedbrake angle, "
                  "speed brake position, speedbrake position, speed brakes, speed brake angle, "
                  "spoiler, spoiler position, spoiler angle, spd brk, spdbrk, spd brk pos, "
                  "airbrake, air brake, airbrakes, airbrake position, speed brake pos, "
                  "spoiler deflection, speed brake surface, speedbrake surface",
    "gear_down": "gear down, gear down and locked, landing gear down, gear down locked, "
                 "ldg gear dn, gear dn, gear downlocked, lg down, lg dn, ldg gear down, "
                 "gear down lock, gear downlock, gear down lkd, gear dn lkd, ldg dn, "
                 "landing gear down and locked, landing gear down locked, gear, landing gear, "
                 "ldg gear, gear position, landing gear position, lg position, gear pos, lg pos, "
                 "undercarriage, ldg gear pos, landing gear status, gear status",
    "weight_on_wheels": "weight on wheels, wow, air ground, on ground, ground air, squat switch, "
                        "air gnd, gnd air, air grd, grd air, squat, weight on wheel, wow main, "
                        "air ground switch, air ground sensor, in air on ground",
    "overspeed_warning": "overspeed warning, overspeed, vmo mmo warning, overspeed warn, ovspd, "
                         "vmo warning, overspeed wrn, over speed, over speed warning, "
                         "overspeed alert, vmo mmo overspeed, overspeed clacker, ovspd warn, "
                         "overspeed aural, overspeed warning active, vmo mmo warn, ovsp, "
                         "mmo vmo warning",
    "autopilot": "autopilot, autopilot engaged, ap engaged, ap, ap eng, auto pilot, a/p, "
                 "a/p engaged, a/p eng, ap on, autopilot on, autopilot status, ap status, "
                 "autopilot eng, ap engd, a/p on, autopilot engage, afcs engaged, "
                 "auto pilot engaged, a/p engd, cmd engaged",
    "event_marker": "event marker, event mark, event button, pilot event, crew event, "
                    "pilot event marker, crew event marker, event marker button",
    "autothrottle": "autothrottle, autothrottle engaged, at engaged, autothrust, at eng, "
                    "auto throttle, a/t, a/t engaged, a/t eng, a/thr, a/thr engaged, "
                    "athr, athr engaged, athr active, autothrust engaged, autothrust active, "
                    "auto thrust, auto throttle engaged, at engd, autothrottle status, a/t on, "
                    "a/thr active, autothrottle eng",
    "weight": "weight, gross weight, gw, aircraft weight, mass, aircraft mass, gross mass, "
              "gross wt, fms gross weight, ac weight, gr wt, grosswt, total weight, acft weight",
    "fuel": "fuel, fuel quantity, total fuel, fuel on board, fob, fuel qty, total fuel quantity, "
            "fuel total, fuel quantity total, fuel qty total, total fuel qty, fuel weight, "
            "fuel mass, fuel remaining",
    "torque": "torque, tq, trq, engine torque, eng torque, engine tq, eng tq, torque engine, "
              "torque eng, eng trq, trq eng",
    "fan_speed": "n1, fan speed, engine n1, eng n1, n1 engine, n1 eng, n1 actual, actual n1, "
                 "n1 rpm, n1 speed, fan n1, n1 act",
    "power_lever": "power lever, power lever angle, pla, throttle lever angle, tla, "
                   "power lever position, thrust lever angle, thrust lever, thrust lever "
                   "position, throttle position, throttle lever, throttle angle, throttle, tra, "
                   "throttle resolver angle, eng tla, power lever pos, pla eng, tla eng, thr lever "
                   "angle",
    "limit_pointer": "vmo, maximum allowable airspeed, max allowable airspeed, "
                     "limit pointer, maximum operating speed, vmo mmo, max speed pointer, "
                     "max allowable speed, maximum allowable speed, max allow airspeed, "
                     "maximum operating airspeed, max operating speed, max operating airspeed, "
                     "max airspeed, vmax, overspeed pointer, max allowed airspeed, "
                     "maximum allowed airspeed, vmo pointer",
}

AMBIGUOUS: dict[str, tuple[str, ...]] = {
    "altitude, alt, height, baro": ("pressure_altitude", "indicated_altitude",
                                    "satellite_altitude"),
    "airspeed, air speed, speed, spd, aspd, velocity": (
        "indicated_airspeed", "calibrated_airspeed", "true_airspeed"),
    "temperature, temp, air temperature, air temp": (
        "static_air_temperature", "total_air_temperature", "outside_air_temperature"),
}
"""Names that don't say which channel they are."""

NAMED_UNITS = {"kias": "kt", "kcas": "kt", "ktas": "kt", "fl": "FL", "flightlevel": "FL",
               "seconds": "s", "altitudefl": "FL"}
"""Names that state their unit by themselves."""

WORDED = frozenset((
    "airground", "groundair", "airgnd", "gndair", "airgrd", "grdair", "squatswitch", "squat",
    "airgroundswitch", "airgroundsensor", "inaironground", "gear", "landinggear", "ldggear",
    "gearposition", "landinggearposition", "lgposition", "gearpos", "lgpos", "undercarriage",
    "ldggearpos", "landinggearstatus", "gearstatus",
))
"""Names of states that tell which state is meant only in words: 0 and 1 may be either."""

MARKS: dict[str, int] = {
    word: rank
    for rank, words in (
        (1, "1 l lh left lhs lft capt captain cpt pilot adc1 adc-1 adr1 adiru1 adu1 sys1 no1 #1 a "
            "side1 adahrs1 eng1 p1 ads1 adm1"),
        (2, "2 r rh right rhs rgt fo f/o copilot adc2 adc-2 adr2 adiru2 adu2 sys2 no2 #2 b side2 "
            "adahrs2 eng2 p2 ads2 adm2 co-pilot"),
        (3, "3 c ctr center centre stby standby sby isis esis adc3 adr3 adiru3 sys3 no3 #3 backup "
            "stdby eng3 ads3 adm3"),
        (4, "4 eng4 no4 #4"),
    )
    for word in words.split()
}
"""Words at a name's beginning or end that tell one source of a channel from another."""
NEUTRAL = frozenset(("adc", "adr", "adiru", "adahrs", "fdr", "fms", "main", "recorded", "eng",
                     "engine", "ads"))
"""Words that say where a value came from, but not which of several sources. A *selected* value
isn't among them: it may be what the autopilot was told to fly."""
WORDS_OF_A_PAIR = {"coarse": "coarse", "crs": "coarse", "fine": "fine"}
"""Words that tell the coarse and the fine word of one value."""

"""Writes how exports are written, and what stands in their cells; called by ``write.py``."""

from __future__ import annotations

import gzip

import pyarrow as pa
from gallery.writing import T, plain, put, text

PREAMBLE = """Flight data replay, ground station 2
Aircraft: an invented commuter, tail ZZ-001, serial 7
Recorder: 256 words a second, 25 h, download of 2026-03-01, 08:12
Analyst remarks: none, all channels valid

"""


def dialects() -> None:
    rows = plain()
    put("plain.csv", text(rows))
    put("preamble.csv", PREAMBLE + text(rows))
    put("preamble_pairs.csv", "Operator,Invented Air\nTail,ZZ-001\nFlight,7\nSample rate [Hz],1\n"
        "Samples,40\nStart,2026-02-28\n" + text(rows))
    body = text(rows[1:]).splitlines()
    put("comments.csv", "# decoder 3.1, an invented export\n# 1 line a second\n"
        + text(rows[:1]) + "\n".join([*body[:10], "# EVENT MARKER, crew, 00:00:10", *body[10:25],
                                      "# sync lost and found", *body[25:], ""]))
    put("comment_header.csv", "% invented decoder\n% " + text(rows) + "% end of flight\n")
    names = [name.split(" [")[0] for name in rows[0]]
    units = [name.split("[")[1][:-1] if "[" in name else "" for name in rows[0]]
    put("units_row.csv", text([names, units, *rows[1:]]))
    put("units_row_brackets.csv", text([names, [f"({unit})" for unit in units], *rows[1:]]))
    put("units_row_dashes.csv", text([names, [unit or "-" for unit in units], *rows[1:]], ";"))
    put("semicolon.csv", text(rows, ";"))
    degrees = [[name.replace("degC", "°C") for name in rows[0]], *rows[1:]]
    remark = [[*row, "Bemerkung" if not i else "überprüft" if i % 7 == 0 else ""]
              for i, row in enumerate(degrees)]
    put("decimal_comma_latin1.csv", text(remark, ";", ",").encode("latin-1"))
    put("decimal_comma_quoted.csv", text(rows, ",", ",", quote=True))
    put("decimal_comma_tab.txt", text(rows, "\t", ","))
    put("tab.tsv", text(rows, "\t"))
    put("pipe.txt", text(rows, "|"))
    commas = [["Time, s", "Altitude, pressure, ft", "Airspeed, indicated, kt", "SAT, degC",
               "Heading, deg", "Flap angle, deg", "Gear down"], *rows[1:]]
    put("quoted.csv", text(commas, quote=True))
    put("quoted_names.csv", text(commas[:1], quote=True) + text(rows[1:]))
    put("bom_crlf.csv", b"\xef\xbb\xbf" + text(degrees, end="\r\n").encode())
    put("utf16_tab.txt", text(degrees, "\t", end="\r\n").encode("utf-16"))
    put("utf16_big_endian.csv", b"\xfe\xff" + text(rows, ";").encode("utf-16-be"))
    put("utf16_no_mark.csv", text(rows).encode("utf-16-le"))
    put("cr_only.csv", text(rows, end="\r"))
    put("trailing_delimiter.csv", text(rows, ";", end=";\n"))
    put("trailing_delimiter_rows.csv", text(rows[:1]) + text(rows[1:], end=",\n"))
    put("blank_lines.csv", text(rows, end="\n\n"))
    put("padded.txt", "".join(";".join(cell.rjust(22) for cell in row) + "\n" for row in rows))
    block = text([names, units])
    put("repeated_header.csv", "".join(
        block + text(rows[1 + first : 11 + first]) for first in range(0, 40, 10)))
    put("pages.csv", "".join(
        f"Invented replay    tail ZZ-001    page {first // 10 + 1}\n\n" + block
        + text(rows[1 + first : 11 + first]) + "\n" for first in range(0, 40, 10)))
    put("truncated.csv", text(rows) + "40,4380,1")
    put("truncated_cell.csv", text(rows) + '40,4380,"18')
    put("end_of_file_mark.csv", text(rows, end="\r\n") + "\x1a")
    put("last_line_without_end.csv", text(rows).rstrip("\n"))
    put("total_line.csv", text(rows) + "End of data, 40 samples\n")
    packed = text(rows).encode()
    put("packed.csv.gz", gzip.compress(packed, mtime=0))
    put("packed.csv.zst", pa.compress(packed, "zstd", asbytes=True))
    put("packed_utf16.csv.gz", gzip.compress(text(degrees, "\t").encode("utf-16"), mtime=0))
    thousands = [[*row] for row in rows]
    for row in thousands[1:]:
        row[1] = f"{int(row[1]):,}"
    put("thousands.csv", text(thousands), '[file]\nthousands = "comma"\n')
    points = [[*row] for row in rows]
    for row in points[1:]:
        row[1] = f"{int(row[1]):,}".replace(",", " ") + ",0"
    put("thousands_blank.csv", text(points, ";", ","),
        '[file]\ndecimal = "comma"\nthousands = "blank"\n')
    others = [[*row, *other] for row, other in zip(rows, [
        ["Flight No", "Phase", "EGT [degC]", "Remark"],
        *(["ZZ 7", "CLIMB", "612", ""] for _ in T)], strict=True)]
    put("other_columns.csv", text(others))
    put("names_of_the_trade.csv", text([["GMT", "PALT_FT", "KIAS", "SAT_C", "HDG.deg",
                                         "FlapPosDeg", "LDG GEAR DN"], *rows[1:]])
        .replace("GMT", "ELAPSED TIME (SEC)"))
    put("numbered_lines.csv", text([[str(i) if i else "", *row] for i, row in enumerate(rows)]))




def values() -> None:
    rows = plain()
    words = [[*row] for row in rows]
    for column, gone in ((2, {3: "NCD", 4: "NCD", 5: "NCD", 20: "FAIL"}),
                         (3, {7: "---", 8: "N/A", 9: "", 10: "NO DATA", 11: "****"}),
                         (4, {30: "INOP", 31: "inop", 32: "nan", 33: "?"})):
        for row, word in gone.items():
            words[row + 1][column] = word
    put("words_for_missing.csv", text(words))
    own = [[*row] for row in rows]
    for row in (12, 13):
        own[row + 1][3] = "PROBE HTR"
    put("own_word_for_missing.csv", text(own), """[columns]
static_air_temperature = { column = "SAT [degC]", missing = ["PROBE HTR"] }
""")
    fills = [[*row] for row in rows]
    for column, gone in ((1, {5: "-9999", 6: "99999"}), (2, {8: "-9999", 9: "-9999"}),
                         (3, {15: "999.9", 16: "-999.0"}), (4, {25: "-9999"})):
        for row, word in gone.items():
            fills[row + 1][column] = word
    put("fill_values.csv", text(fills))
    states = [[*row[:6], {"Gear Down": "Landing Gear Down", "1": "DOWN", "0": "UP"}[row[6]],
               "Autopilot" if not i else "ON" if i - 1 >= 30 else "OFF",
               "Air/Ground" if not i else "AIR"] for i, row in enumerate(rows)]
    put("states.csv", text(states))
    coded = [[*row[:6], {"Gear Down": "LG SEL", "1": "EXT", "0": "RET"}[row[6]]] for row in rows]
    put("state_codes.csv", text(coded), """[columns]
gear_down = { column = "LG SEL", values = { EXT = 1, RET = 0 } }
""")
    levers = [[*row[:5], "FLAP LEVER" if not i else "UP" if i - 1 >= 19 else "T/O"]
              for i, row in enumerate(rows)]
    put("flap_lever_words.csv", text(levers), """[columns]
flap_lever = { column = "FLAP LEVER", unit = "deg", values = { UP = 0, "T/O" = 15, LAND = 35 } }
""")
    exponents = [rows[0], *([row[0], f"{float(row[1]):.4E}", f"+{row[2]}", *row[3:]]
                            for row in rows[1:])]
    put("exponents_and_signs.csv", text(exponents))

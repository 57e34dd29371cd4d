"""One damaged cell, line or byte in every dialect and clock: what does it do to the verdict?

Each trial writes an invented flight in one dialect, clock and set of units, damages exactly one
cell, line or byte (with ``--share`` that share of the cells), reads and judges it as the command
does, and compares every limit's state, second by second, with that of the undamaged file.

Thresholds, fixed before the first run:

- no exception but `Problem`, no warning that a user would see printed, no trial longer than
  `PATIENCE_S`;
- no limit that turns from under to over, or from over to under, more than `REACH_S` (with
  ``--share`` `REACH_OF_MANY_S`) from the damage without a new sentence in the log's notes, a new
  finding or a suspect there. A stretch that became unknown is reported by the program as unknown,
  and a refusal is an answer: both are counted and printed, not failed.

Run ``python -m tests.read.damage_matrix --trials 20000``.
"""

from __future__ import annotations

import argparse
import random
import re
import signal
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))

import exporting
from exporting import BLANK_FORMS, CLOCKS, FORMS, Habits, Written

from loganalyze import Analysis, LimitsSheet, Problem, analyze, read_flights, read_limits
from loganalyze.text.language import reading_text

REACH_S = 8.0
REACH_OF_MANY_S = 2.0
"""Where a hundredth of the cells is damaged, a flight has few seconds further than 8 s from all."""
PATIENCE_S = 20
ROWS = 240
START = np.datetime64("2026-02-28T23:58:00", "ns")
DAMAGE = re.compile("can't be read as what it holds: taken as missing|damaged lines? w")
UNDER, OVER, UNKNOWN, NOT_APPLICABLE = range(4)

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "indicated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = 250
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.56
[[limit]]
name = "VLE"
quantity = "indicated_airspeed"
maximum_kt = 240
when = { gear_down = { is = true } }
"""

CELLS = ("", " ", "-", "NaN", "inf", "1e400", "9" * 40, "0x10", "1,5", "1.5", "1.500,5", '"', '"x',
         "#", "NCD", "-9999", "0", "1", "UP", "DOWN", "2026-02-30", "24:00:00", "23:59:60",
         "31/12/1999", "12:00 PM", "+", "=1+1", "99999", "4095", "01:00", "0.4132", "1e160")
BYTES = (b",", b";", b"\n", b'"', b"\x00", b"\xff", b"-", b"e", b"\t", b"|", b"\r", b".", b"#",
         b" ", b":", b"0", b"9", b"\x1a")


@dataclass(frozen=True)
class Damage:
    """A damaged file's text: what was done, and to which row (0 before the first)."""

    name: str
    row: int
    data: bytes
    rows: tuple[int, ...] = ()
    reach_s: float = REACH_S


@dataclass(frozen=True)
class Outcome:
    """A trial's result: ``kind`` is "same", "near", "refused", "stated", "silent" or "crash"."""

    kind: str
    detail: str = ""


def flight(rng: np.random.Generator, rate: float) -> tuple[NDArray[np.datetime64],
                                                            dict[str, NDArray[np.float64]]]:
    """Return the instants and SI values of a flight that swings over its limits and back."""
    t = np.arange(ROWS * rate) / rate
    phase = rng.uniform(0, 6, 2)
    speed = 243 + 13 * np.sin(t / 17 + phase[0]) + rng.normal(0, 0.15, len(t))
    height = 20000 + 1500 * np.sin(t / 40 + phase[1]) + rng.normal(0, 2, len(t))
    static = 101325 * (1 - 6.87558563248e-6 * height) ** 5.25587981271
    gear = ((t > 60) & (t < 130)).astype(float)
    at = START + np.rint(t * 1e9).astype("timedelta64[ns]")
    return at, {
        "pressure_altitude": height * 0.3048,
        "indicated_airspeed": speed * 1852 / 3600,
        "static_air_temperature": 288.15 - 0.0019812 * height + rng.normal(0, 0.1, len(t)),
        "static_pressure": static,
        "gear_down": gear,
    }


def judged(written: Written, sheet: LimitsSheet) -> list[Analysis]:
    """Read and judge a file flight by flight, as the command does."""
    return [analyze(log, sheet, flight=number)
            for number, log in enumerate(read_flights(written.path, written.columns), 1)]


def words(analyses: list[Analysis]) -> set[str]:
    """Return all that the program says of how a file was read and taken.

    That a damaged cell or line counts as missing explains nothing far away from it.
    """
    said: set[str] = set()
    for one in analyses:
        said |= {sentence for sentence in reading_text.sentences(one.log.source.inferred)
                 if not DAMAGE.search(sentence)}
        said |= {f"{finding.code} {finding.values}" for finding in one.findings}
    return said


def states(analyses: list[Analysis], shift_s: float, seconds: int) -> NDArray[np.uint8]:
    """Return the state of each limit in the middle of each second, uint8[limits, seconds].

    Time counts from the undamaged file's first row; `shift_s` [s] is the time of the damaged
    file's first row where the log itself gives no date.
    """
    grid = np.arange(seconds) + 0.5
    found: NDArray[np.uint8] = np.full((len(analyses[0].sheet.limit), seconds), UNKNOWN,
                                       dtype=np.uint8)
    for one in analyses:
        start = shift_s
        if one.log.utc_start is not None:
            start = float((one.log.utc_start - START) / np.timedelta64(1, "ns")) * 1e-9
        time = one.log.time + start
        interval = one.log.interval_s if one.log.interval_s > 0 else 1.0
        row = np.searchsorted(time, grid, side="right") - 1
        here = (row >= 0) & (grid - time[np.maximum(row, 0)] < 1.5 * interval)
        for i in range(len(found)):
            found[i, here] = one.columns[f"state_{i}"][row[here]]
    return found


def compare(before: NDArray[np.uint8], after: list[Analysis], said: set[str], damage: Damage,
            rate: float) -> Outcome:
    """Compare the states of a damaged file with those of the undamaged one."""
    seconds = before.shape[1]
    dated = all(one.log.utc_start is not None for one in after)
    best = Outcome("silent", "no flight")
    order = {"same": 0, "near": 1, "stated": 2, "silent": 3}
    for shift in (0.0,) if dated else (0.0, 1 / rate, 2 / rate):
        now = states(after, shift, seconds)
        at = np.arange(seconds) + 0.5
        far = np.ones(seconds, dtype=bool)
        for row in damage.rows or (damage.row,):
            far &= np.abs(at - row / rate) > damage.reach_s + 1
        changed = (now != before) & far
        turned = changed & (((now == OVER) & (before != OVER)) | ((before == OVER) & (now != OVER)))
        lost = turned & (now == UNKNOWN)
        turned &= now != UNKNOWN
        for one in after:
            for suspect in one.suspects:
                turned[:, (at > suspect.start_s - 2) & (at < suspect.end_s + 2)] = False
        if not (now != before).any():
            found = Outcome("same")
        elif not changed.any():
            found = Outcome("near")
        elif turned.any() and not words(after) - said:
            found = Outcome("silent", f"{int(turned.sum())} s turned")
        else:
            found = Outcome("stated", f"{int(turned.sum())} s turned, {int(lost.sum())} s lost; "
                            + "; ".join(sorted(words(after) - said))[:300])
        if order[found.kind] < order[best.kind]:
            best = found
    return best


class Patience(Exception):
    pass


def trial(written: Written, damage: Damage, before: NDArray[np.uint8], said: set[str],
          sheet: LimitsSheet, rate: float) -> Outcome:
    """Write, read, judge and compare one damaged file."""
    written.path.write_bytes(damage.data)

    def too_long(*_: object) -> None:
        raise Patience

    earlier = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(PATIENCE_S)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            after = judged(written, sheet)
        return compare(before, after, said, damage, rate)
    except Problem as problem:
        return Outcome("refused", problem.sentence)
    except Exception as error:  # the very thing that is looked for
        return Outcome("crash", f"{type(error).__name__}: {error}"[:300])
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, earlier)


def _cell(rng: random.Random, cells: list[str], column: int) -> str:
    """Return another content for one cell."""
    was = cells[column]
    kind = rng.randrange(6)
    digits = [i for i, one in enumerate(was) if one.isdigit()]
    if kind == 0 and digits:
        place = rng.choice(digits)
        return was[:place] + str(rng.randrange(10)) + was[place + 1 :]
    if kind == 1 and digits:
        place = rng.choice(digits)
        return was[:place] + was[place + 1 :]
    if kind == 2 and ("." in was or ":" in was):
        return was.replace(".", "", 1) if "." in was else was.replace(":", "", 1)
    if kind == 3:
        return rng.choice(cells)
    if kind == 4 and digits:
        place = rng.choice(digits)
        return was[:place] + was[place] + was[place:]
    return rng.choice(CELLS)


def parted(line: str, mark: str) -> list[str]:
    """Return the cells of a line and, at the odd places, what stands between them."""
    if mark.strip(" "):
        return re.split(f"({re.escape(mark)})", line)
    return re.split("( +)" if mark == " " else "(  +)", line)


def damage_cell(rng: random.Random, lines: list[str], first: int, mark: str) -> tuple[str, int]:
    place = rng.randrange(max(first - 1, 0), len(lines))
    cells = parted(lines[place], mark)
    column = rng.randrange(0, len(cells), 2)
    new = _cell(rng, cells[::2], column // 2)
    name = f"cell {place - first} column {column // 2}: {cells[column]!r} -> {new[:30]!r}"
    if not mark.strip(" ") and rng.random() < 0.5:  # What follows stays where it is.
        new = new.ljust(len(cells[column]))
    cells[column] = new
    lines[place] = "".join(cells)
    return name, place


def damage_line(rng: random.Random, lines: list[str], first: int, mark: str) -> tuple[str, int]:
    place = rng.randrange(0, len(lines) - 1)
    kind = rng.randrange(9)
    line = lines[place]
    if kind == 0:
        lines.insert(place, line)
    elif kind == 1:
        del lines[place]
    elif kind == 2:
        lines[place], lines[place + 1] = lines[place + 1], line
    elif kind == 3:
        lines[place] = line[: rng.randrange(len(line) + 1)]
    elif kind == 4:
        lines[place : place + 2] = [line + lines[place + 1]]
    elif kind == 5:
        lines.insert(place, "")
    elif kind == 6:
        lines.insert(place, lines[max(first - 1, 0)])
    elif kind == 7:
        lines.insert(place, "".join(rng.choice("abc;,\t|019.:\"# ") for _ in range(40)))
    else:
        cut = rng.randrange(len(line) + 1)
        lines[place : place + 1] = [line[:cut], line[cut:]]
    return f"line {place - first} kind {kind}", place


def damaged(rng: random.Random, written: Written, data: bytes, how: Habits, rate: float) -> Damage:
    """Damage one cell, line or byte of a file."""
    mark, _, encoding, _ = exporting.form_of(how)
    kind = rng.choice(("cell", "cell", "line", "byte"))
    text = exporting.unpacked(data, how).decode(encoding)
    lines = text.split(how.end)
    first = next(i for i, one in enumerate(lines) if one == how_header(lines, how)) + (
        2 if how.heading == "units row" else 1)
    if kind == "byte":
        if how.pack != "none" and rng.random() < 0.2:
            place = rng.randrange(len(data))
            wrong = bytes([data[place] ^ (1 << rng.randrange(8))])
            return Damage("packed byte", 0, data[:place] + wrong + data[place + 1 :],
                          tuple(range(0, ROWS * 4)))
        raw = text.encode(encoding)
        place = rng.randrange(len(raw))
        action = rng.randrange(3)
        if action == 0:
            raw = raw[:place] + bytes([raw[place] ^ (1 << rng.randrange(8))]) + raw[place + 1 :]
        elif action == 1:
            raw = raw[:place] + rng.choice(BYTES) + raw[place:]
        else:
            raw = raw[:place] + raw[place + 1 :]
        line = text[: round(place / max(len(raw), 1) * len(text))].count(how.end)
        return Damage(f"byte {place} action {action}, line {line - first}", max(line - first, 0),
                      exporting.packed(raw, how))
    change = damage_cell if kind == "cell" else damage_line
    name, place = change(rng, lines, first, mark)
    return Damage(name, max(place - first, 0),
                  exporting.packed(how.end.join(lines).encode(encoding, "replace"), how))


def scattered(rng: random.Random, data: bytes, how: Habits, share: float) -> Damage:
    """Damage a share of all cells."""
    mark, _, encoding, _ = exporting.form_of(how)
    lines = exporting.unpacked(data, how).decode(encoding).split(how.end)
    first = next(i for i, one in enumerate(lines) if one == how_header(lines, how)) + (
        2 if how.heading == "units row" else 1)
    rows = []
    for place in range(first, len(lines)):
        cells = parted(lines[place], mark)
        for column in range(0, len(cells), 2):
            if rng.random() < share:
                cells[column] = _cell(rng, cells[::2], column // 2)
                rows.append(place - first)
        lines[place] = "".join(cells)
    return Damage(f"{len(rows)} cells", 0,
                  exporting.packed(how.end.join(lines).encode(encoding, "replace"), how),
                  tuple(rows), REACH_OF_MANY_S)


def how_header(lines: list[str], how: Habits) -> str:
    """Return the header line: the first one below the lead."""
    return lines[exporting.LEADS[how.lead].count("\n")]


def fits(form: str, clock: str) -> bool:
    """Whether a form can hold a clock's cells: not stamps of two words where blanks part cells."""
    cells = CLOCKS[clock].columns(np.array([START])).values()
    return exporting.form_of(Habits(form))[0] != " " or not any(" " in cell for one in cells
                                                                for cell in one)


def habits(rng: random.Random, forms: Iterable[str]) -> Iterator[Habits]:
    """Yield every dialect with every clock, the other habits drawn at random."""
    pairs = [(form, clock) for form in forms for clock in CLOCKS if fits(form, clock)]
    rng.shuffle(pairs)
    for form, clock in pairs:
        yield Habits(
            form=form, clock=clock, lead=rng.choice(list(exporting.LEADS)),
            end=rng.choice(["\n", "\r\n"]), heading=rng.choice(list(exporting.HEADINGS)),
            tail="none" if form in BLANK_FORMS else rng.choice(["none", "delimiter"]),
            pack=rng.choice(["none"] * 4 + ["gz", "zst"]),
            gap=rng.choice(list(exporting.GAPS)), states=rng.choice(list(exporting.STATES)),
            units={channel: rng.choice(list(units))
                   for channel, units in exporting.UNITS.items() if len(units) > 1})


def reason(sentence: str) -> str:
    """Return why a file was refused, without its place and the cells that differ."""
    what = re.sub(r"^\S+?flight\.csv\S*?(, (from )?line \d+)?: ", "", sentence)
    return re.sub(r"\d[\d,.]*", "#", re.sub('"[^"]*"', '"..."', what))[:110]


def run(trials: int, seed: int, share: float = 0.0,
        report: Callable[[str], None] = print,
        refusals: Counter[str] | None = None,
        forms: Iterable[str] = (*FORMS, *BLANK_FORMS)) -> Counter[str]:
    """Run the matrix in some forms and return how many trials ended in each way."""
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "limits.toml").write_text(SHEET)
        sheet = read_limits(folder / "limits.toml")
        rng = random.Random(seed)
        combinations = list(habits(rng, forms))
        each = max(1, -(-trials // len(combinations)))
        done = 0
        for how in combinations:
            if done >= trials:
                break
            rate = rng.choice([1.0, 1.0, 2.0])
            at, values = flight(np.random.default_rng(rng.randrange(2**32)), rate)
            try:
                written = exporting.export(folder, at, values, how)
                clean = judged(written, sheet)
            except Problem as problem:
                report(f"UNDAMAGED REFUSED {how}: {problem.sentence}")
                counts["undamaged refused"] += 1
                continue
            data = written.path.read_bytes()
            before, said = states(clean, 0.0, int(len(at) / rate)), words(clean)
            assert (before == OVER).any()
            for _ in range(each):
                damage = (scattered(rng, data, how, share) if share
                          else damaged(rng, written, data, how, rate))
                outcome = trial(written, damage, before, said, sheet, rate)
                counts[outcome.kind] += 1
                done += 1
                if outcome.kind == "refused" and refusals is not None:
                    refusals[f"{damage.name.split()[0]}: {reason(outcome.detail)}"] += 1
                if outcome.kind in ("silent", "crash"):
                    report(f"{outcome.kind.upper()} {how.clock} | {how.form} | {how.lead} | "
                           f"{how.heading} | {damage.name}: {outcome.detail}")
                elif outcome.kind == "stated":
                    counts["stated: " + ("turned" if not outcome.detail.startswith("0 s turned")
                                         else "lost")] += 1
                    if not outcome.detail.startswith("0 s turned"):
                        report(f"stated {how.clock} | {how.form} | {damage.name}: "
                               f"{outcome.detail}")
            written.path.unlink()
    return counts


def main() -> int:
    """Print the matrix; exit with 1 where a threshold isn't met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=20000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--share", type=float, default=0.0,
                        help="damage this share of all cells instead of one")
    parser.add_argument("--forms", choices=("all", "delimited", "blank"), default="all",
                        help="tables with a delimiter, those with blanks alone, or all")
    arguments = parser.parse_args()
    forms = {"all": (*FORMS, *BLANK_FORMS), "delimited": FORMS, "blank": BLANK_FORMS}
    refusals: Counter[str] = Counter()
    counts = run(arguments.trials, arguments.seed, arguments.share, refusals=refusals,
                 forms=forms[arguments.forms])
    for why, count in refusals.most_common(40):
        print(f"refused {count:6} {why}")
    total = sum(counts[kind] for kind in ("same", "near", "refused", "stated", "silent", "crash"))
    for kind, count in counts.most_common():
        print(f"{kind:30} {count:7} {100 * count / max(total, 1):6.2f} %")
    return int(bool(counts["silent"] or counts["crash"] or counts["undamaged refused"]))


if __name__ == "__main__":
    raise SystemExit(main())

"""Look for a random flight whose results a mutant alters: by another route than thought.

    python -m tests.mutation 120 events+limits --seed 7 --tests tests/regression --table run.txt
    python -m tests.mutation.triage run.txt --flights 300 --kills kills.txt

takes the mutants that survived in a table of `python -m tests.mutation`, made of the program as it
is now, and prints for each the first random flight (`tests/regression/random_flights.py`) whose
results differ from those of the program unchanged; `--at` tries every mutant of given lines. What
no flight can tell from the program is to be read: it is equivalent, or shows elsewhere than in the
results of a flight. `--enough 3` looks for three such flights, `--judged` leaves the assessments
out, which takes a tenth of the time, and `--kills` keeps a line a mutant.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import json
import os
import resource
import sys
import time
import warnings
from collections.abc import Iterator
from dataclasses import replace
from importlib.abc import MetaPathFinder, SourceLoader
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_file_location
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

from tests.mutation.__main__ import ROOT, at_lines, explanation
from tests.mutation.mutants import Mutant, mutants
from tests.mutation.outcome_table import COLUMNS, key_of
from tests.mutation.running import changed_code, function_of

CPU_S = 60.0
"""Of CPU time for one flight: a change that never ends is noticed too."""


def main() -> None:
    """Print, for each mutant, the random flights that tell it from the program."""
    asked = _arguments()
    warnings.simplefilter("ignore", RuntimeWarning)
    chosen = list(at_lines(asked.at)) if asked.at else list(_survivors(asked.table))
    known = results(list(range(asked.first, asked.first + asked.flights)), asked.judged)
    loaded = loaded_functions()
    gc.freeze()
    print(f"{len(chosen)} mutants, {len(known)} flights", flush=True)
    told = 0
    for mutant in chosen:
        began = time.monotonic()
        found = telling(mutant, loaded, known, asked.judged, asked.enough)
        told += bool(found)
        said = ", ".join(map(str, found[:8])) or "no flight"
        why = "" if found else explanation(mutant)
        print(f"{said}: {mutant} ({time.monotonic() - began:.0f} s)"
              + (f"\n    explained: {why}" if why else ""), flush=True)
        if asked.kills:
            with asked.kills.open("a") as file:
                file.write(json.dumps({"mutant": str(mutant), "seeds": found}) + "\n")
    print(f"{told} of {len(chosen)} are told from the program")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation.triage", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("table", type=Path, nargs="?", help="of `python -m tests.mutation`")
    parser.add_argument("--at", action="append", metavar="MODULE:LINE",
                        help="every mutant of this line in the place of a table's")
    parser.add_argument("--flights", type=int, default=200, help="how many random flights")
    parser.add_argument("--first", type=int, default=0, help="the first flight's seed")
    parser.add_argument("--judged", action="store_true", help="without the assessments")
    parser.add_argument("--enough", type=int, default=1, help="look for so many flights")
    parser.add_argument("--kills", type=Path, metavar="FILE", help="keep a line a mutant")
    return parser.parse_args()


def _survivors(table: Path) -> Iterator[Mutant]:
    """Yield the mutants that survived in a table of outcomes."""
    rows = [dict(zip(COLUMNS, line.split("\t"), strict=True))
            for line in table.read_text().splitlines()[2:]]
    left = {(row["module"], row["line"], row["column"], row["after"])
            for row in rows if row["state"] != "killed"}
    for module in sorted({key[0] for key in left}):
        for one in mutants(module, (ROOT / module).read_text()):
            if key_of(one) in left:
                yield one


def results(seeds: list[int], judged: bool) -> dict[int, Any]:
    """Return the results of the random flights by seed, or the problem that the program states."""
    flights = importlib.import_module("tests.regression.random_flights")
    kept = importlib.import_module("tests.regression.kept_results")
    found: dict[int, Any] = {}
    for seed in seeds:
        flight = flights.random_flight(seed)
        try:
            found[seed] = kept.results_of(replace(flight, is_assessed=not judged, leave=()))
        except Exception as error:
            found[seed] = {"raised": f"{type(error).__name__} {error}"}
    return found


def loaded_functions() -> dict[tuple[str, str, int], list[FunctionType]]:
    found: dict[tuple[str, str, int], list[FunctionType]] = {}
    for one in gc.get_objects():
        if isinstance(one, FunctionType) and one.__code__.co_filename.startswith(str(ROOT)):
            code = one.__code__
            found.setdefault((code.co_filename, code.co_qualname, code.co_firstlineno),
                             []).append(one)
    return found


def telling(mutant: Mutant, loaded: dict[tuple[str, str, int], list[FunctionType]],
             known: dict[int, Any], judged: bool, enough: int) -> list[int]:
    """Return the first flights whose results the mutant alters, so many of them at most."""
    found: list[int] = []
    ways = [False, True] if mutant.module.startswith("loganalyze/engine/") else [False]
    for compiled in ways:
        left = [seed for seed in known if seed not in found]
        while left and len(found) < enough:
            said = _in_a_fork(mutant, loaded, {seed: known[seed] for seed in left}, judged,
                              compiled, enough - len(found))
            found += [seed for seed, flag in zip(left, said, strict=False) if flag == "!"]
            left = left[len(said):]
    return found


def _in_a_fork(mutant: Mutant, loaded: dict[tuple[str, str, int], list[FunctionType]],
               known: dict[int, Any], judged: bool, compiled: bool, enough: int) -> str:
    """Return "!" for each flight whose results differ and "=" for others, as far as it went."""
    reading, writing = os.pipe()
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        os.setpgrp()
        nothing = os.open(os.devnull, os.O_RDWR)
        for stream in (1, 2):
            os.dup2(nothing, stream)
        try:
            _change(mutant, loaded, compiled)
            kept = importlib.import_module("tests.regression.kept_results")
            found = 0
            for seed, before in known.items():
                spent = resource.getrusage(resource.RUSAGE_SELF)
                end = int(spent.ru_utime + spent.ru_stime + CPU_S)
                resource.setrlimit(resource.RLIMIT_CPU, (end, resource.RLIM_INFINITY))
                differs = any(True for _ in kept.differing(
                    before, results([seed], judged)[seed]))
                os.write(writing, b"!" if differs else b"=")
                found += differs
                if found == enough:
                    break
        except BaseException:
            os.write(writing, b"!")
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        said = pipe.read().decode()
    if os.WIFSIGNALED(os.waitpid(child, 0)[1]):  # it took too long, or broke the process
        said += "!"
    return said


def _change(mutant: Mutant, loaded: dict[tuple[str, str, int], list[FunctionType]],
            compiled: bool) -> None:
    """Let the changed function take its place, or load all anew with the changed module."""
    source = (ROOT / mutant.module).read_text()
    name = function_of(mutant, source)
    if name is not None and not compiled:
        path, code = changed_code(ROOT, mutant, name)
        if (path, name, code.co_firstlineno) in loaded:
            for one in loaded[path, name, code.co_firstlineno]:
                one.__code__ = code
            return
    if compiled:  # as plain Python, which a short flight allows
        os.environ["NUMBA_DISABLE_JIT"] = "1"
        if "numba" in sys.modules:
            sys.modules["numba"].config.DISABLE_JIT = True
    for other in list(sys.modules):
        if other.split(".")[0] == "loganalyze" or other.startswith("tests.regression"):
            del sys.modules[other]
    sys.meta_path.insert(0, _Changed(mutant, source))
    if compiled:
        importlib.import_module("loganalyze.engine.kernel_loading").ENOUGH = 0


class _Changed(MetaPathFinder, SourceLoader):
    """Loads one module from changed source, and leaves all others alone."""

    def __init__(self, mutant: Mutant, source: str) -> None:
        self._path = str(ROOT / mutant.module)
        self._name = mutant.module.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
        self._text = mutant.applied(source)

    def find_spec(self, fullname: str, path: Any, target: ModuleType | None = None
                  ) -> ModuleSpec | None:
        """Return how the changed module is loaded."""
        if fullname != self._name:
            return None
        folder = [str(Path(self._path).parent)] if self._path.endswith("__init__.py") else None
        return spec_from_file_location(fullname, self._path, loader=self,
                                       submodule_search_locations=folder)

    def get_filename(self, fullname: str) -> str:
        """Return the module's own path."""
        return self._path

    def get_data(self, path: str | bytes) -> bytes:
        """Return the changed source; nothing is kept compiled."""
        if str(path) != self._path:
            raise OSError(str(path))
        return self._text.encode()


if __name__ == "__main__":
    main()

"""Compare the results of known flights with those kept, or keep them anew.

    python -m tests.regression                     # compare all
    python -m tests.regression --write             # keep the results of all anew
    python -m tests.regression --write joining     # of some families

The results that are kept show a change, not correctness: they are what the program said on the day
they were written. Each time they are written anew the differences must be reviewed field by field,
and the commit says why each kind of field changed (`kept_results.HOW_TO_JUDGE`).
"""

from __future__ import annotations

import argparse
import time

from tests.regression.families import FAMILIES
from tests.regression.kept_results import HOW_TO_JUDGE, KEPT, merged, text_of
from tests.regression.test_kept_results import changes_of, found_in


def main() -> int:
    """Compare or write, and print the CPU time of each family."""
    parser = argparse.ArgumentParser(prog="python -m tests.regression", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("families", nargs="*", choices=[*FAMILIES, []], help="only these")
    parser.add_argument("--write", action="store_true", help="keep the results anew")
    asked = parser.parse_args()
    changed = 0
    KEPT.mkdir(exist_ok=True)
    for name in asked.families or FAMILIES:
        began = time.process_time()
        if asked.write:
            text = text_of(merged(found_in(name)))
            (KEPT / f"{name}.json").write_text(text)
            print(f"{name}: {len(text) / 1000:.0f} kB", end="")
        else:
            found = changes_of(name)
            changed += len(found)
            print("\n".join([*found, f"{name}: {len(found)} fields differ"]), end="")
        print(f", {time.process_time() - began:.2f} s", flush=True)
    if changed:
        print(HOW_TO_JUDGE)
    return int(changed > 0)


if __name__ == "__main__":
    raise SystemExit(main())

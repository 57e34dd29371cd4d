"""Writes the gallery's exports anew: ``python tests/read/gallery/write.py``.

What the tests read are the files; the writers show how each came to be. A new habit goes into
one of them, then into ``cases.py`` and the page.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from gallery.write_channels import rates, units
from gallery.write_clocks import clocks
from gallery.write_dialects import dialects, values
from gallery.write_forms import forms
from gallery.write_more_clocks import more_clocks, refused_clocks
from gallery.write_refused import refused
from gallery.write_tables import tables
from gallery.writing import HERE


def main() -> None:
    for kind in ("sequence", "dataset", "dataset_keys", "families"):
        shutil.rmtree(HERE / kind, ignore_errors=True)
    for group in (dialects, values, tables, clocks, more_clocks, rates, units, forms, refused,
                  refused_clocks):
        group()


if __name__ == "__main__":
    main()

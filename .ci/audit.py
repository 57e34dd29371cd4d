"""Fails where a dependency of this environment has a known vulnerability.

usage: python .ci/audit.py [--path FOLDER] [--osv-url URL]

pip-audit asks a source of advisories for each installed package: the package index, or where that
has none the OSV database. Where neither can be reached, this says so and exits with 0: an outage of
the network is no fault of the project. One package is asked for first, so that a source that
answers "not found" to everything isn't taken for one that knows of nothing.

  --path FOLDER  the packages of a folder instead of this environment's
  --osv-url URL  ask only an OSV service at this address

Exit codes: 0 no vulnerability is known, or nobody could be asked; 1 one is known, or pip-audit
failed; 2 wrong arguments.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from importlib.metadata import distributions
from pathlib import Path

PATIENCE_S = 600
OUT_OF_REACH = ("ConnectionError", "ConnectTimeout", "ReadTimeout", "NameResolutionError",
                "Could not connect", "ServiceError", "SSLError", "ProxyError")
"""What pip-audit's last lines hold where its source can't be asked."""


@dataclass(frozen=True)
class Found:
    """What a source knows: lines of vulnerabilities, and names of what was asked and what wasn't.

    ``fault`` : the end of what pip-audit said where it gave no result.
    """

    known: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    fault: str = ""

    @property
    def out_of_reach(self) -> bool:
        """Whether the source couldn't be asked for anything."""
        return not self.asked and (not self.fault
                                   or any(word in self.fault for word in OUT_OF_REACH))


def found_in(out: str, err: str) -> Found:
    """Return what pip-audit found, from what it wrote."""
    try:
        packages = json.loads(out)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return Found(fault="\n".join(err.strip().splitlines()[-6:]) or "it said nothing")
    known = [f"{one['name']} {one['version']}: {risk['id']}"
             + (f" ({', '.join(risk['aliases'])})" if risk.get("aliases") else "")
             + (f", mended in {', '.join(risk['fix_versions'])}" if risk.get("fix_versions")
                else ", not mended yet")
             for one in packages for risk in one.get("vulns", ())]
    return Found(tuple(known), tuple(one["name"] for one in packages if "skip_reason" not in one),
                 tuple(one["name"] for one in packages if "skip_reason" in one))


def verdict(found: Found | None) -> tuple[int, list[str]]:
    """Return the exit code and what is said; None where no source could be asked."""
    if found is None or found.out_of_reach:
        return 0, ["audit: no source of advisories can be reached from here; the dependencies "
                   "were NOT audited"]
    if found.fault:
        return 1, ["audit: pip-audit failed:", found.fault]
    said = [f"audit: {len(found.asked)} packages asked for"]
    if found.left_out:
        said.append(f"audit: not known to the source, so not audited: {', '.join(found.left_out)}")
    if found.known:
        return 1, [*said, "audit: known vulnerabilities:", *(f"  {one}" for one in found.known)]
    return 0, [*said, "audit: no vulnerability is known"]


def audited(*options: str) -> Found:
    """Run pip-audit."""
    try:
        ran = subprocess.run(
            [sys.executable, "-m", "pip_audit", "--format", "json", "--progress-spinner", "off",
             "--timeout", "10", *options], capture_output=True, text=True, check=False,
            timeout=PATIENCE_S)
    except subprocess.TimeoutExpired:
        return Found(fault="ReadTimeout: it didn't end")
    return found_in(ran.stdout, ran.stderr)


def main() -> int:
    """Ask the sources, say what was found, and return the exit code."""
    parser = argparse.ArgumentParser(
        prog=".ci/audit.py", usage=__doc__.split("\n\n")[1].removeprefix("usage: "),
        description="\n\n".join(__doc__.strip().split("\n\n")[2:]),
        formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--path", type=Path)
    parser.add_argument("--osv-url")
    given = parser.parse_args()
    here = {} if given.path is None else {"path": [str(given.path)]}
    names = {one.metadata["Name"].lower(): one.version for one in distributions(**here)}
    first = "numpy" if "numpy" in names else min(names)
    sources = [("--vulnerability-service", "osv", "--osv-url", given.osv_url)] if given.osv_url \
        else [("--vulnerability-service", "pypi"), ("--vulnerability-service", "osv")]
    place = () if given.path is None else ("--path", str(given.path))
    found = None
    with tempfile.TemporaryDirectory() as folder:
        asked = Path(folder) / "first.txt"
        asked.write_text(f"{first}=={names[first]}\n")
        for source in sources:
            trial = audited(*source, "--requirement", str(asked), "--no-deps", "--disable-pip")
            if not trial.out_of_reach:
                found = audited(*source, *place)
                break
    code, said = verdict(found)
    sys.stdout.write("\n".join([*said, ""]))
    return code


if __name__ == "__main__":
    sys.exit(main())

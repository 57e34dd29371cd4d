"""The audit of dependencies: what it decides, on a recorded advisory of an invented package."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
AUDIT = ROOT / ".ci" / "audit.py"
RISK = {"id": "DEMO-2031-0001", "fix_versions": ["1.3.0"], "aliases": ["DEMO-7"],
        "description": "An invented fault."}
UNKNOWN = {"name": "gossamer-kite", "skip_reason": "Dependency not found on PyPI and could not be "
           "audited: gossamer-kite (1.2.0)"}


def package(*risks: dict) -> dict:
    return {"name": "gossamer-kite", "version": "1.2.0", "vulns": list(risks)}


def said(*packages: dict) -> str:
    return json.dumps({"dependencies": list(packages), "fixes": []})


@pytest.fixture(scope="module")
def audit():
    """The functions of the script."""
    from importlib.util import module_from_spec, spec_from_file_location

    spec = spec_from_file_location("audit", AUDIT)
    made = module_from_spec(spec)
    sys.modules["audit"] = made
    spec.loader.exec_module(made)
    yield made
    del sys.modules["audit"]


NO_NAME = ("requests.exceptions.ConnectionError: HTTPSConnectionPool(host='advisories.example', "
           "port=443): Max retries exceeded (Caused by NameResolutionError(\"Failed to resolve\"))")


@pytest.mark.parametrize(("out", "err", "code", "line"), [
    (said(package()), "", 0, "no vulnerability is known"),
    (said(package(RISK)), "Found 1 known vulnerability", 1,
     "gossamer-kite 1.2.0: DEMO-2031-0001 (DEMO-7), mended in 1.3.0"),
    (said(package({"id": "DEMO-2", "fix_versions": [], "aliases": []})), "", 1,
     "DEMO-2, not mended yet"),
    (said(UNKNOWN, package(RISK)), "", 1, "not audited: gossamer-kite"),
    (said(UNKNOWN, package()), "", 0, "not audited: gossamer-kite"),
    (said(UNKNOWN), "No known vulnerabilities found", 0, "NOT audited"),
    (said(), "No known vulnerabilities found", 0, "NOT audited"),
    ("", NO_NAME, 0, "NOT audited"), ("", "Could not connect to the feed", 0, "NOT audited"),
    ("", "TypeError: an odd fault", 1, "an odd fault"), ("", "", 1, "failed"),
    ("[]", "", 1, "failed"), ("{", "AssertionError", 1, "AssertionError")])
def test_it_fails_for_what_is_known_and_not_for_what_cant_be_asked(audit, out, err, code, line):
    found, lines = audit.verdict(audit.found_in(out, err))
    assert found == code
    assert line in "\n".join(lines)


def installed(folder: Path, version: str) -> Path:
    """A folder in which an invented package is installed."""
    place = folder / f"gossamer_kite-{version}.dist-info"
    place.mkdir(parents=True)
    (place / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: gossamer-kite\nVersion: {version}\n")
    return folder


@pytest.fixture
def advisories():
    """The address of an OSV service that knows of one fault, of one version."""
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = json.loads(self.rfile.read(int(self.headers["content-length"])))
            name, version = asked["package"]["name"], asked["version"]
            known = {"vulns": [{
                "schema_version": "1.6.0", "id": RISK["id"], "aliases": RISK["aliases"],
                "summary": RISK["description"], "modified": "2031-01-01T00:00:00Z",
                "affected": [{"package": {"name": name, "ecosystem": "PyPI"}, "ranges": [
                    {"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "1.3.0"}]}]}],
            }]} if (name, version) == ("gossamer-kite", "1.2.0") else {}
            content = json.dumps(known).encode()
            self.send_response(200)
            self.send_header("content-length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *arguments) -> None:
            """Say nothing."""

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/v1/query"
    server.shutdown()
    server.server_close()
    thread.join()


def test_a_source_of_advisories_is_asked_and_believed(advisories, tmp_path):
    """The whole way: the script, pip-audit, and a service on this machine."""
    for version, code, line in (("1.2.0", 1, "gossamer-kite 1.2.0: DEMO-2031-0001 (DEMO-7), "
                                 "mended in 1.3.0"), ("1.3.0", 0, "no vulnerability is known")):
        place = installed(tmp_path / version, version)
        ran = subprocess.run([sys.executable, str(AUDIT), "--path", str(place), "--osv-url",
                              advisories], capture_output=True, text=True, check=False)
        assert (ran.returncode, line in ran.stdout) == (code, True), ran.stdout + ran.stderr


def test_a_source_that_is_down_is_said_and_fails_nothing(tmp_path):
    place = installed(tmp_path, "1.2.0")
    ran = subprocess.run([sys.executable, str(AUDIT), "--path", str(place), "--osv-url",
                          "http://127.0.0.1:9/v1/query"], capture_output=True, text=True,
                         check=False)
    assert (ran.returncode, "NOT audited" in ran.stdout) == (0, True), ran.stdout + ran.stderr


def test_ci_runs_the_audit():
    assert ".ci/audit.py" in (ROOT / ".ci" / "run").read_text()


def test_help_is_printed_and_an_unknown_argument_is_refused():
    def started(*arguments):
        return subprocess.run([sys.executable, str(AUDIT), *arguments], capture_output=True,
                              text=True, timeout=20, check=False)

    shown = started("--help")
    assert (shown.returncode, shown.stderr) == (0, "")
    assert shown.stdout.startswith("usage: python .ci/audit.py [--path FOLDER]")
    assert "Exit codes: 0 no vulnerability is known" in shown.stdout
    refused = started("--halp")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "--halp" in refused.stderr

"""A desk served by its command over TLS, with a certificate made for the test, on this machine."""

from __future__ import annotations

import re
import socket
import ssl
import subprocess
import sys
import warnings
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from shutil import copytree

import httpx2
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from loganalyze.review.access.passwords import password_hash
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.people import add_person
from loganalyze.review.decisions.trail_entries import Actor

ROOT = Path(__file__).parents[2]
PASSWORD = "correct horse battery"


def write_certificate(folder: Path) -> tuple[Path, Path]:
    """Write a certificate that signs itself, for this machine's own names, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (x509.CertificateBuilder().subject_name(name).issuer_name(name)
            .public_key(key.public_key()).serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(minutes=5)).not_valid_after(now + timedelta(days=1))
            .add_extension(x509.SubjectAlternativeName([
                x509.DNSName("localhost"), x509.IPAddress(ip_address("127.0.0.1"))]), False)
            .sign(key, hashes.SHA256()))
    (folder / "certificate.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    (folder / "key.pem").write_bytes(key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption()))
    return folder / "certificate.pem", folder / "key.pem"


@pytest.fixture(scope="module")
def encrypted(judged, tmp_path_factory):
    """The address of a desk, and what trusts its certificate."""
    folder = tmp_path_factory.mktemp("encrypted")
    store = copytree(judged / "store", folder / "store")
    database = open_database(store)
    with database.writing(Actor("test", "command")) as change:
        add_person(change, "kim", "reviewer", password_hash=password_hash(PASSWORD))
    database.close()
    certificate, key = write_certificate(folder)
    served = subprocess.Popen(
        [sys.executable, "-u", "-m", "loganalyze", "review", "--store", str(store),
         "--no-browser", "--accounts", "--name", "localhost", "--certificate", str(certificate),
         "--key", str(key)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        said = served.stdout.readline()
        found = re.search(r"https://\S+", said)
        assert found, said
        yield found[0].rstrip("."), ssl.create_default_context(cafile=certificate)
    finally:
        served.terminate()
        served.wait(20)
        served.stdout.close()


@pytest.fixture
def browser(encrypted):
    address, trusted = encrypted
    with httpx2.Client(base_url=address, verify=trusted, timeout=60, trust_env=False) as made:
        yield made


def test_a_session_over_tls_has_a_cookie_that_goes_nowhere_else(browser):
    assert browser.base_url.host == "localhost"
    page = browser.get("/sign-in")
    assert page.status_code == 200
    assert int(re.search(r"max-age=(\d+)", page.headers["strict-transport-security"])[1]) >= (
        180 * 24 * 3600)
    found = browser.post("/sign-in", data={"person": "kim", "password": PASSWORD}, headers={
        "origin": str(browser.base_url).rstrip("/")})
    assert found.status_code == 303
    (cookie,) = found.headers.get_list("set-cookie")
    name, _, rest = cookie.partition("=")
    # A browser takes a name of __Host- only with Secure, Path=/ and without Domain.
    assert name == "__Host-review"
    parts = {one.strip().lower() for one in rest.split(";")[1:]}
    assert {"secure", "httponly", "samesite=strict", "path=/"} <= parts
    assert not [one for one in parts if one.startswith("domain")]
    assert browser.get("/api/me").json()["person"] == "kim"
    csrf = re.search('name="csrf_token" value="([^"]+)"', browser.get("/").text)[1]
    left = browser.post("/sign-out", data={"csrf_token": csrf})
    assert left.headers["set-cookie"].startswith("__Host-review=")
    assert "secure" in left.headers["set-cookie"].lower()
    assert browser.get("/api/me").status_code == 401


@pytest.mark.parametrize("host", ["evil.example", "localhost", "review.example:443", "127.0.0.1"])
def test_under_a_foreign_name_an_encrypted_desk_answers_nothing(browser, host):
    for path in ("/sign-in", "/static/desk.css", "/api/me"):
        found = browser.get(path, headers={"host": host})
        assert found.status_code == 421
        assert found.content == b""
        assert "strict-transport-security" in found.headers


@pytest.mark.parametrize("origin", ["http://{host}", "https://evil.example", "null"])
def test_a_page_that_wasnt_encrypted_changes_nothing(browser, origin):
    found = browser.post("/sign-in", data={"person": "kim", "password": PASSWORD}, headers={
        "origin": origin.format(host=browser.base_url.netloc.decode())})
    assert found.status_code == 403
    assert "set-cookie" not in found.headers


def test_without_encryption_nothing_is_answered(encrypted):
    address, _ = encrypted
    with httpx2.Client(trust_env=False) as plain, pytest.raises(httpx2.TransportError):
        plain.get(address.replace("https://", "http://") + "/sign-in")
    port = int(address.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n\r\n")
        try:
            said = line.recv(4096)
        except ConnectionError:
            said = b""
    assert b"HTTP/" not in said
    assert b"Sign in" not in said


def test_a_certificate_that_nobody_vouches_for_is_noticed_by_the_other_side(encrypted):
    address, _ = encrypted
    with httpx2.Client(verify=ssl.create_default_context(), trust_env=False) as careful, \
            pytest.raises(httpx2.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
        careful.get(f"{address}/sign-in")


def test_old_versions_of_tls_are_refused(encrypted):
    address, _ = encrypted
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        old.minimum_version = ssl.TLSVersion.TLSv1
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    port = int(address.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line, \
            pytest.raises((ssl.SSLError, ConnectionError)):
        old.wrap_socket(line)

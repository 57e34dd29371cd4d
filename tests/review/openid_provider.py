"""A small OpenID Connect provider on the loopback interface, for tests; it signs with its own key.

It knows one client, checks its secret, the address it leads back to and the code's verifier (PKCE),
and gives each code one token. What it puts into tokens, and how it signs them, can be set wrong.
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import ECKey

CLIENT, SECRET = "the-desk", "a secret of the desk's"


@dataclass
class Provider:
    """What the provider knows; each field may be set wrong for a test.

    ``subject`` : who is signed in at the provider; ``claims`` : replace those of a token, None
    leaves one out; ``sign`` : makes a token of claims; ``described`` : replace fields of the
    discovery document; ``once`` : whether a code is good once.
    """

    issuer: str = ""
    subject: str = "subject-of-kim"
    claims: dict[str, Any] = field(default_factory=dict)
    described: dict[str, Any] = field(default_factory=dict)
    answer: dict[str, Any] = field(default_factory=dict)
    key: ECKey = field(default_factory=lambda: ECKey.generate_key("P-256", {"kid": "1"}))
    sign: Callable[[dict[str, Any]], str] | None = None
    token_names: tuple[str, ...] = ("access_token", "id_token")
    once: bool = True
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    broken: bool = False

    def description(self) -> dict[str, Any]:
        return {"issuer": self.issuer, "authorization_endpoint": f"{self.issuer}/authorize",
                "token_endpoint": f"{self.issuer}/token", "jwks_uri": f"{self.issuer}/keys",
                "response_types_supported": ["code"], "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["ES256"], **self.described}

    def authorize(self, query: dict[str, str]) -> str:
        """Return where a browser is sent with its code."""
        assert query["response_type"] == "code"
        assert query["client_id"] == CLIENT
        assert query["code_challenge_method"] == "S256"
        code = secrets.token_urlsafe(16)
        self.codes[code] = query
        return f"{query['redirect_uri']}?" + urlencode(
            {"code": code, "state": query["state"], **self.answer})

    def token(self, form: dict[str, str], authorization: str) -> tuple[int, dict[str, Any]]:
        """Return the status and the answer to a request for a token."""
        told = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        told_in_form = (form.get("client_id"), form.get("client_secret")) == (CLIENT, SECRET)
        if authorization != f"Basic {told}" and not told_in_form:
            return 401, {"error": "invalid_client"}
        known = self.codes.pop(form["code"], None) if self.once else self.codes.get(form["code"])
        challenge = base64.urlsafe_b64encode(hashlib.sha256(
            form.get("code_verifier", "").encode()).digest()).decode().rstrip("=")
        if (known is None or known["redirect_uri"] != form["redirect_uri"]
                or known["code_challenge"] != challenge):
            return 400, {"error": "invalid_grant"}
        now = int(time.time())
        claims = {"iss": self.issuer, "sub": self.subject, "aud": CLIENT, "iat": now,
                  "exp": now + 300, "nonce": known["nonce"], **self.claims}
        claims = {name: value for name, value in claims.items() if value is not None}
        made = {"access_token": "x", "token_type": "Bearer", "expires_in": 300,
                "id_token": (self.sign or self.signed)(claims)}
        return 200, {name: value for name, value in made.items()
                     if name in (*self.token_names, "token_type", "expires_in")}

    def signed(self, claims: dict[str, Any]) -> str:
        return jwt.encode({"alg": "ES256", "kid": self.key.kid}, claims, self.key)


@contextmanager
def provider_running() -> Iterator[Provider]:
    """Run a provider on a free port of the loopback interface."""
    provider = Provider()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            provider.asked.append(parts.path)
            if provider.broken:
                self._send(500, b"<html>", "text/html")
            elif parts.path == "/.well-known/openid-configuration":
                self._send(200, json.dumps(provider.description()).encode())
            elif parts.path == "/keys":
                self._send(200, json.dumps({"keys": [provider.key.as_dict(
                    private=False, use="sig", alg="ES256")]}).encode())
            elif parts.path == "/authorize":
                to = provider.authorize({name: one[-1] for name, one in parse_qs(
                    parts.query).items()})
                self.send_response(302)
                self.send_header("location", to)
                self.end_headers()
            else:
                self._send(404, b"{}")

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"])).decode()
            status, answer = provider.token(
                {name: one[-1] for name, one in parse_qs(body).items()},
                self.headers.get("authorization", ""))
            self._send(status, json.dumps(answer).encode())

        def _send(self, status: int, content: bytes, kind: str = "application/json") -> None:
            self.send_response(status)
            self.send_header("content-type", kind)
            self.send_header("content-length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *arguments: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join()

"""Sign-in by an OpenID Connect provider: the authorization code flow, by Authlib's client.

Authlib makes and compares state, nonce and the verifier of the code (PKCE, RFC 7636), asks for the
token and checks its signature, times and claims. Here is what it leaves to its user: discovery is
taken only from the provider that was named (OpenID Connect Discovery 1.0, section 4.3), only keys
of two parts sign, the token must be for this client, and an answer is good once.

What must be remembered between the two requests lies in a signed cookie of Starlette's
SessionMiddleware, for ten minutes, and only on these two pages; it is lax, so that a browser sends
it on the way back from the provider. Who somebody is says the desk's own table of people alone: a
provider adds nobody and gives no role.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from typing import Any

import httpx2
from authlib.common.errors import AuthlibBaseError
from authlib.integrations.starlette_client import OAuth
from joserfc.errors import JoseError
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.requests import Request
from starlette.responses import Response

from loganalyze.review.access.openid_settings import (
    ANSWER_PATH,
    NotVouchedFor,
    OpenIdSettings,
    ProviderFailed,
    is_protected,
)
from loganalyze.review.access.server_binding import Binding

LASTS_S = 600
"""Time that somebody has to sign in at the provider [s]."""
PATIENCE_S = 10.0
"""Time that the provider has to answer the desk [s]."""
LEEWAY_S = 60
"""Difference between the clocks of provider and desk that is put up with [s]."""
KEYS_LAST_S = 3600.0
"""Time for which the provider's addresses and keys are taken as they were [s]."""
SIGNATURES = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512",
              "EdDSA", "Ed25519")
"""With keys of two parts; never "none", and never one that the desk's own secret could make."""
_ENDPOINTS = ("authorization_endpoint", "token_endpoint", "jwks_uri")
_REPLIES = "authorization_response_iss_parameter_supported"


class OpenIdSignIn:
    """Asks one provider who somebody is; safe to use from several requests at once.

    Parameters
    ----------
    settings : OpenIdSettings
        The provider.
    binding : Binding
        Where the desk is, for the way back.
    clock : callable
        Gives a time [s] that only rises.
    """

    def __init__(self, settings: OpenIdSettings, binding: Binding,
                 clock: Callable[[], float] = time.monotonic) -> None:
        self.issuer = settings.issuer
        self.way_back = f"{binding.address}{ANSWER_PATH}"
        self._claim = settings.claim
        self._clock = clock
        self._answered: dict[str, float] = {}
        self._lock = threading.Lock()
        scope = "openid" if self._claim == "sub" else "openid profile email"
        self._client: Any = OAuth().register(
            "desk", client_id=settings.client_id, client_secret=settings.secret,
            server_metadata_url=f"{settings.issuer.rstrip('/')}/.well-known/openid-configuration",
            client_kwargs={"scope": scope, "code_challenge_method": "S256", "timeout": PATIENCE_S,
                           "follow_redirects": False})
        self._claims = {"iss": {"essential": True, "value": settings.issuer},
                        "aud": {"essential": True, "value": settings.client_id},
                        "nonce": {"essential": True}}
        self.remembering = Middleware(
            SessionMiddleware, secret_key=secrets.token_hex(32), max_age=LASTS_S, path="/sign-in",
            session_cookie="__Secure-review-way" if binding.secure else
            f"review_way_{binding.port}", same_site="lax", https_only=binding.secure)

    async def begin(self, request: Request) -> Response:
        """Send somebody to the provider. Raises ProviderFailed."""
        await self._discover()
        found: Response = await self._client.authorize_redirect(request, self.way_back)
        return found

    async def finish(self, request: Request) -> str:
        """Return who came back, by the value of the claim.

        Raises
        ------
        NotVouchedFor
            For an answer that isn't to a question of this browser, is used already, or holds a
            token that isn't the provider's, isn't for this desk or has expired.
        ProviderFailed
            Where the provider can't be asked.
        """
        metadata = await self._discover()
        given = request.query_params.get("iss")
        # RFC 9207, section 2.4: an answer of another provider.
        if (given is not None or metadata.get(_REPLIES)) and given != self.issuer:
            raise NotVouchedFor
        try:
            token = await self._client.authorize_access_token(
                request, claims_options=self._claims, leeway=LEEWAY_S)
        except httpx2.HTTPError as error:
            raise ProviderFailed from error
        except (AuthlibBaseError, JoseError, ValueError, TypeError, KeyError, AttributeError
                ) as error:  # whatever a token that is none makes of the library
            raise NotVouchedFor from error
        found = self._subject(token.get("userinfo"))
        self._use(request.query_params["state"])
        return found

    def _subject(self, claims: Any) -> str:
        if not claims:  # a token of access alone says nothing of who somebody is
            raise NotVouchedFor
        found = claims.get(self._claim)
        if not isinstance(found, str) or not found or not found.isprintable():
            raise NotVouchedFor
        if self._claim == "email" and claims.get("email_verified") is not True:
            raise NotVouchedFor
        return found

    def _use(self, state: str) -> None:
        """Note that an answer is used; raise NotVouchedFor for one that was."""
        with self._lock:
            now = self._clock()
            self._answered = {
                answer: until for answer, until in self._answered.items() if until > now
            }
            if state in self._answered:
                raise NotVouchedFor
            self._answered[state] = now + LASTS_S

    async def _discover(self) -> dict[str, Any]:
        """Return what the provider says of itself, as far as it is needed."""
        known: dict[str, Any] = self._client.server_metadata
        if known and time.time() - known["_loaded_at"] < KEYS_LAST_S:
            return known
        try:
            said = await self._client.load_server_metadata()
        except (httpx2.HTTPError, ValueError, TypeError) as error:
            raise ProviderFailed from error
        finally:
            self._client.server_metadata = {}
        signatures = said.get("id_token_signing_alg_values_supported") or ["RS256"]
        kept = {name: said.get(name) for name in (*_ENDPOINTS, "issuer", "_loaded_at", _REPLIES)}
        kept["id_token_signing_alg_values_supported"] = [
            signature for signature in SIGNATURES if signature in signatures]
        ways = said.get("token_endpoint_auth_methods_supported") or ["client_secret_basic"]
        kept["token_endpoint_auth_method"] = (
            "client_secret_post" if "client_secret_basic" not in ways else "client_secret_basic")
        if (kept["issuer"] != self.issuer or not kept["id_token_signing_alg_values_supported"]
                or not all(isinstance(kept[name], str) and is_protected(kept[name])
                           for name in _ENDPOINTS)):
            raise ProviderFailed
        self._client.server_metadata = kept
        return kept

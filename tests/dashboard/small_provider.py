"""A provider of sign-ins (OpenID Connect Core 1.0, authorization code flow) on this machine.

Whoever is sent to it is signed in at once as whoever it was told.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs, urlencode

import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from raw_client import free_port
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

CLIENT = "lockring-test"


@dataclass
class Provider:
    """A running provider."""

    port: int
    claims: dict[str, Any] = field(default_factory=dict)
    """What it says of whoever signs in."""
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "k1"}))
    nonces: dict[str, str] = field(default_factory=dict)

    @property
    def address(self) -> str:
        """Where it is."""
        return f"http://127.0.0.1:{self.port}"

    def secrets_for(self, port: int) -> str:
        """Give the settings a server on a port needs, as TOML."""
        return (
            f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\n'
            f'cookie_secret = "{secrets.token_hex(16)}"\nclient_id = "{CLIENT}"\n'
            f'client_secret = "hushed"\n'
            f'server_metadata_url = "{self.address}/.well-known/openid-configuration"\n'
        )

    async def about(self, request: Request) -> Response:
        """Tell where everything is."""
        at = {name: f"{self.address}/{path}" for name, path in
              (("authorization_endpoint", "authorize"), ("token_endpoint", "token"),
               ("jwks_uri", "keys"))}  # fmt: skip
        return JSONResponse({"issuer": self.address, "response_types_supported": ["code"],
                             "code_challenge_methods_supported": ["S256"],
                             "id_token_signing_alg_values_supported": ["RS256"], **at})  # fmt: skip

    async def authorize(self, request: Request) -> Response:
        """Send whoever comes back with a code."""
        asked, code = request.query_params, secrets.token_hex(8)
        self.nonces[code] = asked["nonce"]
        back = urlencode({"code": code, "state": asked["state"]})
        return RedirectResponse(f"{asked['redirect_uri']}?{back}", 302)

    async def token(self, request: Request) -> Response:
        """Give a code's identity, signed."""
        form = parse_qs((await request.body()).decode())
        now = int(time.time())
        said = {"iss": self.address, "aud": CLIENT, "sub": "s1", "iat": now, "exp": now + 300,
                "nonce": self.nonces.pop(form["code"][0]), **self.claims}  # fmt: skip
        signed = jwt.encode({"alg": "RS256", "kid": "k1"}, said, self.key)
        return JSONResponse({"access_token": "a", "token_type": "Bearer", "id_token": signed})

    async def keys(self, request: Request) -> Response:
        """Give the public key."""
        return JSONResponse({"keys": [self.key.as_dict(private=False)]})


@contextmanager
def provided() -> Iterator[Provider]:
    """Run a provider."""
    made = Provider(free_port())
    routes = [
        Route("/.well-known/openid-configuration", made.about),
        Route("/authorize", made.authorize),
        Route("/token", made.token, methods=["POST"]),
        Route("/keys", made.keys),
    ]
    settings = uvicorn.Config(Starlette(routes=routes), port=made.port, log_level="warning")
    server = uvicorn.Server(settings)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield made
    server.should_exit = True
    thread.join(20)

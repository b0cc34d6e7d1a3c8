"""A provider of sign-ins: what the server was told by it becomes a sign-in of our own.

The server's own cookie, which no sign-out on our side would end, never leaves it.
"""

from __future__ import annotations

import json
from collections.abc import MutableMapping
from http.cookies import SimpleCookie
from typing import Any

from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from streamlit.auth_util import get_cookie_with_chunks, get_secrets_auth_section
from streamlit.web.server.server_util import get_cookie_secret
from streamlit.web.server.starlette.starlette_app_utils import decode_signed_value

from dashboard import gate_page
from dashboard.gate import Gate
from dashboard.gate_routes import admit
from ledger.private import Person

CALLBACK = "/oauth2callback"
USER_COOKIE, SERVER_COOKIES = "_streamlit_user", "_streamlit_user"
"""The server's cookie of who somebody is; all of its kind begin alike."""


def providers() -> tuple[str, ...]:
    """Give the names of the providers that `[auth]` in the secrets sets up."""
    section = get_secrets_auth_section()
    named = [name for name, value in section.items() if hasattr(value, "get")]
    named = [name for name in named if section[name].get("client_id")]
    return (*(["default"] if section.get("client_id") else []), *sorted(named))


class Provided:
    """ASGI middleware: at the provider's call back, takes over who signed in."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self._app = app
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let everything pass but the answer to a call back."""
        if scope["type"] != "http" or scope["path"] != CALLBACK or not self._gate.rules.is_sign_in:
            await self._app(scope, receive, send)
            return
        told: list[tuple[bytes, bytes]] = []

        async def noting(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                told.extend(message["headers"])

        await self._app(scope, receive, noting)
        response = self._answer(_set_cookies(told))
        for key, value in told:
            if key == b"set-cookie" and not value.startswith(SERVER_COOKIES.encode()):
                response.raw_headers.append((key, value))
        await response(scope, receive, send)

    def _answer(self, cookies: dict[str, str]) -> HTMLResponse:
        person = self._person(_user_in(cookies))
        if person is None:
            people = [one for one in self._gate.private.people() if one.has_pin]
            asked = gate_page.Asked(
                "", people, self._gate.rules.providers, said=gate_page.NOT_KNOWN
            )
            return HTMLResponse(gate_page.page(asked), 403)
        response = HTMLResponse(gate_page.onward("/"))
        admit(response, self._gate, person)
        return response

    def _person(self, user: dict[str, Any]) -> Person | None:
        email = user.get("email")
        if not isinstance(email, str) or user.get("email_verified") is False:
            return None
        return self._gate.private.by_email(email)


def _set_cookies(headers: list[tuple[bytes, bytes]]) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in headers:
        if key == b"set-cookie":
            jar = SimpleCookie(value.decode("latin-1"))
            found |= {name: morsel.value for name, morsel in jar.items()}
    return found


def _user_in(cookies: dict[str, str]) -> dict[str, Any]:
    """Give what the server was told of somebody, from the cookie it would have set."""

    def signed(name: str) -> bytes | None:
        value = cookies.get(name)
        if not value:
            return None
        return decode_signed_value(get_cookie_secret(), name, value.encode("latin-1"))

    raw = get_cookie_with_chunks(signed, USER_COOKIE)
    told = json.loads(raw) if raw else {}
    return told if isinstance(told, dict) and told.get("is_logged_in") else {}

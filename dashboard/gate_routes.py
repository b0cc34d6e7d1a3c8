"""Signing in and out: the form, a provider of sign-ins, and the way out."""

from __future__ import annotations

import re
from math import ceil
from urllib.parse import parse_qs

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route
from streamlit.auth_util import encode_provider_token

from dashboard import gate_page
from dashboard.gate import Gate
from dashboard.gate_page import Asked
from ledger.private import LASTS_S, Person

LONGEST_FORM = 4_096
_WANTED = re.compile(r"/(?![/\\])[\x21-\x5b\x5d-\x7e]*")


def wanted(text: str | None) -> str:
    """Give where to go after signing in: a path of this server, else its first page."""
    return text if text and len(text) < 1_000 and _WANTED.fullmatch(text) else "/"


def routes(gate: Gate, shop: str) -> list[Route]:
    """Give the routes of signing in and out."""
    own = _Routes(gate, shop)
    return [
        Route("/sign-in", own.ask, methods=["GET"]),
        Route("/sign-in", own.answer, methods=["POST"]),
        Route("/sign-in.css", own.styles, methods=["GET"]),
        Route("/sign-in/provider", own.provider, methods=["GET"]),
        Route("/sign-out", own.leave, methods=["GET", "POST"]),
    ]


def admit(response: Response, gate: Gate, person: Person) -> Response:
    """Begin a sign-in of somebody, with its cookie on a response."""
    response.set_cookie(
        gate.rules.cookie,
        gate.begin(person),
        max_age=int(LASTS_S),
        httponly=True,
        samesite="strict",
        secure=gate.rules.is_https,
        path="/",
    )
    return response


class _Routes:
    def __init__(self, gate: Gate, shop: str) -> None:
        self._gate, self._shop = gate, shop

    def _page(self, onto: str, name: str = "", said: str = "") -> str:
        people = [one for one in self._gate.private.people() if one.has_pin]
        providers = self._gate.rules.providers
        return gate_page.page(Asked(self._shop, people, providers, onto, name, said))

    async def ask(self, request: Request) -> Response:
        if not self._gate.rules.is_sign_in:
            return RedirectResponse("/", 303)
        return HTMLResponse(self._page(wanted(request.query_params.get("next"))))

    async def answer(self, request: Request) -> Response:
        form = await _form(request)
        onto, name = wanted(form.get("next")), form.get("person", "")[:200]
        address = request.client.host if request.client else ""
        tried = await run_in_threadpool(
            self._gate.try_pin, name, form.get("pin", "")[:200], address
        )
        if tried.person is not None:
            self._gate.end(request.cookies)
            return admit(RedirectResponse(onto, 303), self._gate, tried.person)
        if tried.wait_s <= 0:
            return HTMLResponse(self._page(onto, name, gate_page.WRONG), 401)
        seconds = ceil(tried.wait_s)
        said = f"{gate_page.WAITS} {_length(seconds)}. Then try again."
        headers = {"Retry-After": str(seconds)}
        return HTMLResponse(self._page(onto, name, said), 429, headers)

    async def styles(self, request: Request) -> Response:
        return Response(gate_page.style_sheet(), media_type="text/css")

    async def provider(self, request: Request) -> Response:
        name = request.query_params.get("name", "")
        if name not in self._gate.rules.providers:
            return RedirectResponse("/sign-in", 303)
        return RedirectResponse(f"/auth/login?provider={encode_provider_token(name)}", 303)

    async def leave(self, request: Request) -> Response:
        if request.headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return RedirectResponse("/", 303)
        self._gate.end(request.cookies)
        response = HTMLResponse(gate_page.signed_out())
        secure = self._gate.rules.is_https
        response.delete_cookie(
            self._gate.rules.cookie, secure=secure, httponly=True, samesite="strict"
        )
        return response


def _length(seconds: int) -> str:
    if seconds < 100:
        return f"{seconds} seconds"
    return f"{ceil(seconds / 60)} minutes"


async def _form(request: Request) -> dict[str, str]:
    """Give the fields of a form; none where it is longer than any of ours."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LONGEST_FORM:
            return {}
    told = parse_qs(body.decode("latin-1"), keep_blank_values=True, max_num_fields=10)
    return {name: values[0] for name, values in told.items()}

"""The wall in front of every request: hosts, origins, sign-in, and whose files and sessions.

Nothing passes that is not known to: paths open to everybody are listed whole, and a path that
could be read in two ways is refused before it is compared.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, MutableMapping
from typing import Any
from urllib.parse import quote, urlsplit

from google.protobuf.message import DecodeError
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg

from dashboard import gate_headers, newest
from dashboard.gate import Gate, file_in
from ledger.private import Person

OPEN_PATHS = frozenset({"/sign-in", "/sign-in.css", "/favicon.png", "/_stcore/health"})
PROVIDER_PATHS = frozenset({"/sign-in/provider", "/auth/login", "/oauth2callback"})
CLOSED = ("/_stcore/agent", "/_stcore/metrics", "/_stcore/script-health-check", "/auth/logout")
"""What the server offers and nobody here needs."""
MEDIA, UPLOAD, STREAM = "/media/", "/_stcore/upload_file/", "/_stcore/stream"
READING = frozenset({"GET", "HEAD"})
_PATH = re.compile(rb"/(?:[A-Za-z0-9_.~@+-]+/?)*")
_HOST = re.compile(r"(?:\[([0-9a-f:.]+)\]|([a-z0-9._-]+))(?::[0-9]{1,5})?")
_DOTS = re.compile(r"(?:^|/)\.{1,2}(?:/|$)")
MESSAGES = frozenset({"rerun_script", "stop_script", "file_urls_request", "app_heartbeat"})
"""What the pages of this project send, but for asking for a file."""
POLICY = 1008
"""A websocket closed for breaking a rule (RFC 6455, section 7.4.1)."""


def header(scope: Scope, name: bytes) -> str | None:
    """Give the one header of a name; None where it is missing, or there are several."""
    found = [value for key, value in scope["headers"] if key == name]
    return found[0].decode("latin-1") if len(found) == 1 else None


def cookies(scope: Scope) -> dict[str, str]:
    """Give a request's cookies."""
    return HTTPConnection(scope).cookies


def is_plain(scope: Scope) -> bool:
    """Say whether a path is written so that it can be read in one way only."""
    raw = scope.get("raw_path") or b""
    path = raw.split(b"?")[0]
    return bool(_PATH.fullmatch(path)) and not _DOTS.search(scope["path"])


def is_host(scope: Scope, hosts: frozenset[str]) -> bool:
    """Say whether a request asks for one of the names this server answers to."""
    found = _HOST.fullmatch((header(scope, b"host") or "").lower())
    return found is not None and (found[1] or found[2] or "").rstrip(".") in hosts


def is_own_origin(scope: Scope) -> bool:
    """Say whether a request comes from this server's own pages."""
    origin = urlsplit((header(scope, b"origin") or "").lower())
    secure = scope["scheme"] in ("https", "wss")
    is_scheme = origin.scheme == ("https" if secure else "http")
    return is_scheme and origin.netloc == (header(scope, b"host") or "").lower()


class Wall:
    """ASGI middleware: refuses what may not pass, and sets the headers of what does."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self._app = app
        self._gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request or websocket through, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        send = gate_headers.with_headers(send, scope, self._gate.rules)
        refusal, person = self._refusal(scope)
        if refusal is not None:
            await _refuse(refusal, scope, receive, send)
        elif scope["type"] == "websocket":
            own = scope if person is None else _own_session(scope, self._gate, person)
            watched = Watched(self._gate, cookies(scope), receive, send)
            await self._app(own, watched.receive, watched.send)
        else:
            await self._app(scope, receive, send)

    def _refusal(self, scope: Scope) -> tuple[Response | None, Person | None]:
        """Give what a request is refused with, or who it is from, where somebody signed in."""
        rules = self._gate.rules
        if not is_host(scope, rules.hosts):
            return PlainTextResponse("This server does not go by that name.", 421), None
        if not is_plain(scope):
            return PlainTextResponse("There is no such page.", 404), None
        is_change = scope["type"] == "websocket" or scope["method"] not in READING
        if is_change and not is_own_origin(scope):
            return PlainTextResponse("That was asked from another site.", 403), None
        path = scope["path"]
        if path.startswith(CLOSED):
            return PlainTextResponse("There is no such page.", 404), None
        if not rules.is_sign_in or path in self._open():
            return None, None
        # A page that looks for newer entries is nobody's doing.
        is_used = scope["type"] == "http" and path != newest.PATH
        person = self._gate.person_in(cookies(scope), is_used=is_used)
        if person is None:
            return self._ask(scope), None
        return self._not_theirs(path, person), person

    def _open(self) -> frozenset[str]:
        return OPEN_PATHS | PROVIDER_PATHS if self._gate.rules.providers else OPEN_PATHS

    def _ask(self, scope: Scope) -> Response:
        """Ask to sign in: a page by its form, anything else by a plain refusal."""
        accepts = header(scope, b"accept") or ""
        is_page = scope["type"] == "http" and scope["method"] == "GET" and "text/html" in accepts
        if not is_page:
            return PlainTextResponse("Sign in first.", 401)
        query = scope["query_string"].decode("latin-1")
        wanted = scope["path"] + (f"?{query}" if query else "")
        there = "" if wanted == "/" else f"?next={quote(wanted, safe='')}"
        return RedirectResponse(f"/sign-in{there}", 303)

    def _not_theirs(self, path: str, person: Person) -> Response | None:
        """Refuse files and uploads of somebody else's."""
        if path.startswith(MEDIA):
            file = file_in(path)
            if not self._gate.is_file_of(file, person):
                return PlainTextResponse("There is no such file.", 404)
        if path.startswith(UPLOAD):
            session = path.removeprefix(UPLOAD).partition("/")[0]
            if not self._gate.is_session_of(session, person):
                return PlainTextResponse("That is not your page.", 403)
        return None


async def _refuse(response: Response, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": POLICY})
    else:
        await response(scope, receive, send)


def _own_session(scope: Scope, gate: Gate, person: Person) -> Scope:
    """Give a websocket's request without a session to take up again that is somebody else's."""
    name = b"sec-websocket-protocol"
    asked = (header(scope, name) or "").split(",")
    if len(asked) < 3 or gate.is_session_of(asked[2].strip(), person):
        return scope
    headers = [(key, value) for key, value in scope["headers"] if key != name]
    headers.append((name, ",".join(asked[:2]).encode("latin-1")))
    return {**scope, "headers": headers}


class Watched:
    """A websocket: what pages do not send is dropped, and it ends with its sign-in.

    After that nothing is taken from it, nor sent.
    """

    def __init__(self, gate: Gate, cookies: dict[str, str], receive: Receive, send: Send) -> None:
        self._gate, self._cookies = gate, cookies
        self._receive, self._send = receive, send
        self._is_closed = False

    async def receive(self) -> Message:
        """Give the next message that may pass; a disconnect where the sign-in has ended."""
        while True:
            message = await self._receive()
            if message["type"] != "websocket.receive":
                return message
            asked = read(message)
            if not self._is_live(is_used=_is_somebody(asked)):
                await self._close()
                return {"type": "websocket.disconnect", "code": POLICY}
            if asked is None or self._may_pass(asked):
                return message

    async def send(self, message: MutableMapping[str, Any]) -> None:
        """Send a message; nothing where the sign-in has ended."""
        if message["type"] == "websocket.send" and not self._is_live():
            await self._close()
        elif not self._is_closed:
            await self._send(message)

    def _is_live(self, *, is_used: bool = False) -> bool:
        if not self._gate.rules.is_sign_in:
            return True
        return self._gate.person_in(self._cookies, is_used=is_used) is not None

    def _may_pass(self, asked: BackMsg) -> bool:
        """Say whether a page would send that; a file is asked for by whom it was offered."""
        kind = asked.WhichOneof("type")
        if kind != "backend_operation_request":
            return kind in MESSAGES
        if asked.backend_operation_request.WhichOneof("payload") != "deferred_file":
            return False
        person = self._gate.person_in(self._cookies)
        file = asked.backend_operation_request.deferred_file.file_id
        return person is None or self._gate.is_file_of(file, person)

    async def _close(self) -> None:
        if not self._is_closed:
            self._is_closed = True
            await self._send({"type": "websocket.close", "code": POLICY})


def read(message: Message) -> BackMsg | None:
    """Give what a page sent; None for what is no such message, which the server refuses."""
    found = BackMsg()
    try:
        found.ParseFromString(message.get("bytes") or b"")
    except DecodeError:
        return None
    return found


def _is_somebody(asked: BackMsg | None) -> bool:
    """Say whether a message is somebody's doing: a page that renews itself is nobody's."""
    return (
        asked is not None
        and asked.HasField("rerun_script")
        and not asked.rerun_script.is_auto_rerun
    )


def allowed(names: Iterable[str]) -> frozenset[str]:
    """Give names of hosts as they are compared."""
    return frozenset(name.strip().lower().rstrip(".") for name in names if name.strip())

"""A server with the gate before it, and a client that speaks to it without a browser."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

from google.protobuf.text_format import MessageToString
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.util import calc_hash
from websockets.sync.client import ClientConnection, connect

from dashboard import launch
from ledger.private import Person, Private

PEOPLE = {"olga": ("owner", None, "482913"), "ada": ("mechanic", "ada", "582914"),
          "dora": ("desk", None, "682915")}  # fmt: skip
"""Name: role, mechanic, PIN."""
COOKIE = "lockring_"


def enter_people(book: Path) -> Private:
    """Enter an owner, a mechanic and the desk."""
    private = Private(book)
    for name, (role, mechanic, pin) in PEOPLE.items():
        private.add(Person(name, role, mechanic), pin)  # type: ignore[arg-type]  # a role as it is written
    return private


def free_port() -> int:
    """Give a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Answer:
    """What a server answered."""

    status: int
    headers: dict[str, str]
    body: str
    set_cookie: list[str] = field(default_factory=list)

    @property
    def cookie(self) -> str:
        """The gate's cookie as it is sent back."""
        return next(one.split(";")[0] for one in self.set_cookie if one.startswith(COOKIE))


@dataclass(frozen=True)
class Server:
    """A running server."""

    port: int
    book: Path

    def ask(
        self,
        path: str,
        method: str = "GET",
        body: bytes = b"",
        **headers: str,
    ) -> Answer:
        """Ask for a path as written; a header's name has `_` for `-`, and None leaves it out."""
        asked = {"Host": f"127.0.0.1:{self.port}"}
        asked |= {name.replace("_", "-"): value for name, value in headers.items()}
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in asked.items():
            line.putheader(name, value)
        if body or method in ("POST", "PUT"):
            line.putheader("Content-Length", str(len(body)))
        line.endheaders(body or None)
        reply = line.getresponse()
        text = reply.read().decode("utf-8", "replace")
        cookies = [value for name, value in reply.getheaders() if name.lower() == "set-cookie"]
        told = {name.lower(): value for name, value in reply.getheaders()}
        line.close()
        return Answer(reply.status, told, text, cookies)

    @property
    def origin(self) -> str:
        """Where its own pages come from."""
        return f"http://127.0.0.1:{self.port}"

    def sign_in(self, name: str, pin: str | None = None, **headers: str) -> Answer:
        """Fill in the form; the PIN is the person's own where none is given."""
        typed = {"person": name, "pin": PEOPLE[name][2] if pin is None else pin}
        sent = {"Content_Type": "application/x-www-form-urlencoded", "Origin": self.origin}
        return self.ask("/sign-in", "POST", urlencode(typed).encode(), **{**sent, **headers})

    def stream(self, cookie: str = "", origin: str | None = "own", session: str = "",
               host: str = "") -> ClientConnection:  # fmt: skip
        """Open the websocket a page is drawn over."""
        headers = {"Cookie": cookie} if cookie else {}
        address = f"ws://{host or '127.0.0.1'}:{self.port}/_stcore/stream"
        protocols = ["streamlit", "x", session] if session else ["streamlit"]
        return connect(
            address,
            sock=socket.create_connection(("127.0.0.1", self.port)),
            origin=self.origin if origin == "own" else origin,  # type: ignore[arg-type]  # any text may be sent
            additional_headers=headers,
            subprotocols=protocols,  # type: ignore[arg-type]  # plain texts
            open_timeout=30,
            max_size=None,
        )

    def page(self, line: ClientConnection, page: str = "", **asked: str) -> str:
        """Have a page drawn over an open websocket; gives all that was sent, as text."""
        message = BackMsg()
        message.rerun_script.query_string = urlencode(asked)
        if page:
            message.rerun_script.page_script_hash = calc_hash(page)
            message.rerun_script.page_name = page
        line.send(message.SerializeToString())
        return "\n".join(drawn(line))

    def ask_file(self, line: ClientConnection, session: str, file: str) -> None:
        """Ask for a file to be made."""
        message = BackMsg()
        message.backend_operation_request.request_id = "r1"
        message.backend_operation_request.session_id = session
        message.backend_operation_request.deferred_file.file_id = file
        line.send(message.SerializeToString())

    def answer(self, line: ClientConnection) -> str:
        """Give the answer to what was asked for, as text."""
        while True:
            message = ForwardMsg()
            message.ParseFromString(line.recv(timeout=60))
            if message.WhichOneof("type") == "backend_operation_response":
                return MessageToString(message, as_utf8=True)

    def heard(self, line: ClientConnection, seconds: float = 2) -> list[str]:
        """Give the kinds of messages that come within some seconds of quiet."""
        found: list[str] = []
        try:
            while True:
                message = ForwardMsg()
                message.ParseFromString(line.recv(timeout=seconds))
                found.append(str(message.WhichOneof("type")))
        except TimeoutError:
            return found

    def odd_messages(self, session: str) -> list[bytes]:
        """Give messages that the server would take, and no page of this project sends."""
        clear, install, git = BackMsg(), BackMsg(), BackMsg()
        clear.clear_cache = True
        git.load_git_info = True
        install.backend_operation_request.request_id = "r2"
        install.backend_operation_request.session_id = session
        install.backend_operation_request.install_skills.SetInParent()
        return [one.SerializeToString() for one in (clear, git, install)]


def drawn(line: ClientConnection, seconds: float = 120) -> Iterator[str]:
    """Give what a server sends until a page is drawn to its end."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        message = ForwardMsg()
        message.ParseFromString(line.recv(timeout=seconds))
        yield MessageToString(message, as_utf8=True)
        if message.WhichOneof("type") == "script_finished":
            return
    raise AssertionError("the page was not drawn")


@contextmanager
def served(
    book: Path, folder: Path, reach: launch.Reach, port: int | None = None
) -> Iterator[Server]:
    """Serve a book as `lockring dashboard` does, from a folder that is not the project's."""
    server = Server(port or free_port(), book)
    with (folder / "server.log").open("w") as log:
        process = subprocess.Popen(
            launch.command(book, server.port, open_browser=False, reach=reach),
            cwd=folder,
            env={**os.environ, "LOCKRING_BOOK": str(book), "HOME": str(folder)},
            stdout=log,
            stderr=log,
        )
        try:
            _wait(server, process, folder / "server.log")
            yield server
        finally:
            process.terminate()
            process.wait(20)


def _wait(server: Server, process: subprocess.Popen[bytes], log: Path) -> None:
    ends = time.monotonic() + 90
    while True:
        assert process.poll() is None, log.read_text()
        assert time.monotonic() < ends, "the server did not come up"
        try:
            if server.ask("/_stcore/health").status == 200:
                return
        except OSError:
            time.sleep(0.2)

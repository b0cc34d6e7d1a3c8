"""A real HTTP server between a client and a server that speaks S3, for faults on the way."""

from __future__ import annotations

import http.client
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit


@dataclass
class Way:
    """What happens on the way, and what has passed."""

    endpoint: str = ""
    is_down: bool = False
    """Connections are closed without a word."""
    ignored: frozenset[str] = frozenset()
    """Headers that do not reach the server, in small letters."""
    drop_reply: Callable[[str, str], bool] = lambda method, path: False
    """Whether the reply to a request that the server has answered is lost, by method and path."""
    lose: Callable[[str, str], bool] = lambda method, path: False
    """Whether a request is lost before it reaches the server."""
    damage: Callable[[str, bytes], bytes] = lambda path, body: body
    """What becomes of the body of a reply to GET."""
    passed: list[tuple[str, str]] = field(default_factory=list)
    """Method and path of each request that came."""


def _handler(way: Way, server: str) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _pass(self) -> None:
            way.passed.append((self.command, self.path))
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            if way.is_down or way.lose(self.command, self.path):
                self.close_connection = True
                return
            answer, content = self._asked(body)
            if way.drop_reply(self.command, self.path):
                self.close_connection = True
                return
            if self.command == "GET":
                content = way.damage(self.path, content)
            self.send_response(answer.status)
            for name, value in answer.getheaders():
                if name.lower() not in ("transfer-encoding", "content-length", "connection"):
                    self.send_header(name, value)
            length = answer.getheader("Content-Length") if self.command == "HEAD" else None
            self.send_header("Content-Length", length or str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def _asked(self, body: bytes) -> tuple[http.client.HTTPResponse, bytes]:
            connection = http.client.HTTPConnection(server, timeout=30)
            headers = {k: v for k, v in self.headers.items() if k.lower() not in way.ignored}
            connection.request(self.command, self.path, body, headers)
            answer = connection.getresponse()
            content = answer.read()
            connection.close()
            return answer, content

        def log_message(self, *told: object) -> None:
            """Say nothing."""

    for method in ("GET", "PUT", "HEAD", "DELETE", "POST"):
        setattr(Handler, f"do_{method}", Handler._pass)
    return Handler


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = 128


@contextmanager
def proxy_to(endpoint: str) -> Iterator[Way]:
    """Serve a way to a server on a port of its own, until the end."""
    way = Way()
    server = _Server(("127.0.0.1", 0), _handler(way, urlsplit(endpoint).netloc))
    way.endpoint = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield way
    finally:
        server.shutdown()
        server.server_close()

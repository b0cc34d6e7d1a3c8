"""A real server on loopback that speaks S3, in a process of its own."""

from __future__ import annotations

import secrets
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import httpx

# Of every request a line would go to stderr, and stop the server once nobody reads on.
# It looks whether a name is there and writes after that; a store that heeds If-None-Match does both
# at once, so one PUT is let in at a time.
_SERVE = """
import logging, sys, threading
from moto.moto_server.werkzeug_app import DomainDispatcherApplication as Server
from moto.server import ThreadedMotoServer
answer, alone = Server.__call__, threading.Lock()
def in_turn(self, environ, start_response):
    if environ["REQUEST_METHOD"] != "PUT":
        return answer(self, environ, start_response)
    with alone:
        return list(answer(self, environ, start_response))
Server.__call__ = in_turn
logging.getLogger("werkzeug").setLevel(logging.ERROR)
server = ThreadedMotoServer(ip_address="127.0.0.1", port=0)
server.start()
print(*server.get_host_and_port(), file=sys.stderr, flush=True)
sys.stdin.read()
"""


@contextmanager
def s3_server() -> Iterator[tuple[dict[str, str], str]]:
    """Serve an empty bucket; gives the environment its clients need, and `s3://` and its name."""
    started = subprocess.Popen(
        [sys.executable, "-c", _SERVE],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert started.stderr is not None and started.stdin is not None
    try:
        host, port = started.stderr.readline().split()
        endpoint = f"http://{host}:{port}"
        bucket = f"harbour-{secrets.token_hex(4)}"
        httpx.put(f"{endpoint}/{bucket}").raise_for_status()
        yield environment(endpoint), f"s3://{bucket}"
    finally:
        started.kill()
        started.wait()


def environment(endpoint: str) -> dict[str, str]:
    """Give what a client finds its server and its key by."""
    return {
        "AWS_ENDPOINT_URL": endpoint,
        "AWS_ALLOW_HTTP": "true",
        "AWS_REGION": "us-east-1",
        "AWS_ACCESS_KEY_ID": "harbour",
        "AWS_SECRET_ACCESS_KEY": "only for tests",
    }

"""In the shop's network over TLS: `lockring dashboard --lan` with a certificate of its own."""

from __future__ import annotations

import http.client
import ipaddress
import os
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import signed_in
import small_book
from bench_server import free_port
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from playwright.sync_api import Browser, expect
from real_browser import watch

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_1")]

HOST = "quay.local"
FORM = {"Content-Type": "application/x-www-form-urlencoded"}
LOCKRING = (sys.executable, "-c", "from ledger.cli import main; main()")
SCREENS = ("DISPLAY", "WAYLAND_DISPLAY")


@dataclass(frozen=True)
class Lan:
    """A server in the network."""

    port: int

    def ask(self, method: str, path: str, body: str = "", **headers: str) -> int:
        """Ask over TLS; gives the status of the answer."""
        line = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=30, context=_anybody())
        line.request(method, path, body or None, {**FORM, **headers} if body else headers)
        status = line.getresponse().status
        line.close()
        return status


def _anybody() -> ssl.SSLContext:
    """Take any certificate: that of the test is nobody's."""
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


def throw_away(folder: Path) -> tuple[Path, Path]:
    """Make a key and a certificate it signs itself, good for a day."""
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, HOST)])
    address = x509.IPAddress(ipaddress.ip_address("127.0.0.1"))
    certificate = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(HOST), address]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    (folder / "quay.pem").write_bytes(certificate.public_bytes(pem))
    (folder / "quay.key").write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain)
    )
    return folder / "quay.pem", folder / "quay.key"


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    """A server started by the command line itself."""
    folder, one = tmp_path_factory.mktemp("lan"), Lan(free_port())
    small_book.small_book(folder / "book")
    signed_in.enter(folder / "book")
    certificate, key = throw_away(folder)
    told = {"--book": folder / "book", "--port": one.port, "--certificate": certificate,
            "--key": key, "--host": HOST}  # fmt: skip
    words = [str(word) for pair in told.items() for word in pair]
    environment = {name: value for name, value in os.environ.items() if name not in SCREENS}
    with (folder / "server.log").open("w") as log:
        process = subprocess.Popen([*LOCKRING, "dashboard", "--lan", *words], cwd=folder,
                                   env=environment, stdout=log, stderr=log)  # fmt: skip
        try:
            _wait(one, process, folder / "server.log")
            yield one
        finally:
            process.kill()
            process.wait(20)


def _wait(one: Lan, process: subprocess.Popen[bytes], log: Path) -> None:
    ends = time.monotonic() + 90
    while True:
        assert process.poll() is None, log.read_text()
        assert time.monotonic() < ends, "the server did not come up"
        try:
            if one.ask("GET", "/_stcore/health") == 200:
                return
        except OSError:
            time.sleep(0.05)


def test_pages_and_cookie_go_over_tls_alone(lan: Lan, chromium: Browser) -> None:
    """Signed in over TLS a page is drawn, and its cookie goes over TLS to this host alone."""
    context = chromium.new_context(ignore_https_errors=True)
    seen, address = watch(context.new_page()), f"https://127.0.0.1:{lan.port}"
    seen.page.goto(f"{address}/bikes")
    signed_in.sign_in(seen.page, signed_in.MECHANIC)
    seen.page.wait_for_url(f"{address}/bikes")
    expect(seen.page.locator("h1")).to_have_text("3 bikes", timeout=60_000)
    seen.settle()
    (cookie,) = [one for one in context.cookies() if "lockring" in one["name"]]
    assert cookie["name"] == f"__Host-lockring_{lan.port}"
    assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == (True, True, "Strict")
    context.close()
    assert seen.wrong == [], seen.wrong
    assert seen.foreign == [], seen.foreign


def test_nothing_is_answered_without_tls(lan: Lan) -> None:
    """Whoever speaks plain HTTP to the port gets no answer."""
    line = http.client.HTTPConnection("127.0.0.1", lan.port, timeout=30)
    with pytest.raises((http.client.HTTPException, OSError)):
        line.request("GET", "/sign-in")
        line.getresponse()
    line.close()


def test_hosts_and_origins_hold_over_tls(lan: Lan) -> None:
    """A foreign name is refused, and so is a form from elsewhere, plain HTTP of its own too."""
    own = f"127.0.0.1:{lan.port}"
    hosts = {name: lan.ask("GET", "/sign-in", Host=name) for name in (own, HOST, "evil.example")}
    assert hosts == {own: 200, HOST: 200, "evil.example": 421}
    origins = (f"https://{own}", f"http://{own}", "https://evil.example", "null")
    sent = {one: lan.ask("POST", "/sign-in", "person=nemo&pin=1", Origin=one) for one in origins}
    assert sent == dict(zip(origins, (401, 403, 403, 403), strict=True))

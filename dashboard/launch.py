"""Start the pages on this machine, or for its network, from any working directory."""

from __future__ import annotations

import os
import socket
import sys
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from dashboard import theme
from ledger.errors import LedgerError, WrongUse
from ledger.private import Private

APP = Path(__file__).with_name("app.py")
ADDRESS, EVERYWHERE = "127.0.0.1", "0.0.0.0"
BOOK_VARIABLE = "LOCKRING_BOOK"
SECRETS = (Path(".streamlit/secrets.toml"), Path("~/.streamlit/secrets.toml"))
UNENCRYPTED = (
    "Anybody on this network can read what is sent, PINs among it. Use it on a network of your "
    "own only, or give --certificate and --key."
)
NOBODY = (
    "Nobody could sign in as the owner. Enter one with a PIN: lockring people add NAME --role "
    "owner; or with --email, and a provider of sign-ins in .streamlit/secrets.toml (README, Who "
    "may see what)."
)


class NoOwner(LedgerError):
    """Sign-in is asked for, and no owner could sign in."""


@dataclass(frozen=True)
class Reach:
    """Where the pages can be reached, and whether one must sign in."""

    address: str = ADDRESS
    is_sign_in: bool = False
    hosts: tuple[str, ...] = ()
    """Names and addresses it answers to, besides this machine's own ones."""
    certificate: Path | None = None
    key: Path | None = None

    @property
    def is_here(self) -> bool:
        """Whether it listens on this machine alone."""
        return self.address in (ADDRESS, "localhost", "::1")

    @property
    def scheme(self) -> str:
        """How its addresses begin."""
        return "https" if self.certificate else "http"


HERE = Reach()


def has_screen() -> bool:
    """Say whether a browser could be opened here at all."""
    is_desktop = sys.platform in ("darwin", "win32")
    return is_desktop or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def is_free(port: int) -> bool:
    """Say whether nothing on this machine listens on a port."""
    with socket.socket() as probe:
        return probe.connect_ex((ADDRESS, port)) != 0


def own_names() -> tuple[str, ...]:
    """Give the names and addresses this machine goes by in its network."""
    name = socket.gethostname()
    found = [name, f"{name.partition('.')[0]}.local", socket.getfqdn()]
    try:
        found += [str(one[4][0]) for one in socket.getaddrinfo(name, None)]
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            # nothing is sent: it only tells which address this machine would send from
            probe.connect(("192.0.2.1", 9))
            found.append(str(probe.getsockname()[0]))
    except OSError:
        pass
    return tuple(dict.fromkeys(found))


def options(port: int, open_browser: bool, reach: Reach = HERE) -> dict[str, str]:
    """Give every option of the server: where it listens, that it reports nothing and shows no
    inside.

    They go on the command line, since a settings file is only found from the project's folder.
    """
    certified = {"server.sslCertFile": reach.certificate, "server.sslKeyFile": reach.key}
    return {
        "server.address": reach.address,
        "server.port": str(port),
        "server.headless": "false" if open_browser else "true",
        "server.fileWatcherType": "none",
        "server.enableXsrfProtection": "true",
        "server.enableCORS": "true",
        "server.showEmailPrompt": "false",
        "server.maxUploadSize": "20",
        "browser.serverAddress": ADDRESS,
        "browser.gatherUsageStats": "false",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": "false",
        "client.toolbarMode": "minimal",
        "logger.level": "warning",
        "logger.hideWelcomeMessage": "true",
        **theme.server_options(),
        **{name: str(path.resolve()) for name, path in certified.items() if path},
    }


def command(book_path: Path | str, port: int, open_browser: bool, reach: Reach = HERE) -> list[str]:
    """Give the command that serves a book on a port of this machine."""
    told = options(port, open_browser, reach)
    if reach.is_sign_in:
        told["gate.sign_in"] = "true"
    if reach.hosts:
        told["gate.hosts"] = ",".join(reach.hosts)
    flags = [f"--{name}={value}" for name, value in told.items()]
    book = str(Path(book_path).resolve())
    return [sys.executable, "-m", "dashboard.serve", *flags, "--", book]


def has_provider(files: Iterable[Path] = SECRETS) -> bool:
    """Say whether a provider of sign-ins is set up in the server's secrets."""
    for file in files:
        path = file.expanduser()
        if path.exists():
            try:
                return bool(tomllib.loads(path.read_text(encoding="utf-8")).get("auth"))
            except (tomllib.TOMLDecodeError, UnicodeError) as error:
                raise LedgerError(f"{path} is no TOML: {error}.") from None
    return False


def check(book: Path, reach: Reach) -> None:
    """Raise NoOwner where one must sign in and no owner could; WrongUse for half a certificate."""
    if bool(reach.certificate) != bool(reach.key):
        raise WrongUse("--certificate and --key go together: give both, or neither.")
    if not reach.is_sign_in:
        return
    owners = [one for one in Private(book).people() if one.role == "owner"]
    is_known = any(one.has_pin for one in owners)
    if not is_known and not (has_provider() and any(one.email for one in owners)):
        raise NoOwner(NOBODY)


def start(
    book_path: Path | str,
    port: int = 8501,
    open_browser: bool | None = None,
    reach: Reach = HERE,
) -> None:
    """Serve a book until it is stopped; this process becomes the server and does not return.

    Raises SystemExit where the port is taken; NoOwner, WrongUse as `check` does.
    """
    check(Path(book_path), reach)
    is_opened = has_screen() if open_browser is None else open_browser
    if not is_free(port):
        print(
            f"Port {port} is taken. If Lockring is open already, look at http://{ADDRESS}:{port}; "
            f"else take another: lockring dashboard --port {port + 1} (make run PORT={port + 1}).",
            file=sys.stderr,
        )
        raise SystemExit(1)
    words = command(book_path, port, is_opened, reach)
    _say(port, reach)
    os.environ[BOOK_VARIABLE] = words[-1]
    os.execv(sys.executable, words)


def _say(port: int, reach: Reach) -> None:
    names = (ADDRESS,) if reach.is_here else tuple(one for one in reach.hosts if ":" not in one)
    addresses = ", ".join(f"{reach.scheme}://{name}:{port}" for name in names)
    print(f"Lockring on {addresses} (stop with Ctrl+C)", flush=True)
    if not reach.is_here and not reach.certificate:
        print(UNENCRYPTED, file=sys.stderr, flush=True)

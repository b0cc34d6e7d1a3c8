"""Start the pages on this machine, from any working directory."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path

from dashboard import theme

APP = Path(__file__).with_name("app.py")
ADDRESS = "127.0.0.1"
BOOK_VARIABLE = "LOCKRING_BOOK"


def has_screen() -> bool:
    """Say whether a browser could be opened here at all."""
    is_desktop = sys.platform in ("darwin", "win32")
    return is_desktop or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def is_free(port: int) -> bool:
    """Say whether nothing on this machine listens on a port."""
    with socket.socket() as probe:
        return probe.connect_ex((ADDRESS, port)) != 0


def options(port: int, open_browser: bool) -> dict[str, str]:
    """Give every option of the server: it listens here alone, reports nothing and shows no inside.

    They go on the command line, since a settings file is only found from the project's folder.
    """
    return {
        "server.address": ADDRESS,
        "server.port": str(port),
        "server.headless": "false" if open_browser else "true",
        "server.fileWatcherType": "none",
        "server.enableXsrfProtection": "true",
        "server.enableCORS": "true",
        "server.showEmailPrompt": "false",
        "browser.serverAddress": ADDRESS,
        "browser.gatherUsageStats": "false",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": "false",
        "client.toolbarMode": "minimal",
        "logger.level": "warning",
        "logger.hideWelcomeMessage": "true",
        **theme.server_options(),
    }


def command(book_path: Path | str, port: int, open_browser: bool) -> list[str]:
    """Give the command that serves a book on a port of this machine."""
    flags = [f"--{name}={value}" for name, value in options(port, open_browser).items()]
    book = str(Path(book_path).resolve())
    return [sys.executable, "-m", "streamlit", "run", str(APP), *flags, "--", book]


def start(book_path: Path | str, port: int = 8501, open_browser: bool | None = None) -> None:
    """Serve a book until it is stopped; this process becomes the server and does not return.

    Raises SystemExit where the port is taken.
    """
    is_opened = has_screen() if open_browser is None else open_browser
    if not is_free(port):
        print(
            f"Port {port} is taken. If Lockring is open already, look at http://{ADDRESS}:{port}; "
            f"else take another: lockring dashboard --port {port + 1} (make run PORT={port + 1}).",
            file=sys.stderr,
        )
        raise SystemExit(1)
    words = command(book_path, port, is_opened)
    print(f"Lockring on http://{ADDRESS}:{port} (stop with Ctrl+C)", flush=True)
    os.environ[BOOK_VARIABLE] = words[-1]
    os.execv(sys.executable, words)

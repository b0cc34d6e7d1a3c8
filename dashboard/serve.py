"""The server of the pages: the app with the gate in front of it.

Started by `dashboard.launch`, with every option of the server as `--section.name=value`, the
gate's own as `--gate.name=value`, and the book after `--`.
"""

from __future__ import annotations

import sys
import webbrowser
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.middleware import Middleware

from dashboard import bench_warm, gate, gate_provider, gate_routes, kept_ahead, logged, newest
from dashboard.gate import Gate, Rules
from dashboard.gate_wall import Wall, allowed
from dashboard.launch import APP
from ledger import settings

OWN = "gate."


def told(arguments: Sequence[str]) -> tuple[dict[str, str], Path]:
    """Give the options and the book of a command line as `launch.command` writes it."""
    flags = [one.removeprefix("--") for one in arguments if one.startswith("--") and one != "--"]
    options = dict(flag.split("=", 1) for flag in flags)
    return options, Path(arguments[-1])


def _value(said: str) -> Any:
    """Give an option's value as the server takes it."""
    if said in ("true", "false"):
        return said == "true"
    return int(said) if said.isdigit() else said


def rules_of(options: dict[str, str]) -> Rules:
    """Give how the server is reached, from its options."""
    is_sign_in = options.get(f"{OWN}sign_in") == "true"
    return Rules(
        port=int(options["server.port"]),
        hosts=allowed([*Rules.hosts, *options.get(f"{OWN}hosts", "").split(",")]),
        is_sign_in=is_sign_in,
        is_https="server.sslCertFile" in options,
        providers=gate_provider.providers() if is_sign_in else (),
    )


def app_of(standing: Gate, shop: str, address: str = "") -> st.App:
    """Give the ASGI app of a gate's book; `address` is opened in a browser once it runs."""
    logged.keep_words_out()
    gate.stand(standing)

    @asynccontextmanager
    async def running(app: st.App) -> AsyncIterator[dict[str, Any]]:
        _note_files(standing)
        bench_warm.load()
        bench_warm.begin()
        kept_ahead.begin()
        if address:
            webbrowser.open(address)
        yield {}

    return st.App(
        APP,
        lifespan=running,
        routes=[*gate_routes.routes(standing, shop), newest.route()],
        middleware=[
            Middleware(Wall, gate=standing),
            Middleware(gate_provider.Provided, gate=standing),
        ],
    )


def _note_files(standing: Gate) -> None:
    """Have every file that a page offers noted with whom the page is drawn for.

    The server names files by their content, or by chance where they are made when they are asked
    for, and hands them to whoever knows the name.
    """
    files = st.runtime.get_instance().media_file_mgr
    add, add_deferred = files.add, files.add_deferred
    execute = files.execute_deferred

    def added(*given: Any, **named: Any) -> str:
        address = str(add(*given, **named))
        standing.note_file(gate.file_in(address))
        return address

    def deferred(*given: Any, **named: Any) -> str:
        file = str(add_deferred(*given, **named))
        standing.note_file(file)
        return file

    def made(file_id: str) -> str:
        address = str(execute(file_id))
        standing.note_same(file_id, gate.file_in(address))
        return address

    # Its methods are replaced: the server has no other place where a file can be noted.
    files.add, files.add_deferred = added, deferred  # type: ignore[method-assign]  # no other place
    files.execute_deferred = made  # type: ignore[method-assign]  # no other place to note a file


def main(arguments: Sequence[str] | None = None) -> None:
    """Serve a book until it is stopped."""
    options, book = told(sys.argv[1:] if arguments is None else arguments)
    rules = rules_of(options)
    standing = gate.gate_of(book, rules)
    is_opened = options.get("server.headless") == "false"
    scheme = "https" if rules.is_https else "http"
    address = f"{scheme}://127.0.0.1:{rules.port}" if is_opened else ""
    sys.argv = [sys.argv[0], str(book)]
    served = {name: _value(said) for name, said in options.items() if not name.startswith(OWN)}
    app_of(standing, settings.read(book / "book.toml").name, address).run(config=served)


if __name__ == "__main__":
    main()

"""Pages over a book on an object store, and what they say while it does not answer."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from app_page import Opener, shown

from ledger.book import Book
from tests.storage.s3_proxy import proxy_to
from tests.storage.s3_server import environment, s3_server

TAG = "7K3M9QXA"
SAID = "does not answer"


def test_every_page_says_that_the_store_is_silent_and_shows_what_was_seen(
    opened: Opener, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line on the page while it is so, with the commit; none before, and none afterwards."""
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path))
    with s3_server() as (told, bucket), proxy_to(told["AWS_ENDPOINT_URL"]) as way:
        for name, value in environment(way.endpoint).items():
            monkeypatch.setenv(name, value)
        address = f"{bucket}/quay"
        made = Book.init(address, shop="quay", name="Quay Bikes")
        draft = {"kind": "bike_registered", "bike": TAG, "actor": "m1", "data": {"make": "Ordwick"}}
        made.append([draft | {"occurred_at": "2026-03-01T09:00:00+00:00"}])
        app = opened(address, "bikes")
        assert SAID not in shown(app) and "Ordwick" in shown(app)
        way.is_down = True
        time.sleep(1.0)
        page = shown(app.run())
        assert f"{address} {SAID}" in page and "up to commit 1" in page and "Ordwick" in page
        by_mirror = shown(opened(made.path, "bikes"))
        assert f"{address} {SAID}" in by_mirror and "Ordwick" in by_mirror
        monkeypatch.setattr("ledger.storage.line.ASK_AGAIN_S", 0.0)
        way.is_down = False
        app = opened(address, "bikes")
        assert SAID not in shown(app)

"""Books the pages' tests open, and the app over them."""

from __future__ import annotations

from pathlib import Path

import pytest
import small_book
import streamlit as st
from app_page import Opener
from streamlit.testing.v1 import AppTest
from streamlit.util import calc_hash

APP = Path(__file__).parents[2] / "dashboard" / "app.py"


@pytest.fixture(scope="session")
def quay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small book with a tourer's life in it."""
    path = tmp_path_factory.mktemp("quay") / "book"
    small_book.small_book(path)
    return path


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opener:
    """Open the app over a book, with what the address asks for, `page` among it."""

    def run(book: Path, page: str = "", **asked: str) -> AppTest:
        st.cache_data.clear()
        st.cache_resource.clear()
        monkeypatch.setenv("LOCKRING_BOOK", str(book))
        monkeypatch.setattr("sys.argv", ["app.py"])
        app = AppTest.from_file(str(APP), default_timeout=30)
        for name, value in asked.items():
            app.query_params[name] = value
        if page:
            # pages that are functions are known by their address alone, which no public call takes
            app._page_hash = calc_hash(page)
        return app.run()

    return run

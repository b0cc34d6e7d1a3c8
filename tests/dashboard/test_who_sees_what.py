"""What each role is shown: every page, every choice an address knows, every file offered."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import chain
from pathlib import Path

import pytest
import streamlit as st
from app_page import BROKEN, chart_data
from marked_book import AS_ROLE, MARKS, QUOTED, TAGS, marked_book
from streamlit.testing.v1 import AppTest
from streamlit.util import calc_hash

from dashboard import downloads, fault_address, gate
from dashboard.ways import WAYS
from ledger.asking import Asker
from ledger.figures.fault_estimates import RECURRENCE_BY
from ledger.figures.fault_shapes import BY, MEASURES
from ledger.figures.labour_shapes import LABOUR_BY
from tests.long import IS_LONG

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
PERIOD = {"since": "2025-01-01", "until": "2025-12-31"}
JOBS = ("service-0", "squeal-1", "squeal-2", "open-1", "no-such")
Address = tuple[str, dict[str, str]]


def addresses() -> Iterator[Address]:
    """Give every page with every choice its address knows, one beside the usual at a time."""
    for way in WAYS:
        yield way.path, {}
    for tag in (*TAGS[:2], "9C3V7XKM"):
        for page in ("bike", "wear", "chains", "faults", "bench", "quote"):
            yield page, {"tag": tag}
        yield "bike", {"tag": tag, "as_at": "2025-06-21"}
    for by in BY:
        yield from (("faults", {"by": by, "measure": one}) for one in MEASURES)
        for row in (fault_address.NO_KEY, "squeal", "rear_brake.pads", "full_service", "brakes"):
            yield "faults", {"by": by, "row": row, "tag": TAGS[0]}
    for curves in RECURRENCE_BY:
        yield from (("faults", {"sure": "1", "curves": curves, "rates": one})
                    for one in fault_address.RATES)  # fmt: skip
    for by in LABOUR_BY:
        for row in ("~", "full_service", "brakes", "2025-06", "city"):
            yield "time", {"by": by, "row": row, **PERIOD}
    yield from (("time", {"job": job}) for job in JOBS)
    yield "time", {"clock": "1"}
    for row in ("~", "full_service", "quick_check"):
        yield "earnings", {"row": row, "tier": row, **PERIOD}
    yield "earnings", {"price": "full_service:5", "time": "full_service:-5", **PERIOD}
    yield "quote", {"tier": "full_service", "risk": "10", "price": "80", "sure": "1"}
    yield "quote", {"tag": TAGS[0], "position": "rear_brake.pads"}
    yield "chains", {"of": "r1"}
    yield "due", {"days": "90", "every": "1"}


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book with marked figures."""
    path = tmp_path_factory.mktemp("marked") / "book"
    marked_book(path)
    return path


@pytest.fixture
def sent(marked: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Asker, Address], str]:
    """Give all that a page sends to somebody, with every file it offers; caches are kept."""
    st.cache_data.clear()
    st.cache_resource.clear()
    monkeypatch.setenv("LOCKRING_BOOK", str(marked))
    monkeypatch.setattr("sys.argv", ["app.py"])
    files: list[str] = []
    offer = downloads.offer

    def offered(table: downloads.Table) -> None:
        files.append(downloads.csv_bytes(table).decode("utf-8"))
        offer(table)

    monkeypatch.setattr(downloads, "offer", offered)

    def run(asker: Asker, address: Address) -> str:
        page, asked = address
        monkeypatch.setattr(gate, "asker", lambda: asker)
        files.clear()
        app = AppTest.from_file(str(APP), default_timeout=120)
        for name, value in asked.items():
            app.query_params[name] = value
        if page:
            app._page_hash = calc_hash(page)
        app.run()
        assert not app.exception, (address, app.exception)
        told = "\n".join(chain(_protos(app._tree), files, map(str, chart_data(app))))
        assert BROKEN not in told, address
        # names that the server makes by chance of a page's elements could hold any figure
        return re.sub(r"<style>.*?</style>|\$\$ID-[0-9a-f]+", "", told, flags=re.DOTALL)

    return run


def _protos(node: object) -> Iterator[str]:
    proto = getattr(node, "proto", None)
    if proto is not None:
        body = getattr(proto, "body", None)
        yield body if isinstance(body, str) else str(proto)
    for child in getattr(node, "children", {}).values():
        yield from _protos(child)


def marks_in(told: str) -> set[str]:
    """Give the owner's own figures in what was sent."""
    return {one for one in MARKS if re.search(rf"(?<![\w.,#-]){re.escape(one)}(?![\d-])", told)}


def test_the_owner_is_shown_the_marked_figures(sent: Callable[[Asker, Address], str]) -> None:
    """So that the marks are such as would be found in a page that gave them away."""
    asker = AS_ROLE["owner"]
    found = set[str]()
    for address in (("time", {"job": "squeal-1"}), ("earnings", PERIOD), ("faults", {}),
                    ("faults", {"tag": TAGS[0]}), ("bike", {"tag": TAGS[0]})):  # fmt: skip
        found |= marks_in(sent(asker, address))
    assert {"443", "449", "987.65"} <= found


@pytest.mark.slow
def test_no_page_and_no_file_gives_the_owners_figures_to_another(
    sent: Callable[[Asker, Address], str],
) -> None:
    """The owner looks at each address first on the same server: no cache lets it through either.

    Every page with one choice, and a sixth of those with several; all of them by `make long`.
    Outside quotes, which are worked out of the posted rate, every sum of money shown was named to
    a keeper.
    """
    leaked = {}
    for number, address in enumerate(addresses()):
        if not IS_LONG and len(address[1]) > 1 and number % 6:
            continue
        sent(AS_ROLE["owner"], address)
        for role in ("mechanic", "desk"):
            told = sent(AS_ROLE[role], address)
            sums = set(re.findall(r"€[\d,.]*\d", told)) - QUOTED
            if found := marks_in(told) | (set() if address[0] == "quote" else sums):
                leaked[role, str(address)] = found
    assert leaked == {}


def test_two_mechanics_see_their_own_minutes_and_not_each_others(
    sent: Callable[[Asker, Address], str],
) -> None:
    """On the same page of the same server, one after the other."""
    address = ("bike", {"tag": TAGS[0]})
    bo, ada = (sent(Asker("mechanic", who), address) for who in ("bo", "ada"))
    assert {"443", "449"} <= marks_in(bo)
    assert marks_in(ada) == set()
    assert "40 minutes" in ada or "20 minutes" in ada
    assert "Labour: 20 minutes" not in bo


def test_pages_of_no_use_to_a_role_are_not_offered_and_refuse(
    sent: Callable[[Asker, Address], str],
) -> None:
    """Earnings are not among a mechanic's links; asked for all the same, they refuse."""
    home = sent(AS_ROLE["mechanic"], ("", {}))
    assert 'href="earnings"' not in home
    assert 'href="earnings"' in sent(AS_ROLE["owner"], ("", {}))
    assert "is not shown to the mechanic" in sent(AS_ROLE["mechanic"], ("earnings", PERIOD))
    assert "is not shown to the desk" in sent(AS_ROLE["desk"], ("time", {}))

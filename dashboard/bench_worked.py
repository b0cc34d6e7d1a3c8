"""What the bench page works out beside the bench itself, remembered where that is dear."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import UTC, datetime

import streamlit as st

from ledger.bench.reading import came_back
from ledger.bench.shapes import Bench
from ledger.book import Book
from ledger.events.types import TAG_ALPHABET
from ledger.figures.terms_in_force import day_number, terms_of
from ledger.riders import Rider

CODES = "bench_codes"


def code_for(event_id: str, make: Callable[[], str]) -> str:
    """Give the code that goes with an event's id: the same each time its press is sent."""
    codes: dict[str, str] = st.session_state.setdefault(CODES, {})
    return codes.setdefault(event_id, make())


def came_back_lines(book: Book, bench: Bench) -> list[str]:
    """Give what came back before this job was opened, in words; nothing where nothing did."""
    found = came_back(book, bench)
    return [] if found is None else list(found.lines)


# -- people ------------------------------------------------------------------------------------


def people(book: Book, letters: str) -> list[Rider]:
    """Give the riders whose id, name, phone or email has these letters."""
    wanted = letters.casefold()
    return [
        row
        for row in book.riders.all()
        if any(
            wanted in (said or "").casefold()
            for said in (row.rider, row.name, row.phone, row.email)
        )
    ]


def entered(book: Book, name: str) -> str:
    """Enter somebody in the register and give their id: nothing in it says who it is."""
    rider = "r-" + "".join(secrets.choice(TAG_ALPHABET) for _ in range(8)).lower()
    book.riders.add([Rider(rider, name=name)])
    return rider


# -- prices ------------------------------------------------------------------------------------


def today_number(book: Book) -> int:
    """Give today as the terms count days."""
    return day_number(book.settings.local(datetime.now(UTC)).date())


def usual_tax(book: Book) -> str:
    """Give the rate of tax in force as a fraction; empty where the terms name none."""
    told: str | None = terms_of(book).last_told(lambda terms: terms.tax_rate, today_number(book))
    return told or ""


def tier_line(book: Book, tier: str) -> dict[str, object] | None:
    """Give the line of a tier at its price and minutes in force; None where it has no price."""
    found = terms_of(book).tier_on(tier, today_number(book))
    if found is None or found.price_minor is None:
        return None
    line: dict[str, object] = {"line_type": "labour", "code": tier, "net_minor": found.price_minor}
    return line if found.minutes is None else {**line, "minutes": found.minutes}

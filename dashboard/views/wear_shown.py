"""What the views of the wear page share: the book's wear as at a day, and where links lead."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from dashboard import markup, worked_out
from dashboard import wear_panels as show
from dashboard import wear_words as say
from dashboard.markup import capital
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.wear import BookWear


@dataclass(frozen=True)
class Shown:
    """One book's wear as at a day, and what the page needs beside it."""

    book: Book
    wear: BookWear
    words: Words
    day: date
    as_at: str
    """The day as the address has it; empty for today."""
    families: Mapping[str, str]

    def drawn(self, key: str, build: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """Give a chart of this page, built once."""
        return worked_out.drawn(self.book, self.day, f"wear {key}", build)

    def where(self, **asked: str) -> str:
        """Give the address of this page, as at the same day."""
        return show.address(self.as_at, **asked)


def bike_address(shown: Shown, tag: str) -> str:
    """Give the address of a bike's page, as at the same day."""
    return f"bike?tag={tag}" + (f"&as_at={shown.as_at}" if shown.as_at else "")


def unknown(shown: Shown, title: str, hint: str) -> None:
    """Draw that nothing goes by what was asked for, and what there is to choose from."""
    st.html(show.path(("All wear", shown.where())) + markup.blank(title, hint))
    names = list(dict.fromkeys(shown.families.values()))
    links = [(capital(say.family_name(n, shown.words)), shown.where(family=n)) for n in names]
    st.html(show.choices(links, "Sorts of part"))


def as_at_line(shown: Shown) -> str:
    """Give the day the page is as at; nothing for today."""
    return show.as_at_note(shown.day if shown.as_at else None, shown.words)

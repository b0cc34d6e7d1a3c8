"""What a person asks for, made exact: tags, dates, systems and words. Pure functions."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime
from difflib import get_close_matches

from dashboard.entries import Entry
from ledger.events.types import TAG_ALPHABET

TAG_LENGTH = 8
EARLIEST = date(1900, 1, 1)
"""No book goes further back, and the first days of all have no instant in every time zone."""
LONGEST_NUMBER = 9
"""Figures a number in an address has at most."""
NEAR = 0.7
"""How alike two tags are that read nearly the same: six signs of eight, in order."""


def fold_tag(typed: str) -> str:
    """Give a tag as the book writes it: capitals, I and L as 1, O as 0, no dashes or spaces."""
    plain = "".join(typed.split()).replace("-", "").upper()
    return plain.translate(str.maketrans("ILO", "110"))


def is_tag(typed: str) -> bool:
    """Say whether what was typed can be a whole tag."""
    folded = fold_tag(typed)
    return len(folded) == TAG_LENGTH and all(sign in TAG_ALPHABET for sign in folded)


def nearest_tags(typed: str, tags: Sequence[str], limit: int = 5) -> list[str]:
    """Give the known tags that read most like the one typed, best first."""
    return get_close_matches(fold_tag(typed), tags, n=limit, cutoff=NEAR)


def asked_day(text: str | None) -> date | None:
    """Give the day an address asks for, 1900 at the earliest; None where none such exists."""
    try:
        return max(date.fromisoformat((text or "")[:10]), EARLIEST)
    except ValueError:
        return None


def asked_number(text: str | None, usual: int, most: int) -> int:
    """Give the whole number an address asks for, at most `most`; `usual` where it is none."""
    if not text or not text.isdecimal():
        return usual
    return min(int(text), most) if len(text) <= LONGEST_NUMBER else most


def within(day: date, first: date, last: date) -> date:
    """Give the day, or the nearer end where it lies outside the first and the last."""
    return min(max(day, first), last)


def has_words(searchable: str, words: str) -> bool:
    """Say whether every word asked for stands in a casefolded text, in any order."""
    return all(word in searchable for word in words.casefold().split())


def narrowed(entries: Sequence[Entry], systems: Collection[str], words: str) -> list[Entry]:
    """Give the entries of any of the systems (all, where none is named) that have the words."""
    return [
        entry
        for entry in entries
        if (not systems or entry.system in systems) and has_words(entry.searchable, words)
    ]


def systems_in(entries: Sequence[Entry]) -> list[str]:
    """Give the systems the entries touch, in the order they first appear."""
    return list(dict.fromkeys(entry.system for entry in entries if entry.system))


def neighbour_days(days: Sequence[date], day: date) -> tuple[date | None, date | None]:
    """Give the last day with an event before a day, and the first after it."""
    before = [other for other in days if other < day]
    after = [other for other in days if other > day]
    return (max(before) if before else None, min(after) if after else None)


def around(entries: Sequence[Entry], as_at: datetime, most: int) -> Sequence[Entry]:
    """Give at most so many entries, a third of them later than an instant where there are such.

    Entries come oldest first.
    """
    if len(entries) <= most:
        return entries
    earlier = sum(1 for entry in entries if entry.occurred_at <= as_at)
    end = min(len(entries), max(earlier + most // 3, most))
    return entries[end - most : end]

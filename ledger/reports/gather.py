"""One visit of one bike, gathered for its rider."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from ledger.asking import Asker
from ledger.book import Book
from ledger.errors import LedgerError
from ledger.figures.wear import BookWear
from ledger.figures.written import made
from ledger.proofs import signed_root
from ledger.queries import TimelineEntry, bike_view, timeline
from ledger.reports import talk, work
from ledger.reports.due import due_next, unread, wear_of_bike
from ledger.reports.shapes import ReceiptOfBook, Report
from ledger.reports.words import PageWords, capital
from ledger.signing import NoKey, SignedRoot
from ledger.view import BikeView
from ledger.vocabulary.caution import CAUTION

READS_AS = Asker("desk")
"""What reads the book for a rider is told no cost and nobody's minutes, so it can print none."""
NAMED = 5
"""Jobs named in the answer to one that is not there."""


class NoSuchJob(LedgerError):
    """The bike has no visit to report of, or not the one asked for."""


@dataclass(frozen=True)
class _Visit:
    """What a page is made of."""

    book: Book
    tag: str
    job: str
    now: datetime
    life: list[TimelineEntry]
    """All that is known of the bike, nothing struck."""
    entries: list[TimelineEntry]
    """What was recorded in the visit."""
    ended_at: datetime
    view: BikeView
    """The bike at the end of the visit."""
    is_theirs: bool
    """Whoever rides the bike now, and so is handed the page, had it then."""
    words: PageWords

    @classmethod
    def of(cls, book: Book, tag: str, wanted: str | None, now: datetime) -> _Visit:
        life = timeline(book, tag, as_at=now, include_struck=False, asker=READS_AS)
        job = _job(tag, life, wanted)
        entries = [entry for entry in life if entry.job == job]
        ended_at = max(entry.occurred_at for entry in entries)
        then, today = (_people(life, at)["rider"] for at in (ended_at, now))
        is_theirs = then in (None, today)
        words = PageWords(book.settings, book.vocabulary, is_withheld=not is_theirs)
        view = bike_view(book, tag, ended_at)
        return cls(book, tag, job, now, life, entries, ended_at, view, is_theirs, words)

    @property
    def until_then(self) -> list[TimelineEntry]:
        """The bike's life up to the end of the visit."""
        return [entry for entry in self.life if entry.occurred_at <= self.ended_at]


def report_of(
    book: Book,
    tag: str,
    job: str | None = None,
    now: datetime | None = None,
    *,
    wear: BookWear | None = None,
) -> Report:
    """Give the rider's page of a bike's newest visit, open or closed, or of the one named.

    As at `now` (UTC; the present instant for None); `wear` is how the book wears as at the same,
    where it was worked out before. Raises UnknownBike and NoSuchJob.
    """
    visit = _Visit.of(book, tag, job, now or datetime.now(UTC))
    return Report(**_head(visit), **_work(visit), **_talk(visit), **_next(visit, wear))


def _head(visit: _Visit) -> dict[str, Any]:
    words, entries = visit.words, visit.entries
    opened = next(entry for entry in entries if entry.kind == "job_opened")
    is_open = not any(entry.kind == "job_closed" for entry in entries)
    rider = _people(visit.life, visit.now)["rider"]
    return {
        "shop": visit.book.settings.name,
        "bike": visit.tag,
        "name": _name(visit.life),
        "rider": _registered(visit.book, rider) if visit.is_theirs else None,
        "job": visit.job,
        "tier": capital(words.label("tiers", opened.data.get("tier"))),
        "is_open": is_open,
        "days": _days(opened.occurred_at, visit.ended_at, is_open, words),
        "distance": _distance(visit.view, words),
        "made_at": visit.now,
        "made_on": words.day(visit.now),
        "territory": words.territory,
        "asked": _asked(opened, words),
    }


def _work(visit: _Visit) -> dict[str, Any]:
    words, entries = visit.words, visit.entries
    return {
        "left_open": _left_open(visit.view, words),
        "found": work.found(entries, visit.view, words),
        "not_looked_at": work.not_looked_at(entries, visit.life, words),
        "measured": work.measured(entries, words),
        "moved": work.moved(entries, words),
        "set": work.settings(entries, visit.until_then, words),
        "treated": work.treated(entries, words),
    }


def _talk(visit: _Visit) -> dict[str, Any]:
    words, entries = visit.words, visit.entries
    payers = {name for name in _people(visit.life, visit.ended_at).values() if name}
    return {
        "advice": talk.advice(entries, visit.life, words),
        "handed_back": talk.handed_back(entries, words),
        "not_torqued": talk.not_torqued(entries, words),
        "unbilled": talk.unbilled(entries, words),
        "price": talk.price(entries, payers, words) if visit.is_theirs else "",
    }


def _next(visit: _Visit, wear: BookWear | None) -> dict[str, Any]:
    worn = wear_of_bike(visit.book, visit.tag, visit.now, wear)
    receipt = _receipt(visit)
    return {
        "due": due_next(worn, visit.words, visit.view.readings),
        "unread": unread(worn, visit.words),
        "caution": CAUTION,
        "size": visit.words.number(Decimal(receipt.size)),
        "receipt": receipt,
    }


def _job(tag: str, life: Iterable[TimelineEntry], wanted: str | None) -> str:
    """Give the job asked for, else the one opened last; raises NoSuchJob."""
    jobs = [str(entry.job) for entry in life if entry.kind == "job_opened"]
    if not jobs:
        raise NoSuchJob(f"Bike {tag} has not been booked in yet, so there is nothing to report.")
    if wanted is None:
        return jobs[-1]
    if wanted not in jobs:
        newest = ", ".join(reversed(jobs[-NAMED:]))
        raise NoSuchJob(f"Bike {tag} has no job {wanted!r}. Its newest are {newest}.")
    return wanted


def _people(life: Iterable[TimelineEntry], at: datetime) -> dict[str, str | None]:
    """Give who rode, kept and paid for the bike at an instant."""
    changes = [e.data for e in life if e.kind == "rider_changed" and e.occurred_at <= at]
    last = changes[-1] if changes else {}
    return {name: last.get(name) for name in ("rider", "keeper", "payer")}


def _registered(book: Book, rider: str | None) -> str | None:
    row = book.riders.get(rider) if rider else None
    return row.name if row else None


def _name(life: Iterable[TimelineEntry]) -> str:
    said = next((entry.data for entry in life if entry.kind == "bike_registered"), {})
    return made(said.get("make"), said.get("model")) or "Bike, make not known"


def _days(opened: datetime, ended: datetime, is_open: bool, words: PageWords) -> str:
    first, last = words.day(opened), words.day(ended)
    if is_open:
        return f"{first}, still open"
    return first if first == last else f"{first} to {last}"


def _distance(view: BikeView, words: PageWords) -> str:
    known = view.distance_km
    if known is None:
        return "no distance known"
    return words.figure(known.quantize(Decimal(1)), "km")


def _asked(opened: TimelineEntry, words: PageWords) -> tuple[str, ...]:
    data = opened.data
    complaint, came = words.text(data, "complaint"), words.text(data, "came_with")
    back = data.get("come_back_of")
    said = (
        complaint,
        f"came with: {came}" if came else "",
        f"this visit answers for earlier work, job {back}" if back else "",
    )
    return tuple(capital(each) for each in said if each)


def _left_open(view: BikeView, words: PageWords) -> tuple[str, ...]:
    """Give all that stands at the end as due or unsafe, the gravest first."""
    rows = [
        (fault.verdict or "", words.label("positions", fault.position) + ", "
         + words.fault({"fault": fault.fault, "cause": fault.cause}))
        for fault in view.faults_open
    ]  # fmt: skip
    for found in view.findings_open:
        rows.append((found.verdict, f"{words.label('positions', found.position)}, nothing named"))
    for read in view.readings:
        named = {"position": read.position, "point": read.point, "quantity": read.quantity}
        rows.append((read.verdict or "", words.what(named)))
    grave = [(verdict, what) for verdict, what in rows if verdict in ("unsafe", "due")]
    grave.sort(key=lambda row: work.gravity(row[0]))
    return tuple(f"{what}: {verdict}" for verdict, what in grave)


def _receipt(visit: _Visit) -> ReceiptOfBook:
    head = visit.book.head
    assert head.recorded_at is not None  # a book that holds a job holds a commit
    receipt = ReceiptOfBook(
        shop=visit.book.settings.shop,
        bike=visit.tag,
        job=visit.job,
        size=head.size,
        root=head.root,
        recorded_at=head.recorded_at,
        seq=max(entry.seq for entry in visit.entries),
    )
    signed = _signed(visit.book)
    if signed is None:
        return receipt
    return replace(
        receipt,
        size=signed.size,
        root=signed.root,
        recorded_at=signed.recorded_at,
        signature=signed.signature,
    )


def _signed(book: Book) -> SignedRoot | None:
    """Sign the book's root and note it; None where the book's folder can only be read."""
    try:
        return signed_root(book)
    except (OSError, NoKey):
        return None

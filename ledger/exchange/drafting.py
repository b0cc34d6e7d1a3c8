"""One row of a log made into drafts: its own events, and what the bike's history lacks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ledger.events.types import TAG_ALPHABET, format_moment
from ledger.exchange.bikes_seen import BikeSeen, BikesSeen, registration_digest
from ledger.exchange.fields import Cells, Reason, RowWrong
from ledger.exchange.ids import uuid7, within_row
from ledger.exchange.rows import Payload, RowReader

if TYPE_CHECKING:
    from ledger.book import Book

Draft = dict[str, Any]
_TAG = re.compile(rf"[{TAG_ALPHABET}]{{8}}")
_REF = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,63}")


@dataclass(frozen=True, slots=True)
class LogRow:
    """One row whose time could be read."""

    number: int
    cells: Cells
    nominal: datetime
    """Its instant, UTC, as its ids have it."""
    is_day: bool
    digest: bytes
    repeat: int
    """How many identical rows came before it."""

    @property
    def id(self) -> str:
        """The id of its first event, which tells whether the row is in the book."""
        return self.event_id(0)

    def event_id(self, index: int | str) -> str:
        """Give the id of one of its events."""
        return uuid7(self.nominal, within_row(self.digest, self.repeat, f"event {index}"))

    def made_up(self, name: str) -> str:
        """Give an id for a thing the row gives rise to."""
        return within_row(self.digest, self.repeat, name).hex()[:16]


class Drafter:
    """Makes a row's drafts: its own events, and those that the bike's history lacks."""

    def __init__(self, book: Book, reader: RowReader, bikes: BikesSeen) -> None:
        self._shop = book.settings.shop
        self._reader = reader
        self._bikes = bikes

    def drafts(self, row: LogRow) -> list[Draft]:
        """Give the drafts of one row, in order; raises RowWrong."""
        occurred = self._reader.not_ahead(row.nominal) if row.is_day else row.nominal
        payloads = self._reader.payloads(row.cells)
        tag, key = self._tag(row)
        common = {
            "shop": self._shop,
            "bike": tag,
            "actor": self._reader.actor(row.cells),
            "occurred_at": format_moment(occurred),
        }
        bike = self._bikes.bike(tag, occurred)
        found = list(self._registration(row, key, bike, common))
        if self._reader.is_of_a_job(payloads):
            common["job"] = self._job(row)
            payloads = _opened_once(payloads, common["job"], bike, found, row, common)
        for index, (kind, data) in enumerate(payloads):
            draft = {**common, "kind": kind, "id": row.event_id(index), "data": data}
            found.extend(_with_parts(row, index, draft, bike))
        return found

    def _registration(
        self, row: LogRow, key: str, bike: BikeSeen, common: Draft
    ) -> Iterator[Draft]:
        if bike.is_registered:
            return
        data = self._reader.bike_fields(row.cells)
        bike.is_registered = True
        identity = uuid7(row.nominal, registration_digest(self._shop, key))
        yield {**common, "kind": "bike_registered", "id": identity, "data": data}

    def _tag(self, row: LogRow) -> tuple[str, str]:
        """Give the row's tag, and the key that its registration is made from."""
        written = self._reader.tag(row.cells)
        if written is None:
            key = self._reader.key(row.cells)
            return self._bikes.tag_for(key), key
        tag = written.upper().replace("-", "").translate(str.maketrans("ILO", "110"))
        if not _TAG.fullmatch(tag):
            column = self._reader.tag_column
            wrong = f"'{written[:40]}' is not a bike tag"
            right = "Write 8 of 0-9 and A-Z without I, L, O and U, or tell bikes by a key"
            raise RowWrong(Reason(column, wrong, right))
        return tag, f"tag {tag}"

    def _job(self, row: LogRow) -> str:
        number = self._reader.job_number(row.cells)
        if number is None:
            return f"j-{row.made_up('job')}"
        if not _REF.fullmatch(number):
            right = "Write letters, digits and . _ : - (at most 64)"
            raise RowWrong(Reason("job", f"'{number[:40]}' cannot be a job's number", right))
        return number


def _opened_once(
    payloads: list[Payload],
    job: str,
    bike: BikeSeen,
    found: list[Draft],
    row: LogRow,
    common: Draft,
) -> list[Payload]:
    """Give the payloads without opening a job that is open, after opening one that is not."""
    kinds = [kind for kind, _ in payloads]
    if job in bike.jobs:
        others = [payload for payload in payloads if payload[0] != "job_opened"]
        return others or payloads
    bike.jobs |= {job}
    if "job_opened" not in kinds:
        found.append({**common, "kind": "job_opened", "id": row.event_id("job"), "data": {}})
    return payloads


def _with_parts(row: LogRow, index: int, draft: Draft, bike: BikeSeen) -> Iterator[Draft]:
    """Give a draft with the parts it means named, after a part nobody saw fitted, if any."""
    kind, data = draft["kind"], draft["data"]
    position = data.get("position")
    there = bike.fitted.get(position)
    if kind == "part_fitted":
        part = data.setdefault("part", f"p-{row.made_up(f'part {index}')}")
        if there is not None and there != part and not data.get("is_found"):
            data.setdefault("replaces", there)
        bike.now_fitted(position, part)
    elif there is None and position is not None and _names_a_part(kind, data):
        part = data.setdefault("part", f"p-{row.made_up(f'found {index}')}")
        bike.now_fitted(position, part)
        yield _found(row, index, draft, {"position": position, "part": part, "is_found": True})
    if kind == "part_removed" and position is not None:
        data.setdefault("part", there or bike.fitted[position])
        bike.now_fitted(position, None)
    yield draft


def _names_a_part(kind: str, data: Draft) -> bool:
    return kind == "part_removed" or (kind == "measured" and "part" in data)


def _found(row: LogRow, index: int, draft: Draft, data: Draft) -> Draft:
    found = {**draft, "kind": "part_fitted", "id": row.event_id(f"found {index}")}
    return {**found, "data": {**data, "origin": "unknown"}}

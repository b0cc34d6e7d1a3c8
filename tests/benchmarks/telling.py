"""One book's events told again of other bikes: names and ids patched in place, nothing parsed.

A telling has a `number` in its book, which its jobs and riders are named by, and a `shift`, one
for every telling of all books written together, which its tags and ids follow from.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.events.types import TAG_ALPHABET, format_moment
from ledger.storage.schema import EVENT_SCHEMA, ID, MOMENT
from ledger.storage.segment import in_full, read_file
from ledger.vocabulary import standard

MOST_TELLINGS = 1 << 15
"""A tag's first three signs count so far."""
MOST_IN_BOOK = 10_000
_TOLD_ONCE = ("mechanic_registered", "gauge_registered", "terms_set")
_NAMED = (
    *("bike", "job", "rider", "part", "replaces", "quote", "replaces_quote"),
    *("keeper", "payer", "come_back_of"),
)
_NAMED_IN_LINES = ("line_id", "payer", "quote_line")
_IDS = ("id", "target_id", "restores_id")
_NARROW = re.compile(rb'(?<=")(?:j0(?=-\d)|[rf](?=\d{6}"))')
_PLACES = re.compile(
    rb'(?<=")(?:(?P<tag>[0-9A-HJKMNP-TV-Z]{8})(?="|-\d+")|[jrf](?P<number>0000)(?=-\d|\d{6}")'
    rb"|[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{8}(?P<last>[0-9a-f]{4})"
    rb'(?="))'
)
_STAMP, _SEQ = b'"recorded_at":"', b'"seq":'
_STAMP_LENGTH = len("2023-10-01T08:00:23.314144Z")
_SIGNS = np.frombuffer(TAG_ALPHABET.encode(), np.uint8)
_HEX = np.frombuffer(b"0123456789abcdef", np.uint8)
_Places = npt.NDArray[np.int64]
_Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Telling:
    """Which telling is meant, and from where on its events and commits are counted."""

    shop: str
    number: int
    shift: int
    first_seq: int
    first_commit: int


@dataclass(frozen=True)
class _Text:
    """Texts end to end, and the places in them where names stand, each with its text's index."""

    text: _Bytes
    starts: _Places
    """Where each text starts, and where the last one ends."""
    tags: _Places
    numbers: _Places
    ids: _Places

    @classmethod
    def of(cls, texts: list[bytes], quote: bytes = b"") -> _Text:
        """Take texts, `quote` put around each for the look alone."""
        ends = len(quote)
        starts = np.cumsum([0, *map(len, texts)])
        joined = (quote + quote).join(texts) if quote else b"".join(texts)
        found: dict[str, list[int]] = {"tag": [], "number": [], "last": []}
        for match in _PLACES.finditer(quote + joined + quote):
            name = match.lastgroup or ""
            found[name].append(match.start(name))
        places = []
        for some in found.values():
            at = np.array(some, np.int64)
            line = np.searchsorted(starts[:-1] + 2 * ends * np.arange(len(texts)), at, "right") - 1
            places.append(at - ends * (2 * line + 1))
        return cls(np.frombuffer(b"".join(texts), np.uint8), starts, *places)

    def line_of(self, places: _Places) -> _Places:
        """Give the index of the text that each place is in."""
        return np.searchsorted(self.starts, places, side="right") - 1

    def widened(self, tails: list[bytes]) -> _Text:
        """Give the texts with a tail each."""
        cut = self.starts
        whole = self.text.tobytes()
        pieces = [whole[a:b] + tail for a, b, tail in zip(cut, cut[1:], tails, strict=False)]
        more = np.cumsum([0, *map(len, tails)])
        moved = (at + more[self.line_of(at)] for at in (self.tags, self.numbers, self.ids))
        return _Text(np.frombuffer(b"".join(pieces), np.uint8), cut + more, *moved)

    def patched(self, telling: Telling) -> _Bytes:
        """Give the texts as a telling names things."""
        text, tags, ids = self.text.copy(), self.tags, self.ids
        code = sum(_count(text[tags + sign], _SIGNS) << 10 - 5 * sign for sign in range(3))
        code = (code + telling.shift) % MOST_TELLINGS
        for sign in range(3):
            text[tags + sign] = _SIGNS[code >> 10 - 5 * sign & 31]
        last = sum(_count(text[ids + digit], _HEX) << 12 - 4 * digit for digit in range(4))
        for digit in range(4):
            text[ids + digit] = _HEX[(last ^ telling.shift) >> 12 - 4 * digit & 15]
            text[self.numbers + digit] = telling.number // 10 ** (3 - digit) % 10 + ord("0")
        return text


def _count(signs: _Bytes, alphabet: _Bytes) -> _Places:
    """Give what each sign counts in its alphabet, which is in the order of its bytes."""
    return np.searchsorted(alphabet, signs)


class Told:
    """A book's events as they are told again: all of them, or without what is told once."""

    def __init__(self, table: pa.Table, *, is_first: bool) -> None:
        """Take events in seq order, of the shop's first telling or of a later one."""
        if not is_first:
            table = table.filter(pc.invert(pc.is_in(table["kind"], pa.array(_TOLD_ONCE))))
        self._is_first = is_first
        self._last_at: datetime = table["recorded_at"][-1].as_py()
        lines = [self._wide(one) for one in table["canonical"].to_pylist()]
        heads = [one[: one.rindex(_SEQ) + len(_SEQ)] for one in lines]
        self._heads = _Text.of(heads)
        self._stamps = np.array([one.rindex(_STAMP) + len(_STAMP) for one in heads])
        self._widened: dict[tuple[str, int], _Text] = {}
        own = table["commit"].to_numpy()
        self._commits = np.cumsum(np.diff(own, prepend=own[0]) != 0)
        self.ends = [*(np.flatnonzero(np.diff(own)) + 1).tolist(), len(own)]
        """How many of its events there are after each of its commits."""
        self._columns = {name: self._column(table[name].combine_chunks()) for name in _NAMED}
        self._lines = table["lines"].combine_chunks()
        self._in_lines = {n: self._column(self._lines.values.field(n)) for n in _NAMED_IN_LINES}
        self._table = table.drop_columns("canonical").combine_chunks()

    def __len__(self) -> int:
        return len(self._table)

    def _wide(self, text: bytes) -> bytes:
        """Give a text whose jobs and riders have room for the telling's number."""
        return text if self._is_first else _NARROW.sub(lambda found: found[0][:1] + b"0000", text)

    def _column(self, column: pa.Array) -> tuple[_Text, pa.Array]:
        """Give a column's own words once each, and which of them stands in each row."""
        encoded = column.dictionary_encode()
        words = [b'"%b"' % word.encode() for word in encoded.dictionary.to_pylist()]
        return _Text.of([self._wide(word)[1:-1] for word in words], b'"'), encoded.indices

    def recorded_at(self, telling: Telling) -> pa.Array:
        """Give when each event of a telling was recorded; later ones, all at one instant."""
        if self._is_first:
            return self._table["recorded_at"].combine_chunks()
        moment = self._last_at + timedelta(seconds=telling.number)
        return pa.repeat(pa.scalar(moment, MOMENT), len(self))

    def texts(self, telling: Telling) -> pa.Array:
        """Give the canonical bytes of a telling's events."""
        last = telling.first_seq + len(self) - 1
        pieces = []
        for width in range(len(str(telling.first_seq)), len(str(last)) + 1):
            start = max(10 ** (width - 1) - telling.first_seq, 0)
            end = min(10**width - telling.first_seq, len(self))
            pieces.append(self._in_width(telling, width).slice(start, end - start))
        return pa.concat_arrays(pieces)

    def _in_width(self, telling: Telling, width: int) -> pa.Array:
        """Give the texts where every seq has so many digits; of others, the last of them."""
        key = (telling.shop, width)
        if key not in self._widened:
            self._widened = {key: self._heads.widened([_tail(*key)] * len(self))}
        widened = self._widened[key]
        text, starts = widened.patched(telling), widened.starts
        if not self._is_first:
            stamp = format_moment(self._last_at + timedelta(seconds=telling.number)).encode()
            assert len(stamp) == _STAMP_LENGTH
            places = (starts[:-1] + self._stamps)[:, None] + np.arange(_STAMP_LENGTH)
            text[places] = np.frombuffer(stamp, np.uint8)
        seqs = telling.first_seq + np.arange(len(self))
        ends = starts[1:] - len(_tail(*key)) + width
        for digit in range(width):
            text[ends - 1 - digit] = seqs // 10**digit % 10 + ord("0")
        return _array(pa.binary(), text, starts)

    def table(self, telling: Telling, texts: pa.Array) -> pa.Table:
        """Give a telling's events as columns of EVENT_SCHEMA, in seq order."""
        seqs = telling.first_seq + np.arange(len(self))
        changed = {
            **{name: _renamed(*self._columns[name], telling) for name in _NAMED},
            **{name: _other_ids(self._table[name], telling.shift) for name in _IDS},
            "canonical": texts,
            "seq": pa.array(seqs),
            "commit": pa.array(telling.first_commit + self._commits),
            "shop": pa.repeat(pa.scalar(telling.shop), len(self)),
            "recorded_at": self.recorded_at(telling),
            "lines": self._other_lines(telling),
        }
        kept = [changed[n] if n in changed else self._table[n] for n in EVENT_SCHEMA.names]
        return pa.table(kept, schema=EVENT_SCHEMA)

    def _other_lines(self, telling: Telling) -> pa.Array:
        lines, inner = self._lines, self._lines.values
        columns = {field.name: inner.field(field.name) for field in inner.type}
        for name in _NAMED_IN_LINES:
            columns[name] = _renamed(*self._in_lines[name], telling)
        values = pa.StructArray.from_arrays(
            list(columns.values()), fields=list(inner.type), mask=inner.is_null()
        )
        return pa.ListArray.from_arrays(
            lines.offsets, values, type=EVENT_SCHEMA.field("lines").type, mask=lines.is_null()
        )


def other_tag(tag: str, shift: int) -> str:
    """Give what a bike's tag is in a telling of this shift."""
    text = _Text.of([tag.encode()], b'"')
    return text.patched(Telling("", 0, shift, 1, 1)).tobytes().decode()


def _tail(shop: str, width: int) -> bytes:
    return b'%b,"shop":"%b"}' % (b"0" * width, shop.encode())


def _array(kind: pa.DataType, text: _Bytes, starts: _Places) -> pa.Array:
    offsets = pa.py_buffer(starts.astype(np.int32))
    return pa.Array.from_buffers(kind, len(starts) - 1, [None, offsets, pa.py_buffer(text)])


def _renamed(words: _Text, indices: pa.Array, telling: Telling) -> pa.Array:
    return _array(pa.string(), words.patched(telling), words.starts).take(indices)


def _other_ids(column: pa.ChunkedArray, shift: int) -> pa.Array:
    """Give ids with their last two bytes changed; one shift's changes undo themselves."""
    known = column.combine_chunks()
    raw = np.frombuffer(b"".join(known.drop_null().to_pylist()), np.uint8).reshape(-1, 16).copy()
    raw[:, 14] ^= shift >> 8
    raw[:, 15] ^= shift & 0xFF
    ids = pa.FixedSizeBinaryArray.from_buffers(ID, len(raw), [None, pa.py_buffer(raw)])
    place = pc.subtract(pc.cumulative_sum(known.is_valid().cast(pa.int64())), 1)
    return ids.take(pc.if_else(known.is_valid(), place, None))


def tellings_of(book: Book) -> tuple[Told, Told]:
    """Give a book as first told, and as told again; its jobs and riders named as the demo's."""
    tags = book.bikes()
    assert len({tag[3:] for tag in tags}) == len(tags), "two tags differ in their start alone"
    units = {code: word.unit for code, word in standard().quantities.items()}
    files = (read_file(path.read_bytes(), path.name, is_in_full=True) for path in book.files())
    table = (
        pa.concat_tables([in_full(table, units) for _, table in files])
        .sort_by("seq")
        .combine_chunks()
    )
    return Told(table, is_first=True), Told(table, is_first=False)


def numbered(told: tuple[Told, Told], shop: str, events: int, shift: int) -> Iterator[Telling]:
    """Give the tellings of a book of at least at least so many events."""
    number = seq = commit = 0
    while seq < events:
        one = told[min(number, 1)]
        yield Telling(shop, number, shift + number, seq + 1, commit + 1)
        number, seq, commit = number + 1, seq + len(one), commit + len(one.ends)

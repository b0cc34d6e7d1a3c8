"""What is kept of a book for its home page: every bike in a line, what waits, who worked."""

from __future__ import annotations

import json
from functools import partial

import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.kept import Keep, Read, as_it_is, kept, words_known
from ledger.queries import asked_of, whole_table
from ledger.vocabulary import standard

_CODE = ("ledger.figures.home_keeps", "ledger.kept.keep", "ledger.kept.reading")
UNANSWERED = (None, "no reply")
"""Answers that are none: somebody still has to ask."""
WAITING = pa.schema(
    {
        "bike": pa.string(),
        "sort": pa.string(),
        "job": pa.string(),
        "position": pa.string(),
        "what": pa.string(),
        "answer": pa.string(),
        "since": pa.timestamp("us", tz="UTC"),
    }
)
"""One thing that waits on one bike. sort is `quote`, `advice` or `unsafe`; what is the quote's
id, the urgency of advice, the fault, or the quantity that was read; null where it has none."""

BIKES = Keep("bike_summary", ("bike_summary",), partial(as_it_is, "bike_summary"), _CODE)
"""Every bike in a line: what it is, whose, and when it was seen last."""


def _own_work(read: Read) -> pa.Table:
    names = ["bike", "job", "actor", "minutes", "occurred_at"]
    return read("labour_spells").select(names)


OWN_WORK = Keep("own_work", ("labour_spells",), _own_work, _CODE)
"""One stretch of labour a row: whose it was, on what job, and when."""


def waiting_keep(book: Book) -> Keep:
    """Give what is kept of all that waits; positions that terms added are in its fingerprint."""
    words = words_known(book, book.head.size)
    added = sorted(set(words.positions) - set(standard().positions))
    uses = ("open_jobs", "quote_lines", "open_advice", "open_faults", "open_findings",
            "last_readings")  # fmt: skip
    return Keep("waiting", uses, _waiting, _CODE, (json.dumps(added),))


def rows_now(book: Book, keep: Keep) -> pa.Table:
    """Give a kept table as at now: as it is kept, or worked out where it is not."""
    asked = asked_of(book, None, None)
    found = kept(book, keep, asked)
    if found is not None:
        return found
    whole = partial(whole_table, book, as_at=asked.as_at, known_seq=asked.known_seq)
    return keep.make(Read(whole, is_whole=True))


def _waiting(read: Read) -> pa.Table:
    parts = [
        _quotes(read("quote_lines"), read("open_jobs")),
        _advice(read("open_advice")),
        _faults(read("open_faults")),
        _findings(read("open_findings")),
        _readings(read("last_readings")),
    ]
    return pa.concat_tables(parts).combine_chunks()


def _is_unanswered(answers: pa.ChunkedArray) -> pa.ChunkedArray:
    told = [one for one in UNANSWERED if one]
    return pc.or_(pc.is_null(answers), pc.is_in(answers, pa.array(told)))


def _quotes(lines: pa.Table, jobs: pa.Table) -> pa.Table:
    """Give the standing quotes of open jobs with a line that nobody answered."""
    lines = lines.filter(pc.and_(lines["is_standing"], _is_unanswered(lines["answer"])))
    lines = lines.join(jobs.select(["bike", "job"]), ["bike", "job"], join_type="inner")
    grouped = lines.group_by(["bike", "job", "quote"]).aggregate([("occurred_at", "min")])
    return _as_waiting(grouped, "quote", job="job", what="quote", since="occurred_at_min")


def _advice(advice: pa.Table) -> pa.Table:
    """Give advice that nobody answered and that does not wait for another visit."""
    is_pressing = pc.is_in(advice["urgency"], pa.array(["now", "soon"]))
    open_now = advice.filter(pc.and_(is_pressing, _is_unanswered(advice["answer"])))
    return _as_waiting(
        open_now, "advice", position="position", what="urgency", answer="answer", since="advised_at"
    )


def _faults(faults: pa.Table) -> pa.Table:
    unsafe = faults.filter(pc.equal(faults["verdict"], "unsafe"))
    return _as_waiting(unsafe, "unsafe", position="position", what="fault", since="found_at")


def _findings(findings: pa.Table) -> pa.Table:
    unsafe = findings.filter(pc.equal(findings["verdict"], "unsafe"))
    return _as_waiting(unsafe, "unsafe", position="position", since="found_at")


def _readings(readings: pa.Table) -> pa.Table:
    unsafe = readings.filter(pc.equal(readings["verdict"], "unsafe"))
    return _as_waiting(unsafe, "unsafe", position="position", what="quantity", since="measured_at")


def _as_waiting(found: pa.Table, sort: str, **named: str) -> pa.Table:
    """Give rows as WAITING has them; a column that is not named is null."""
    columns = {"bike": found["bike"], "sort": pa.array([sort] * len(found), pa.string())}
    columns |= {ours: found[theirs] for ours, theirs in named.items()}
    empty = {one.name: pa.nulls(len(found), one.type) for one in WAITING}
    return pa.table({**empty, **columns}).cast(WAITING)

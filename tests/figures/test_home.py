"""What the home page is told, held to plain loops over a book's events."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from ledger import kept
from ledger.asking import OWNER, Asker
from ledger.book import Book
from ledger.errors import WrongUse
from ledger.events import Event
from ledger.exchange.export import export_book
from ledger.figures.home_bench import bench_today
from ledger.figures.home_bikes import bikes_like, count_bikes, first_seen_at, has_jobs
from ledger.figures.home_decisions import decisions
from ledger.figures.home_month import SEEN, month_jobs, month_of, month_span, span_to
from ledger.figures.home_shapes import MonthSpan, Name
from ledger.queries import bikes, shop_summary
from ledger.state import fold, live
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.independent.job_books import SHOP, WHO, book_events
from tests.independent.labour_of_export import Job, Jobs
from tests.long import times
from tests.strategies import BIKES, WORDS, Life, lives

LATE = datetime(2027, 6, 1, 12, tzinfo=UTC)
FEW_AND_SLOW = settings(
    max_examples=times(20, usual=8), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
MIA, DESK = Asker("mechanic", "mia"), Asker("desk")


def book_of(folder: Path, *commits: list[Event], shop: str = SHOP) -> Book:
    """Put stored events into a real book."""
    book = Book.init(folder / "book", shop=shop, time_zone="Europe/Amsterdam")
    for events in commits:
        Log(LocalStore(book.path / "events")).commit(lambda head, new=events: new)
    return Book.open(book.path)


def known_as(one: Any) -> tuple[Any, ...]:
    """Give what tells one thing that waits from another."""
    return (one.sort, one.bike, one.job, one.position, one.what, one.since)


# -- what waits, recounted --------------------------------------------------------------------


def quotes_waiting(bike: str, events: list[Event]) -> Iterator[tuple[Any, ...]]:
    """Give the quotes without an answer from a bike's live events, by looking through them."""
    opened = {e.job for e in events if e.kind == "job_opened"}
    closed = {e.job for e in events if e.kind == "job_closed"}
    gone = {e.data.replaces for e in events if e.kind == "quote_given"}
    for quote in events:
        if quote.kind != "quote_given" or quote.data.quote in gone:
            continue
        said: dict[str, str] = {}
        for answer in sorted(events, key=lambda e: (e.occurred_at, e.seq)):
            if answer.kind == "quote_answered" and answer.data.quote == quote.data.quote:
                said |= {one.line: one.answer for one in answer.data.answers}
        is_asked = all(said.get(one.line, "no reply") != "no reply" for one in quote.data.lines)
        if quote.job in opened - closed and not is_asked:
            yield ("quote", bike, quote.job, None, quote.data.quote, quote.occurred_at)


def advice_waiting(bike: str, events: list[Event]) -> Iterator[tuple[Any, ...]]:
    """Give the pressing advice without an answer from a bike's live events."""
    for one in events:
        if one.kind != "advised" or one.data.urgency not in ("now", "soon"):
            continue
        said = [e for e in events if e.kind == "advice_answered" and e.data.advice == one.id]
        last = max(said, key=lambda e: (e.occurred_at, e.seq), default=None)
        if last is None or last.data.answer == "no reply":
            yield ("advice", bike, None, one.data.position, one.data.urgency, one.occurred_at)


def unsafe_waiting(bike: str, events: list[Event]) -> Iterator[tuple[Any, ...]]:
    """Give the unsafe findings of a bike as the plain fold rebuilds it."""
    view = fold(events, shop=SHOP, bike=bike, as_at=LATE, known_seq=10**6, vocabulary=WORDS)
    for fault in view.faults_open:
        if fault.verdict == "unsafe":
            yield ("unsafe", bike, None, fault.position, fault.fault, fault.found_at)
    for found in view.findings_open:
        if found.verdict == "unsafe":
            yield ("unsafe", bike, None, found.position, None, found.found_at)
    for reading in view.readings:
        if reading.verdict == "unsafe":
            yield ("unsafe", bike, None, reading.position, reading.quantity, reading.measured_at)


def recounted(life: Life) -> list[tuple[Any, ...]]:
    """Give all that waits for an answer or is unsafe."""
    found: list[tuple[Any, ...]] = []
    for bike in BIKES:
        of = life.of(bike)
        events = live(of)
        found += [*quotes_waiting(bike, events), *advice_waiting(bike, events)]
        found += unsafe_waiting(bike, of)
    return sorted(found, key=repr)


@FEW_AND_SLOW
@given(life=lives(60))
def test_what_waits_is_what_a_look_through_the_events_finds(life: Life) -> None:
    """Quotes and advice without an answer, and unsafe findings, are those of a plain recount."""
    with TemporaryDirectory() as folder:
        book = book_of(Path(folder), list(life.events))
        found = decisions(book, asker=OWNER)
        told = [known_as(one) for sort in ("quote", "advice", "unsafe") for one in found[sort]]
        assert sorted(told, key=repr) == recounted(life)


@FEW_AND_SLOW
@given(life=lives(60))
def test_what_is_kept_of_it_follows_the_book(life: Life) -> None:
    """Kept and followed commit by commit, all that waits is as it is worked out at once."""
    events = list(life.events)
    third = max(len(events) // 3, 1)
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patched:
        patched.setattr(kept, "FEWEST_EVENTS", 1)
        patched.setattr(kept, "_MOST_SHARE", 1)
        book = book_of(Path(folder), events[:third])
        decisions(book, LATE, asker=OWNER)
        for start in (third, 2 * third):
            new = events[start : start + third] if start == third else events[start:]
            if new:
                Log(LocalStore(book.path / "events")).commit(lambda head, new=new: new)
            found = decisions(book, LATE, asker=OWNER)
            jobs = bench_today(book, LATE, asker=OWNER)
            patched.setattr(kept, "FEWEST_EVENTS", 10**9)
            assert found == decisions(book, LATE, asker=OWNER)
            assert jobs == bench_today(book, LATE, asker=OWNER)
            patched.setattr(kept, "FEWEST_EVENTS", 1)


# -- the bench --------------------------------------------------------------------------------


def job_events(at: str, bike: str, job: str, **opened: Any) -> dict[str, Any]:
    return {"kind": "job_opened", "bike": bike, "job": job, "actor": "mia", "occurred_at": at,
            "data": opened}  # fmt: skip


@pytest.fixture
def busy(tmp_path: Path) -> Book:
    """Two bikes on the bench, one past its time; mia's clock was forgotten, tom's runs."""
    now = datetime(2026, 3, 5, 9, tzinfo=UTC)
    book = Book.init(tmp_path / "book", shop=SHOP, time_zone="UTC", clock=lambda: now)
    first, second = BIKES
    started = {"kind": "labour_started", "data": {"task": "brakes", "minutes_kind": "quoted"}}
    named = {"make": "Osk", "model": "Tender"}
    at = "2026-03-02T08:00:00Z"
    who = [{"kind": "mechanic_registered", "actor": "mia", "occurred_at": at,
            "data": {"mechanic": name, "role": "mechanic"}} for name in ("mia", "tom")]  # fmt: skip
    book.append([
        *who,
        {"kind": "bike_registered", "bike": first, "actor": "mia", "occurred_at": at,
         "data": named},
        {"kind": "bike_registered", "bike": second, "actor": "mia", "occurred_at": at, "data": {}},
        job_events("2026-03-02T08:10:00Z", first, "a", promised_at="2026-03-04T16:00:00Z"),
        job_events("2026-03-02T08:20:00Z", second, "b", promised_at="2026-03-09T16:00:00Z"),
        {**started, "bike": first, "job": "a", "actor": "mia",
         "occurred_at": "2026-03-04T15:00:00Z"},
        {**started, "bike": second, "job": "b", "actor": "tom",
         "occurred_at": "2026-03-05T08:30:00Z"},
        {"kind": "job_held", "bike": second, "job": "b", "actor": "tom",
         "occurred_at": "2026-03-05T08:40:00Z", "data": {"waiting_for": "part"}},
    ], confirm_clock=True)  # fmt: skip
    return book


NOW = datetime(2026, 3, 5, 9, tzinfo=UTC)


def test_the_bench_tells_who_is_on_what(busy: Book) -> None:
    """A job is told with its bike's name, when it was promised, what it waits for, who is on it."""
    late, held = bench_today(busy, NOW, asker=OWNER)
    assert (late.bike, late.name, late.is_late, late.waiting_for) == (
        BIKES[0],
        "Osk Tender",
        True,
        None,
    )
    assert [(one.mechanic, one.is_forgotten) for one in late.on_it] == [("mia", True)]
    assert (held.name, held.is_late, held.waiting_for) == (None, False, "part")
    assert [(one.mechanic, one.is_forgotten) for one in held.on_it] == [("tom", False)]


def test_a_forgotten_clock_is_told_to_its_owner_alone(busy: Book) -> None:
    """Mia hears of hers; tom, and whoever sits at the desk, do not; the shop's owner does."""
    told = {
        "mia": decisions(busy, NOW, asker=MIA)["clock"],
        "tom": decisions(busy, NOW, asker=Asker("mechanic", "tom"))["clock"],
        "owner": decisions(busy, NOW, asker=OWNER)["clock"],
    }
    assert {who: len(rows) for who, rows in told.items()} == {"mia": 1, "tom": 0, "owner": 1}
    assert "clock" not in decisions(busy, NOW, asker=DESK)
    forgotten = bench_today(busy, NOW, asker=Asker("mechanic", "tom"))[0].on_it[0]
    assert not forgotten.is_forgotten


def test_a_job_past_its_time_waits_for_everybody(busy: Book) -> None:
    """Whoever asks is told of the job past its promised time, and not before that time."""
    for asker in (OWNER, MIA, DESK):
        assert [one.job for one in decisions(busy, NOW, asker=asker)["late"]] == ["a"]
    before = datetime(2026, 3, 4, 15, 59, tzinfo=UTC)
    assert decisions(busy, before, asker=OWNER)["late"] == ()


# -- the month --------------------------------------------------------------------------------


def independent(book: Book) -> Jobs:
    """Give the jobs of a book from its export, by loops that share no code with the ledger."""
    out = BytesIO()
    export_book(book, out, "cloudevents", clear=True)
    return Jobs(out.getvalue().decode().splitlines(), LATE, book.head.size, book.settings.zone)


def opened_in(jobs: Jobs, days: tuple[date, date]) -> list[Job]:
    return [job for job in jobs.jobs if days[0] <= jobs.day(job.opened.at) <= days[1]]


def own_minutes(jobs: Jobs, who: str, days: tuple[date, date]) -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    for job in jobs.jobs:
        own = [s for s in job.stretches if s.actor == who and days[0] <= s.day <= days[1]]
        if own:
            found[job.bike, job.name] = sum(one.minutes for one in own)
    return found


def expected(jobs: Jobs, name: Name, days: tuple[date, date]) -> tuple[Any, int]:
    """Give a figure of some days and how many jobs it rests on, from the export."""
    closed, opened = jobs.closed(*days), opened_in(jobs, days)
    if name == "contribution":
        of = jobs.earning(closed, lambda tier: True)
        nets = sum(of[f"net_{what}_minor"] for what in ("labour", "parts", "consumables", "other"))
        costs = of["parts_cost_minor"] + of["wages_minor"] + of["consumables_minor"]
        hours = Fraction(of["bench_minutes"], 60)
        return ((nets - costs) / hours if hours and len(closed) >= 8 else None), len(closed)
    if name == "ratio":
        pairs = [(job.minutes("quoted"), job.quoted_minutes) for job in closed]
        ratios = [Fraction(done, told) for done, told in pairs if done and told]
        return (median(ratios) if len(ratios) >= 8 else None), len(ratios)
    if name == "come_backs":
        return sum(job.is_back for job in opened), len(opened)
    return (len(opened) if name == "booked_in" else sum(j.is_quoted for j in opened)), len(opened)


@pytest.mark.parametrize("seed", range(6))
def test_the_month_is_what_loops_over_the_export_find(seed: int, tmp_path: Path) -> None:
    """Every figure of some days and of those before, and the jobs behind it, are the plain ones."""
    chance = random.Random(seed)
    book = book_of(tmp_path, book_events(chance, 70))
    jobs = independent(book)
    middle = date(2025, 3, 1) + timedelta(days=chance.randrange(250))
    span = MonthSpan(middle, middle + timedelta(days=80), middle - timedelta(days=81),
                     middle - timedelta(days=1), is_now=True)  # fmt: skip
    days = ((span.since, span.until), (span.since_before, span.until_before))
    judged = 0
    for asker in (OWNER, DESK):
        for one in month_of(book, span, asker=asker).figures:
            now, before = (expected(jobs, one.name, each) for each in days)
            assert one.value == (None if now[0] is None else pytest.approx(float(now[0])))
            assert one.before == (None if before[0] is None else pytest.approx(float(before[0])))
            assert (one.count, one.count_before) == (now[1], before[1])
            judged += one.value is not None
    assert judged >= 4
    behind = {one.job for one in month_jobs(book, span, "come_backs", asker=OWNER)}
    assert behind == {job.name for job in opened_in(jobs, days[0]) if job.is_back}


@pytest.mark.parametrize("who", WHO)
def test_a_mechanic_is_told_their_own_minutes_alone(who: str, tmp_path: Path) -> None:
    """The figures of a mechanic are theirs, and nothing of money or of the shop is among them."""
    book = book_of(tmp_path, book_events(random.Random(11), 40))
    jobs = independent(book)
    span = MonthSpan(date(2025, 4, 1), date(2025, 9, 30), date(2024, 10, 1), date(2025, 3, 31),
                     is_now=True)  # fmt: skip
    asker = Asker("mechanic", who)
    own = own_minutes(jobs, who, (span.since, span.until))
    found = {one.name: one for one in month_of(book, span, asker=asker).figures}
    assert set(found) == {"own_minutes", "own_jobs", "come_backs"}
    assert (found["own_minutes"].value, found["own_jobs"].value) == (sum(own.values()), len(own))
    rows = month_jobs(book, span, "own_jobs", asker=asker)
    assert {(one.bike, one.job): one.minutes for one in rows} == own
    assert own


@pytest.mark.parametrize(
    ("asker", "name"),
    [(asker, name) for asker in (MIA, DESK) for name in ("contribution", "ratio")]
    + [(DESK, "own_minutes"), (OWNER, "booked_in")],
)
def test_rows_of_a_figure_of_another_role_are_refused(
    asker: Asker, name: Name, tmp_path: Path
) -> None:
    """Asked by address, the jobs behind what a role does not see are not given."""
    assert name not in SEEN[asker.role]
    with pytest.raises(WrongUse):
        month_jobs(book_of(tmp_path), span_to(date(2026, 3, 5)), name, asker=asker)


@pytest.mark.parametrize(
    ("day", "before"),
    [
        ("2026-03-31", ("2026-02-01", "2026-02-28")),
        ("2026-03-05", ("2026-02-01", "2026-02-05")),
        ("2026-01-31", ("2025-12-01", "2025-12-31")),
        ("2024-03-29", ("2024-02-01", "2024-02-29")),
    ],
)
def test_the_month_before_has_the_same_days(day: str, before: tuple[str, str]) -> None:
    """A month up to a day stands beside as many days of the month before, or all it has."""
    span = span_to(date.fromisoformat(day))
    assert (span.since, span.until) == (span.until.replace(day=1), date.fromisoformat(day))
    assert (span.since_before.isoformat(), span.until_before.isoformat()) == before


def test_a_book_that_fell_silent_shows_its_last_month(busy: Book) -> None:
    """In April the figures are of March, up to the last entry; in March of March up to today."""
    april = month_span(busy, datetime(2026, 4, 12, tzinfo=UTC))
    assert (april.since, april.until, april.is_now) == (date(2026, 3, 1), date(2026, 3, 5), False)
    march = month_span(busy, datetime(2026, 3, 9, tzinfo=UTC))
    assert (march.until, march.is_now) == (date(2026, 3, 9), True)


# -- bikes ------------------------------------------------------------------------------------


@FEW_AND_SLOW
@given(life=lives(40))
def test_bikes_are_found_as_the_whole_book_is_searched(life: Life) -> None:
    """By letters, by tag, by a rider's id and by nothing, bikes are those of the whole query."""
    with TemporaryDirectory() as folder:
        book = book_of(Path(folder), list(life.events))
        for letters in ("", "7k3", "d6f8", "r1", "zz", "R2"):
            wanted = [(row.bike, row.last_seen_at) for row in bikes(book, letters)]
            assert [(row.bike, row.last_seen_at) for row in bikes_like(book, letters)] == wanted
        assert count_bikes(book) == len(bikes(book))
        assert first_seen_at(book) == min(row.first_seen_at for row in bikes(book))
        assert has_jobs(book) == (shop_summary(book).jobs > 0)

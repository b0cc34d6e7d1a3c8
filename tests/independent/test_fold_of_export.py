"""What the product says a bike is, against a fold of its export that shares no code with it."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from typer.testing import CliRunner

from ledger.book import Book
from ledger.cli.app import app
from ledger.events import Event
from ledger.exchange.export import export_book
from ledger.queries import bike_view, bike_views
from ledger.state import fold
from ledger.view import BikeView, view_json
from tests.independent.fold_of_export import Export
from tests.independent.hand_made import FIRST, NOW, Bench, enter_all, set_to
from tests.independent.random_entries import Dice
from tests.long import times
from tests.whole_demo import whole_demo

pytestmark = pytest.mark.slow
MICROSECOND = timedelta(microseconds=1)


def as_printed(view: BikeView) -> Any:
    return json.loads(json.dumps(view_json(view)), parse_float=Decimal)


@dataclass
class Compared:
    """One book, its export, and the places where the two answers differ."""

    book: Book
    export: Export

    def __post_init__(self) -> None:
        self.events: dict[str | None, list[Event]] = defaultdict(list)
        for event in self.book.events():
            self.events[event.bike].append(event)
        self.words = self.book.vocabulary
        self.tags_as_known: dict[int, dict[str, frozenset[str]]] = {}
        self.count = 0
        self.differences: list[str] = []

    @classmethod
    def of(cls, book: Book) -> Compared:
        out = BytesIO()
        export_book(book, out, "cloudevents", clear=True)
        return cls(book, Export.read(out.getvalue().decode().splitlines()))

    @property
    def size(self) -> int:
        return len(self.export.entries)

    def hold(self, who: str, said: Any, bike: str, as_at: datetime, known: int) -> None:
        """Compare one answer of the product with the independent one."""
        own = self.export.state(bike, as_at, known)
        self.count += 1
        for name in own.keys() | said.keys():
            if own.get(name, "missing") != said.get(name, "missing"):
                self.differences.append(
                    f"{who} {bike} as at {as_at} as known {known}: {name}\n"
                    f"  export  {own.get(name)}\n  product {said.get(name)}"
                )

    def hold_fold(self, bike: str, as_at: datetime, known: int) -> None:
        """Compare the product's fold in Python."""
        if known not in self.tags_as_known:
            self.tags_as_known[known] = self.book.aliases(known)
        tags = self.tags_as_known[known].get(bike, {bike})
        events = [event for tag in tags for event in self.events[tag]]
        said = fold(
            events, shop=self.export.shop, bike=bike, as_at=as_at, known_seq=known,
            vocabulary=self.words,
        )  # fmt: skip
        self.hold("fold", as_printed(said), bike, as_at, known)

    def hold_view(self, bike: str, as_at: datetime, known: int) -> None:
        """Compare the product's query for one bike."""
        said = as_printed(bike_view(self.book, bike, as_at, known))
        self.hold("bike_view", said, bike, as_at, known)

    def hold_all(self, as_at: datetime, known: int) -> None:
        """Compare the product's query for every bike at once, and which bikes it gives."""
        views = [as_printed(view) for view in bike_views(self.book, as_at, known)]
        for said in views:
            self.hold("bike_views", said, said["bike"], as_at, known)
        given = sorted(view["bike"] for view in views)
        if given != self.bikes_with_events(as_at, known):
            self.differences.append(f"bike_views gives other bikes as at {as_at}, known {known}")

    def bikes_with_events(self, as_at: datetime, known: int) -> list[str]:
        tags = self.export.of_bike
        firsts = {min(self.export.tags(tag, known)) for tag in tags}
        return sorted(tag for tag in firsts if self.export.live(tag, as_at, known))

    def settled(self, at_least: int) -> None:
        """Fail with the first differences, or where too little was compared to mean anything."""
        assert not self.differences, "\n".join(self.differences[:5])
        assert self.count >= at_least


# -- the demo book ---------------------------------------------------------------------------


def lockring(*arguments: str) -> str:
    command = [sys.executable, "-c", "from ledger.cli import main; main()", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Compared:
    book = whole_demo(tmp_path_factory)
    events = tmp_path_factory.mktemp("demo_of_fold") / "events.jsonl"
    lockring("export", "--clear", "--out", str(events), "--book", str(book))
    with events.open(encoding="utf-8") as lines:
        return Compared(Book.open(book), Export.read(lines))


@pytest.fixture
def compared(demo: Compared) -> Compared:
    demo.count, demo.differences = 0, []
    return demo


def somewhen(demo: Compared, bike: str, dice: random.Random) -> tuple[datetime, int]:
    """Give a date and a known seq near what happened to a bike, or far from it."""
    own = demo.export.of_bike[bike]
    later = timedelta(seconds=dice.randrange(200 * 86_400))
    as_at = dice.choice(own).at + dice.choice((-MICROSECOND, timedelta(0), later))
    near = dice.choice(own).seq + dice.choice((-1, 0, 1))
    known = dice.choice((demo.size, near, dice.randrange(demo.size + 1)))
    return as_at, min(max(known, 0), demo.size)


def test_every_demo_bike_is_what_a_fold_of_the_export_says(compared: Compared) -> None:
    """Each bike of the demo, at random dates as known at random seqs, folds to the same JSON."""
    dice, dates = random.Random(20260301), times(3, usual=1)
    for bike in compared.book.bikes():
        for _ in range(dates):
            compared.hold_fold(bike, *somewhen(compared, bike, dice))
    compared.settled(at_least=dates * len(compared.export.of_bike))


def test_all_demo_bikes_at_once_are_what_a_fold_of_the_export_says(compared: Compared) -> None:
    """The query for the whole shop gives every bike the same JSON, at any date and known seq."""
    dice = random.Random(20260302)
    for _ in range(4):
        bike = dice.choice(compared.book.bikes())
        compared.hold_all(*somewhen(compared, bike, dice))
    compared.hold_all(max(entry.at for entry in compared.export.entries), compared.size)
    compared.settled(at_least=len(compared.export.of_bike))


def remarkable(demo: Compared) -> list[str]:
    """Give the tags that were joined, and the bikes of which something was struck."""
    joined = [end["bike"] for link in demo.export.links for end in link.data.values()
              if isinstance(end, dict)]  # fmt: skip
    struck = {e.bike for e in demo.export.entries if e.kind == "event_struck" and e.bike}
    return joined + sorted(struck)


def test_one_demo_bike_asked_for_is_what_a_fold_of_the_export_says(compared: Compared) -> None:
    """The query for one bike gives the same JSON: joined, corrected and random ones."""
    dice = random.Random(20260303)
    chosen = remarkable(compared) + dice.sample(compared.book.bikes(), times(40, usual=20))
    for bike in chosen:
        compared.hold_view(bike, *somewhen(compared, bike, dice))
    compared.settled(at_least=40)


def end_of(day: date, zone: ZoneInfo) -> datetime:
    midnight = datetime.combine(day + timedelta(days=1), time(), zone)
    return midnight.astimezone(UTC) - MICROSECOND


def known_by(demo: Compared, moment: datetime) -> int:
    """Count what was recorded by an instant, from what the book itself lists."""
    return sum(1 for event in demo.book.events() if event.recorded_at <= moment)


def test_the_command_prints_what_a_fold_of_the_export_says(compared: Compared) -> None:
    """`lockring state --json` prints it, for bare dates, instants, seqs and days known."""
    dice, zone = random.Random(20260304), compared.book.settings.zone
    chosen = dice.sample(remarkable(compared), 6) + dice.sample(
        compared.book.bikes(), times(24, usual=9)
    )
    known_day = date(2025, 3, 29)
    known_then = known_by(compared, end_of(known_day, zone))
    for number, bike in enumerate(chosen):
        as_at, known = somewhen(compared, bike, dice)
        at_text, known_text = as_at.isoformat(), str(known)
        if number % 3 == 0:
            as_at, at_text = end_of(as_at.date(), zone), as_at.date().isoformat()
        if number % 5 == 0:
            known, known_text = known_then, known_day.isoformat()
        arguments = ["state", bike, "--json", "--as-at", at_text, "--as-known", known_text]
        arguments += ["--book", str(compared.book.path)]
        said = lockring(*arguments) if number < 4 else CliRunner().invoke(app, arguments).stdout
        parsed = json.loads(said, parse_float=Decimal)
        compared.hold("lockring state", parsed, bike, as_at, known)
    compared.settled(at_least=len(chosen))


# -- small books of what the demo hardly has -------------------------------------------------


def hold_everywhere(compared: Compared, dice: random.Random) -> None:
    """Hold the fold at every date as known at every seq, and the queries at some of both.

    A bike changes at its own dates only, and at those of the tags it was ever joined to.
    """
    every = sorted({entry.at for entry in compared.export.entries})
    for bike in compared.book.bikes():
        tags = compared.book.aliases().get(bike, {bike})
        for as_at in sorted({e.at for tag in tags for e in compared.export.of_bike[tag]}):
            for known in range(compared.size + 1):
                compared.hold_fold(bike, as_at, known)
    for _ in range(12):
        compared.hold_all(dice.choice(every), dice.randrange(compared.size + 1))
        bike, late = dice.choice(compared.book.bikes()), dice.choice(every[-30:])
        compared.hold_view(bike, late, dice.randrange(compared.size // 2, compared.size + 1))


def test_a_hand_made_book_is_what_a_fold_of_its_export_says(tmp_path: Path) -> None:
    """Strikes, restores, joins, computers, moved parts, torques: the same at every date and seq."""
    bench = Bench(tmp_path / "book")
    enter_all(bench)
    compared = Compared.of(bench.book)
    hold_everywhere(compared, random.Random(20260305))
    compared.settled(at_least=5_000)


def test_a_book_of_random_entries_is_what_a_fold_of_its_export_says(tmp_path: Path) -> None:
    """Entries thrown at four bikes that get joined and corrected fold to the same everywhere."""
    bench = Bench(tmp_path / "book")
    dice = Dice(bench, seed=20260306)
    dice.roll(110)
    compared = Compared.of(bench.book)
    assert compared.export.struck_by and compared.export.links
    hold_everywhere(compared, dice.random)
    compared.settled(at_least=5_000)


def test_terms_entered_later_do_not_change_what_was_known(tmp_path: Path) -> None:
    """As known is a prefix of the book: a torque stands till terms that hide it are entered."""
    bench = Bench(tmp_path / "book")
    bench.enter(FIRST, "01-02", "bike_registered", {})
    bench.enter(FIRST, "01-03", "adjusted", set_to("crank"))
    bench.enter(FIRST, "01-04", "adjusted", set_to("stem", 6))
    hiding = {"code": "crank", "label": "cranks", "is_torqued": True, "hides": ["stem"]}
    bench.enter(None, "01-05", "terms_set", {"from_on": "2025-01-01", "positions": [hiding]})
    compared = Compared.of(bench.book)
    compared.hold_view(FIRST, NOW, 3)
    compared.settled(at_least=1)

"""A whole service, walked through the bench's own face alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from stand_book import TAG, bench, new_book

from ledger import quotes
from ledger.bench import drafts
from ledger.bench.drafts import Hand, amount, new_id
from ledger.bench.handing_back import charge_lines
from ledger.bench.measuring import judged
from ledger.bench.walked import short_code
from ledger.book import Book

READINGS = {
    "chain elongation": ("0.62", "%"),
    "front_brake.pads thickness": ("2.1", "mm"),
    "rear_brake.pads thickness": ("0.9", "mm"),
    "front_wheel.tyre tread_depth": ("2.4", "mm"),
    "rear_wheel.tyre tread_depth": ("1.9", "mm"),
    "front_wheel runout": ("0.2", "mm"),
    "rear_wheel runout": ("0.4", "mm"),
}
EXPECTED = {"chain elongation": "due", "rear_brake.pads thickness": "due"}
TORQUES = {"crank": "40", "rear_wheel": "12"}


class Service:
    """A mechanic at the bench: every press is one call, and says where the walk is then."""

    def __init__(self, book: Book) -> None:
        self.book, self.hand, self.presses = book, Hand("mia", TAG), 0
        self.places: list[str] = []

    def press(self, *made: dict[str, Any]) -> None:
        self.book.append(list(made))
        self.presses += 1
        self.places.append(bench(self.book).at.step)

    def book_in(self) -> None:
        job = short_code("J")
        self.press(drafts.job_opened("mia", TAG, job, new_id(), complaint="Creaks on the hill"))
        self.hand = Hand("mia", TAG, job)
        self.press(drafts.distance(self.hand, new_id(), amount("1350", "km")))

    def inspect(self) -> None:
        self.press(
            drafts.found(self.hand, new_id(), "rear_brake.pads", "due", fault="worn"),
        )
        for system in [one.system for one in bench(self.book).systems]:
            rest = next(one for one in bench(self.book).systems if one.system == system).rest
            if rest.covers:
                self.press(drafts.rest_within(self.hand, new_id(), rest))
            else:
                why = "not on this bike"
                draft = drafts.found(
                    self.hand, new_id(), system, "not checked", why_not_checked=why
                )
                self.press(draft)

    def measure(self) -> None:
        for item in bench(self.book).measures:
            value, unit = READINGS[item.key]
            where = (item.position, item.quantity)
            draft = drafts.measured(
                self.hand, new_id(), *where, value=amount(value, unit), gauge="caliper"
            )
            said = judged(self.book, bench(self.book), draft)
            assert said.verdict == EXPECTED.get(item.key, "within limit")
            self.press(draft)

    def quote_and_answer(self) -> None:
        code = short_code("Q")
        lines = [
            {"line_type": "labour", "code": "brakes", "minutes": 20, "net_minor": 1800},
            {"line_type": "part", "code": "Dune pads", "net_minor": 1450, "cost_minor": 700},
        ]
        self.press(quotes.give_draft("mia", TAG, self.hand.job or "", code, lines, "EUR"))
        given = quotes.quotes_of(self.book, TAG, self.hand.job)
        yes = {line.line.line: "yes" for line in bench(self.book).quoted}
        self.press(*quotes.answer_drafts(given, yes, "mia", TAG, "in person"))

    def work(self) -> None:
        right = {"puts_right.fault": "worn"}
        fitted = drafts.fitted(
            self.hand, new_id(), "rear_brake.pads", None, make="Dune", model="D1", **right
        )
        self.press(fitted)
        for position in ("crank", "rear_wheel"):
            self.press(drafts.adjusted(self.hand, new_id(), position, note="creaked"))

    def finish(self) -> None:
        for item in bench(self.book).torques:
            value = amount(TORQUES[item.position], item.unit)
            self.press(drafts.torqued(self.hand, new_id(), item.position, value, tool="wrench"))
        for tyre in bench(self.book).pressures:
            set_to = amount("4.5", tyre.unit)
            self.press(drafts.pressure_set(self.hand, new_id(), tyre.position, set_to))
        back = bench(self.book).hand_back
        assert (back.stops, back.untorqued, back.unsafe) == ((), (), ())
        self.press(drafts.released(self.hand, new_id(), True, rechecked=back.rechecks))
        lines = charge_lines(self.book, bench(self.book))
        self.press(drafts.closed(self.hand, new_id(), lines, "EUR"))


def test_a_whole_service_is_walked_through_the_face_alone(tmp_path: Path) -> None:
    """From booking in to closing: more than 25 entries, each one press, in the trade's order."""
    service = Service(new_book(tmp_path / "book"))
    service.book_in()
    service.inspect()
    service.measure()
    service.quote_and_answer()
    service.work()
    service.finish()
    events = [event for event in service.book.events() if event.job == service.hand.job]
    assert len(events) == service.presses >= 25
    closed = events[-1].data
    assert [line.net_minor for line in closed.lines] == [1800, 1450]
    assert [line.cost_minor for line in closed.lines] == [None, 700]
    assert closed.disturbed == ()
    assert bench(service.book).job is None


def test_the_walk_only_goes_forward_in_a_service_done_in_order(tmp_path: Path) -> None:
    """After each press the step to go on at is the one just worked in or a later one."""
    from ledger.bench.stepping import KEYS

    service = Service(new_book(tmp_path / "book"))
    for part in ("book_in", "inspect", "measure", "quote_and_answer", "work", "finish"):
        getattr(service, part)()
    indexes = [KEYS.index(step) for step in service.places[:-1]]
    assert indexes == sorted(indexes)
    assert service.places[0] == "distance" and service.places[-2] == "close"

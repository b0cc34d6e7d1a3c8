"""One service being recorded by questions: who works on what, and each answer saved at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, TypeVar

from ledger.bench import walked
from ledger.bench.walk import Ask
from ledger.bench.walked import nested
from ledger.cli import words
from ledger.cli.output import say, warn
from ledger.cli.prompts import Asker, Back, Skip, Undo
from ledger.cli.receipt import confirming, event_words
from ledger.errors import Refused

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.state import BikeState
    from ledger.view import BikeView

Item = TypeVar("Item")


@dataclass
class Service:
    """The state of a walk; everything that matters is in the book already."""

    book: Book
    asker: Asker
    actor: str
    confirm_clock: bool
    bike: str = ""
    job: str | None = None
    saved: list[list[str]] = field(default_factory=list)
    """The ids of each commit of this walk, so that `undo` can strike the last."""
    how: str = ""
    """How the rider's last answer came, offered again for the next line."""
    is_closed: bool = False

    # -- saving -----------------------------------------------------------------------------

    def draft(self, kind: str, data: Mapping[str, Any], *, of_bike: bool = True) -> dict[str, Any]:
        """Give the plain form of an event of this service."""
        envelope = {"bike": self.bike, "job": self.job} if of_bike else {}
        given = {name: text for name, text in envelope.items() if text}
        return {"kind": kind, "actor": self.actor, **given, "data": nested(data)}

    def save(self, drafts: Sequence[Mapping[str, Any]]) -> list[Event]:
        """Record drafts as one commit, say so, and give them as stored; raises Refused."""
        receipt = confirming(
            lambda right: self.book.append(drafts, confirm_clock=right),
            confirm_clock=self.confirm_clock,
        )
        self.confirm_clock = True  # Whoever confirmed the clock once is not asked at every step.
        ids = [event.id for event in receipt.events]
        self.saved.append(ids)
        for problem in receipt.warnings:
            warn(f"  Warning: {problem.wrong}. {problem.right}")
        stored = self.book.find(ids)
        for one in ids:
            say(f"  Recorded: {event_words(self.book, stored[one])}.")
        return [stored[one] for one in ids]

    def save_form(
        self,
        asks: tuple[Ask, ...],
        make: Callable[[dict[str, Any]], Sequence[Mapping[str, Any]]],
        *,
        quantity: str = "",
        defaults: Mapping[str, str] | None = None,
    ) -> list[Event]:
        """Ask a form and record what `make` makes of it; what is refused is asked again.

        Raises Skip where the form is left out, and Back at its first question.
        """
        typed: Mapping[str, str] = defaults or {}
        while True:
            read, typed = self.asker.form(asks, typed, quantity)
            if not read and defaults is None:
                raise Skip
            try:
                return self.save(make(read))
            except Refused as refused:
                say_refused(refused)

    def undo(self) -> bool:
        """Strike what was recorded last; say whether anything was."""
        if not self.saved:
            say("  Nothing of this job is left to strike.")
            return False
        strikes = [
            self.draft("event_struck", {"target": one, "reason": "struck while entering"})
            for one in reversed(self.saved[-1])
        ]
        try:
            self.book.append(strikes, confirm_clock=True)
        except Refused as refused:
            say_refused(refused)
            return False
        stored = self.book.find(self.saved.pop())
        if any(event.kind == "job_opened" for event in stored.values()):
            self.job = None
        if any(event.kind == "bike_registered" for event in stored.values()):
            self.bike = ""
        struck = "; ".join(event_words(self.book, event) for event in stored.values())
        say(f"  Struck: {struck}.")
        return True

    def go_through(
        self, items: Iterable[Item], do: Callable[[Item, bool], bool], first: int = 0
    ) -> bool:
        """Do something for each item in turn, going back one where `back` or `undo` is said.

        `do` is told whether it is come to forwards, and says whether it asked anything: items
        that ask nothing are passed over backwards as well. Gives whether anything was asked;
        raises Back before the first item.
        """
        listed = list(items)
        index, is_forward, has_asked = first, True, False
        while index < len(listed):
            try:
                asked = do(listed[index], is_forward)
            except Back:
                asked, is_forward = False, False
            except Undo:
                if not self.undo():
                    continue
                asked, is_forward = False, False
            has_asked = has_asked or asked
            is_forward = is_forward or asked
            index += 1 if is_forward else -1
            if index < 0:
                raise Back
        return has_asked

    # -- looking ----------------------------------------------------------------------------

    def view(self) -> BikeView:
        """Give the bike as it is now."""
        from ledger.queries import bike_view

        return bike_view(self.book, self.bike)

    def of_job(self) -> list[Event]:
        """Give the live events of this job, in the order they were recorded."""
        return walked.of_job(self.book.bike_events(self.bike), self.job)

    def state(self) -> BikeState:
        """Give the bike's state now, as the rules see it."""
        from ledger.state import in_order, live, state_after

        events = self.book.bike_events(self.bike)
        now = in_order(live(events, datetime.now(UTC), self.book.head.size))
        return state_after(now, self.book.settings.shop, self.bike, self.book.vocabulary)

    def position(self, code: str, point: str | None = None) -> str:
        """Give a position in the bench's words."""
        return words.position_words(self.book.vocabulary, code, point)


def say_refused(refused: Refused) -> None:
    """Say what is wrong and what would be right, without the parts a walk knows itself."""
    say("  Nothing was recorded:")
    for problem in refused.problems:
        say(f"    {problem.field.removeprefix('data.')}: {problem.wrong}. {problem.right}")

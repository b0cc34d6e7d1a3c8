"""The bike on the stand as one draw of the page needs it, and where in its walk it stands."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import streamlit as st

from dashboard import bench_press, bench_words, data
from dashboard.bench_address import FORM, ITEM, JOB, STEP, TAG, WHO, BenchAsked
from dashboard.bench_press import Heard
from dashboard.labour_say import LabourSay
from dashboard.time_clock import Said
from dashboard.words import Words
from ledger.bench import drafts
from ledger.bench.reading import bench_of
from ledger.bench.scene import JobNotOpen
from ledger.bench.shapes import Bench, StepAt
from ledger.bench.since import never_unseen
from ledger.book import Book
from ledger.errors import LedgerError
from ledger.unsent import FormKey, Unsent

LEFT_OUT = "bench_left_out"
MOVED = (TAG, JOB, STEP, ITEM, FORM, WHO)
"""What of an address a press changes."""
Drafts = Sequence[drafts.Draft]


@dataclass(frozen=True)
class Stand:
    """One book, one bike on the stand, who works on it, and what the address asks for."""

    book: Book
    bench: Bench
    asked: BenchAsked

    @cached_property
    def words(self) -> Words:
        """The bench's words for codes and figures."""
        return data.words_of(self.book)

    @cached_property
    def money(self) -> LabourSay:
        """How money is written."""
        return LabourSay(self.book.settings, self.book.vocabulary)

    @property
    def hand(self) -> drafts.Hand:
        """Who enters, on which bike, in which job."""
        job = self.bench.job.job if self.bench.job else None
        return drafts.Hand(self.bench.actor, self.bench.bike.tag, job)

    @property
    def name(self) -> str:
        """What the forms of this bike and job are kept under in a session."""
        return f"{self.hand.actor} {self.hand.bike} {self.hand.job or ''}"

    @property
    def gone_job(self) -> str:
        """Say that the job in the address is not open; empty where it is."""
        job = self.asked.gone_job
        return f"Job {job} is not open on this bike any more." if job else ""

    def step(self, key: str) -> StepAt:
        """Give how far one step is."""
        return next(step for step in self.bench.steps if step.key == key)

    # -- what is half typed -------------------------------------------------------------------

    def form_key(self, form: str) -> FormKey:
        """Give the key under which a half-typed form is kept through a restart."""
        return FormKey(self.hand.actor, self.hand.bike, self.hand.job or "", form)

    def kept(self, form: str) -> dict[str, Any]:
        """Give a form as it was left; nothing where it was not."""
        found = unsent_of(self.book).get(self.form_key(form))
        return dict(found.values) if found else {}

    def keep(self, form: str, values: dict[str, Any]) -> None:
        """Keep what is typed in a form until it is recorded or thrown away."""
        rider = self.bench.bike.rider
        try:
            unsent_of(self.book).put(self.form_key(form), values, rider=rider)
        except (LedgerError, OSError) as error:
            words = f"What you typed is on this page alone: {error}"
            bench_press.hear(Heard(Said(" ".join(words.split()), False), form=form))

    def throw_away(self, form: str) -> None:
        """Forget a form."""
        bench_press.done_with(f"{self.name} {form}")
        unsent_of(self.book).drop(self.form_key(form))

    def event_id(self, form: str, kept: str | None = None) -> str:
        """Give the id of what a form will record: a press that is sent twice is one event."""
        return bench_press.event_id(f"{self.name} {form}", kept, drafts.new_id)

    # -- going on ------------------------------------------------------------------------------

    def go(self, **other: str) -> None:
        """Move the address; the page follows it. What is not named is left: item and form."""
        wanted = self.asked.params(**({"item": "", "form": ""} | other))
        now = st.query_params.to_dict()
        kept = {name: said for name, said in now.items() if name not in MOVED}
        if now != kept | wanted:
            # at once: the browser is told of every change, and keeps each as a page gone past
            st.query_params.from_dict(kept | wanted)

    def press(
        self, form: str, make: Callable[[], Drafts], *, on_done: Callable[[], None] | None = None
    ) -> None:
        """Record what a press asks for, and go on; where it is refused all stays as it is."""
        self._press(form, make, on_done, is_clock_right=False)

    def _press(
        self,
        form: str,
        make: Callable[[], Drafts],
        on_done: Callable[[], None] | None,
        *,
        is_clock_right: bool,
    ) -> None:
        made = make()
        tell = partial(bench_words.overtaken, self.words)
        said = bench_press.recorded(
            self.book,
            made,
            is_clock_right=is_clock_right,
            only_if=partial(never_unseen, self.book, self.bench, made, tell),
        )

        def again() -> None:
            self._press(form, make, on_done, is_clock_right=True)

        ids = bench_press.ids_of(made) if said.is_recorded else ()
        bench_press.hear(Heard(said, ids, form, again if said.again else None))
        if said.is_recorded:
            self.throw_away(form)
            (on_done or self.go)()

    # -- left out ------------------------------------------------------------------------------

    def left_out(self, step: str) -> set[str]:
        """Give the items of a step that were left out in this walk, to be kept or changed."""
        walks: dict[str, dict[str, set[str]]] = st.session_state.setdefault(LEFT_OUT, {})
        if self.name not in walks:
            kept = self.kept("walk").get("left_out", {})
            walks[self.name] = {key: set(items) for key, items in kept.items()}
        return walks[self.name].setdefault(step, set())

    def leave_out(self, step: str, item: str) -> None:
        """Note that an item is gone past unrecorded; a restart does not ask for it again."""
        self.left_out(step).add(item)
        walks = st.session_state[LEFT_OUT][self.name]
        listed = {key: sorted(items) for key, items in walks.items()}
        self.keep("walk", {"step": step, "item": item, "left_out": listed})
        bench_press.hear(None)


def stand_of(book: Book, asked: BenchAsked, actor: str) -> Stand:
    """Put a bike on the stand as the book has it now; raises LedgerError.

    A job in the address that is not open any more is left, and told.
    """
    asker = data.asker()
    try:
        bench = bench_of(book, asked.tag, actor, job=asked.job or None, asker=asker)
    except JobNotOpen:
        asked = replace(asked, job="", gone_job=asked.job)
        bench = bench_of(book, asked.tag, actor, asker=asker)
    return Stand(book, bench, asked)


@st.cache_resource(show_spinner=False)
def _unsent(path: str, _book: Book) -> Unsent:
    return Unsent(_book.path / "private.sqlite", _book.keys)


def unsent_of(book: Book) -> Unsent:
    """Give the half-typed forms of a book."""
    return _unsent(str(book.path), book)

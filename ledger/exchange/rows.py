"""One row of a log, read by a mapping: when, which bike, who, and the events it gives rise to.

What depends on the book (tags, ids, what sits on the bike) is added by the importer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, time
from typing import Any

from ledger.errors import Problem, Refused
from ledger.events.problems import nearest_words
from ledger.exchange import figures
from ledger.exchange.fields import (
    Cells,
    FieldReader,
    Reason,
    RowWrong,
    Skipped,
    Surroundings,
    payload,
)
from ledger.exchange.figures import NotReadable
from ledger.exchange.mapping import EventRule, Mapping
from ledger.exchange.words import (
    contains,
    plain_form,
    words_pattern,
)

Payload = tuple[str, dict[str, Any]]
"""(kind, data) of an event that a row gives rise to."""

NEEDS_A_JOB = frozenset(
    {
        *("job_opened", "job_held", "job_resumed", "quote_given", "quote_answered", "released"),
        *("labour_started", "labour_stopped", "labour_logged", "job_closed"),
        "come_back_judged",
    }
)


class RowReader:
    """A mapping bound to the columns of one file."""

    def __init__(self, mapping: Mapping, columns: Sequence[str], around: Surroundings) -> None:
        """Raises Refused where the mapping names columns the file does not have."""
        self._mapping = mapping
        self._index = {name: index for index, name in enumerate(columns)}
        self._refuse_unknown_columns(columns)
        self._around = around
        self._read = FieldReader(mapping, self._index, around)
        self._zone = self._read.zone
        self._actor = self._read.text_maker(mapping.actor)
        self._rules = [self._rule(rule) for rule in mapping.event]
        self.tag_column = mapping.bike.tag or ""
        self._bike_fields = self._read.makers("bike_registered", mapping.bike.fields)

    # -- what a row says ---------------------------------------------------------------

    def when(self, cells: Cells) -> tuple[datetime, bool]:
        """Give the instant of a row, UTC, and whether the row only names the day.

        A day without a time is taken at the mapping's hour.
        """
        when = self._mapping.when
        column = when.column
        try:
            local, is_day = figures.moment(cells[self._index[column]], when.formats)
            if when.time_column and cells[self._index[when.time_column]].strip():
                column = when.time_column
                local = datetime.combine(local, figures.time_of_day(cells[self._index[column]]))
                is_day = False
        except NotReadable as error:
            raise RowWrong(Reason(column, error.wrong, error.right)) from None
        if is_day:
            local = datetime.combine(local, time.fromisoformat(when.time_of_day))
        return (local if local.tzinfo else local.replace(tzinfo=self._zone)).astimezone(UTC), is_day

    def not_ahead(self, moment: datetime) -> datetime:
        """Give now for a row of today that is read before the hour at which days are taken."""
        now = self._around.now
        is_today = moment.astimezone(self._zone).date() == now.astimezone(self._zone).date()
        return now if is_today and moment > now else moment

    def tag(self, cells: Cells) -> str | None:
        """Give the bike's tag as written; None where bikes are told by a key."""
        column = self._mapping.bike.tag
        return None if column is None else self._filled(cells, column, "the bike's tag")

    def key(self, cells: Cells) -> str:
        """Give what tells the row's bike from others, without regard to case or spaces."""
        parts = [plain_form(cells[self._index[name]]) for name in self._mapping.bike.key]
        if not any(parts):
            names = " and ".join(self._mapping.bike.key)
            raise RowWrong(Reason(names, "is empty", "Say which bike it was"))
        return "\x1f".join(parts)

    def _filled(self, cells: Cells, column: str, what: str) -> str:
        text = cells[self._index[column]].strip()
        if not text:
            raise RowWrong(Reason(column, "is empty", f"Write {what}"))
        return text

    def is_of_a_job(self, payloads: Sequence[Payload]) -> bool:
        """Tell whether a row's events belong to a job."""
        return self._mapping.job is not None or any(kind in NEEDS_A_JOB for kind, _ in payloads)

    def job_number(self, cells: Cells) -> str | None:
        """Give the number of the row's job; None where each row is a job of its own."""
        job = self._mapping.job
        return self._filled(cells, job.column, "the job") if job and job.column else None

    def actor(self, cells: Cells) -> str:
        """Give who did it."""
        found = self._actor(cells)
        if not found:
            column = self._mapping.actor.column or "actor"
            raise RowWrong(Reason(column, "is empty", "Write who did it, or set actor.otherwise"))
        return str(found)

    def bike_fields(self, cells: Cells) -> dict[str, Any]:
        """Give what the row says about a bike seen for the first time."""
        return payload(self._bike_fields, cells)

    def payloads(self, cells: Cells) -> list[Payload]:
        """Give (kind, data) of every event the row gives rise to; raises RowWrong."""
        found: list[Payload] = []
        reasons: list[Reason] = []
        for rule in self._rules:
            try:
                found.extend(rule(cells))
            except RowWrong as wrong:
                reasons.extend(wrong.reasons)
        if reasons:
            raise RowWrong(*dict.fromkeys(reasons))
        if not found:
            columns = ", ".join(dict.fromkeys(self._event_columns()))
            raise RowWrong(Reason("row", f"says nothing in {columns}", "Fill one of them"))
        return found

    # -- how fields are read -----------------------------------------------------------

    def _rule(self, rule: EventRule) -> Callable[[Cells], list[Payload]]:
        makers = self._read.makers(rule.kind, rule.fields)
        applies = self._condition(rule)
        each = None if rule.each is None else self._index[rule.each]

        def alone(cells: Cells) -> list[Payload]:
            if not applies(cells):
                return []
            try:
                return [(rule.kind, self._read.complete(rule.kind, payload(makers, cells)))]
            except Skipped:
                return []

        def events(cells: Cells) -> list[Payload]:
            if each is None:
                return alone(cells)
            pieces = _pieces(cells[each], rule.split)
            found = [alone([*cells[:each], piece, *cells[each + 1 :]]) for piece in pieces]
            return [made for some in found for made in some]

        return events

    def _condition(self, rule: EventRule) -> Callable[[Cells], bool]:
        needs = [self._index[name] for name in rule.needs]
        wanted = [(self._index[n], words_pattern(words)) for n, words in rule.contains.items()]
        unwanted = [(self._index[n], words_pattern(words)) for n, words in rule.lacks.items()]
        sources = [s for s in rule.fields.values() if s.column is not None]
        any_of = [self._index[source.column] for source in sources if source.column]
        any_of += [] if rule.each is None else [self._index[rule.each]]
        if needs or wanted or rule.always:
            any_of = []

        def applies(cells: Cells) -> bool:
            return (
                all(cells[index].strip() for index in needs)
                and (not any_of or any(cells[index].strip() for index in any_of))
                and all(contains(cells[index], words) for index, words in wanted)
                and not any(contains(cells[index], words) for index, words in unwanted)
            )

        return applies

    # -- what the mapping says about the file --------------------------------------------

    def _event_columns(self) -> list[str]:
        rules = self._mapping.event
        named = [source.column for rule in rules for source in rule.fields.values()]
        return [name for name in named if name]

    def _refuse_unknown_columns(self, columns: Sequence[str]) -> None:
        problems = [
            Problem(
                "mapping",
                place,
                f"the file has no column '{name}'",
                nearest_words(name, columns),
                "mapping_column",
            )
            for place, name in self._columns_named()
            if name not in self._index
        ]
        if problems:
            raise Refused(problems)

    def _columns_named(self) -> list[tuple[str, str]]:
        mapping = self._mapping
        named: list[tuple[str, str | None]] = [
            ("when.column", mapping.when.column),
            ("when.time_column", mapping.when.time_column),
            ("bike.tag", mapping.bike.tag),
            ("actor", mapping.actor.column),
            ("job.column", mapping.job.column if mapping.job else None),
        ]
        named += [("bike.key", name) for name in mapping.bike.key]
        named += [(f"bike.{p}", source.column) for p, source in mapping.bike.fields.items()]
        for number, rule in enumerate(mapping.event, start=1):
            at = f"event {number}"
            named += [(f"{at}.{path}", source.column) for path, source in rule.fields.items()]
            named += [(at, name) for name in (*rule.needs, *rule.contains, *rule.lacks, rule.each)]
        return [(place, name) for place, name in named if name is not None]


def _pieces(cell: str, separators: Sequence[str]) -> list[str]:
    pieces = [cell]
    for separator in separators:
        pieces = [part for piece in pieces for part in piece.split(separator)]
    return [piece.strip() for piece in pieces if piece.strip()]

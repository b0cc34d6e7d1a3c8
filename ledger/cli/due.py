"""`due`: whom to call, about which bikes, and what to write to them."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, BookPath, open_book, when_asked
from ledger.cli.output import progress, say, say_json, say_table
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.figures.calls import Call, DueBike, DueList, DuePart
    from ledger.figures.due_words import DueWords

FEW = 40
"""Calls, and bikes on the bench, that are listed for people who did not say how many."""
COLUMNS = ("whom", "!bike", "what", "last read", "limit", "due", "how sure", "!not seen since")
BENCH = ("!job", "!bike", "what", "last read", "limit", "due", "how sure")


SeenWithin = Annotated[
    int | None,
    typer.Option(
        help="Only bikes seen within so many days; the others are counted.",
        min=0,
        max=36_500,
        show_default="540",
    ),
]
Every = Annotated[
    bool, typer.Option("--all", help="Also bikes not seen for longer, however long ago.")
]
Limit = Annotated[
    int | None,
    typer.Option(
        help="At most so many calls, the most pressing; 0 for all of them.",
        min=0,
        show_default=f"{FEW}; all with --messages, --csv or --json",
    ),
]


def due(
    within: Annotated[
        int, typer.Option(help="What reaches its limit within so many days.", min=0, max=1095)
    ] = 28,
    rider: Annotated[
        str | None,
        typer.Option(help="Only whom this may be: an id, or part of a name, phone or email."),
    ] = None,
    bike: Annotated[str | None, typer.Option(help="Only this bike, by its tag.")] = None,
    limit: Limit = None,
    seen_within: SeenWithin = None,
    every: Every = False,
    messages: Annotated[
        bool, typer.Option("--messages", help="Print the message to each keeper, ready to send.")
    ] = False,
    as_at: AsAt = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV, one row a part.")] = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """List whom to call: parts past their limit by now, or due soon.

    One call a keeper, for all of their bikes. Every date is an estimate with its 80 % interval.

    Examples:
    $ lockring due
    $ lockring due --limit 0
    $ lockring due --within 56 --rider reed --messages
    $ lockring due --all
    $ lockring due --bike 7K3M9QXA --json
    """
    if as_csv and as_json:
        raise WrongUse("Choose one of --csv and --json.")
    if every and seen_within is not None:
        raise WrongUse("Choose one of --all and --seen-within.")
    book = open_book(book_path)
    most = FEW if limit is None and not (messages or as_csv or as_json) else limit or None
    asked = {"within_days": within, "limit": most, **_seen_within(seen_within, every=every)}
    found, words = _found(book, rider, bike, as_at, asked)
    if as_json:
        from ledger.cli.due_forms import due_json

        say_json(due_json(found, words))
    elif as_csv:
        _say_csv(found, words)
    else:
        bench = found.bench if most is None else found.bench[:FEW]
        _say(book, replace(found, bench=bench), words, with_messages=messages)
        _say_more(found.count_calls - len(found.calls), len(found.bench) - len(bench))


def _seen_within(days: int | None, *, every: bool) -> dict[str, int | None]:
    """Give what is asked of when bikes were seen; nothing where it is as usual."""
    if every:
        return {"seen_within_days": None}
    return {} if days is None else {"seen_within_days": days}


def _found(
    book: Book,
    rider: str | None,
    bike: str | None,
    as_at: str | None,
    asked: Mapping[str, Any],
) -> tuple[DueList, DueWords]:
    from ledger.cli.bikes import tag_named
    from ledger.cli.people import rider_named
    from ledger.figures.ahead import OF_DUE, BookTables

    at, _ = when_asked(book, as_at)
    ahead = BookTables(book, at).ask_beside_kept(*OF_DUE)
    # While the engine is at it: much to load, the locale too.
    from ledger.figures.due import due_list
    from ledger.figures.due_words import DueWords

    words = DueWords(book.settings)
    tag = None if bike is None else tag_named(book, bike)
    who = None if rider is None else rider_named(book, rider)
    with progress("Working out what is due"):
        found = due_list(book, at, rider=who, bike=tag, ahead=ahead, **asked)
    return found, words


def _say_csv(found: DueList, words: DueWords) -> None:
    from ledger.cli.due_forms import COLUMNS as NAMES
    from ledger.cli.due_forms import due_rows

    rows = csv.DictWriter(sys.stdout, NAMES, lineterminator="\n")
    rows.writeheader()
    rows.writerows(due_rows(found, words))


# -- for people -------------------------------------------------------------------------------


def _say(book: Book, found: DueList, words: DueWords, *, with_messages: bool) -> None:
    say(
        f"As at {words.day(found.as_at)}, within {found.within_days} days: "
        f"{found.count_calls} {'call' if found.count_calls == 1 else 'calls'}"
        f"{f', the first {len(found.calls)} here' if len(found.calls) < found.count_calls else ''}."
    )
    unseen = words.unseen(found)
    if unseen:
        say(f"{unseen}: --all lists {'it' if found.count_long_unseen == 1 else 'them'}.")
    say()
    for title, calls in groupby(found.calls, lambda call: _group(call, words)):
        say_table(title, COLUMNS, [row for call in calls for row in _rows(call, words)])
    say_table("On the bench: tell the mechanic", BENCH, list(_bench(found.bench, words)))
    if with_messages:
        _say_messages(found.calls)
    if not found.calls and not found.bench:
        nothing = "Nothing else is due." if unseen else "Nothing is due."
        say(nothing if book.bikes() else "The book holds no bikes yet.")
        return
    _say_caution(found)


def _say_more(count_calls: int, count_bench: int) -> None:
    """Say what was not listed, and what lists it."""
    calls = f"{count_calls:,} more call{'' if count_calls == 1 else 's'}"
    bench = f"{count_bench:,} more bike{'' if count_bench == 1 else 's'} on the bench"
    left = [said for count, said in ((count_calls, calls), (count_bench, bench)) if count]
    if left:
        say(f"Not listed: {' and '.join(left)}. --limit 0 lists everything.")


def _say_caution(found: DueList) -> None:
    from ledger.figures.due_words import CAUTION

    say("These are estimates from readings: nothing was looked at again.")
    if found.calls.decides_safety or found.bench.decides_safety:
        say(CAUTION)


def _group(call: Call, words: DueWords) -> str:
    first = call.first
    if first.week is not None:
        return f"Due in the week of {words.day(first.week)}"
    if first.standing == "unclear":
        return "Not read for so long that no date tells anything: ask them in for a look"
    return "Past the limit by now, more likely than not"


def _rows(call: Call, words: DueWords) -> Iterator[Sequence[str]]:
    from ledger.figures.due_words import person_words
    from ledger.figures.written import made

    who = person_words(call.keeper)
    for bike in call.bikes:
        name, seen = made(bike.make, bike.model), words.day(bike.last_seen_at)
        ridden = f"{who}{_ridden_by(bike)}"
        for place, part in enumerate(bike.parts):
            head = (ridden, bike.bike) if place == 0 else ("", "")
            said = f"{name}: {_part(part)}" if place == 0 and name else _part(part)
            yield (*head, said, *_told(part, words), seen if place == 0 else "")
        who = ""


def _ridden_by(bike: DueBike) -> str:
    rider = bike.rider
    if rider.rider is None or rider.rider == bike.keeper.rider:
        return ""
    return f" (ridden by {rider.name or rider.rider})"


def _part(part: DuePart) -> str:
    return f"{part.place}, {part.quantity_label}"


def _told(part: DuePart, words: DueWords) -> tuple[str, str, str, str]:
    return words.reading(part), words.limit(part), words.when(part), words.sure(part)


def _bench(bikes: Sequence[DueBike], words: DueWords) -> Iterator[Sequence[str]]:
    for bike in bikes:
        for place, part in enumerate(bike.parts):
            head = (bike.jobs[-1].job, bike.bike) if place == 0 else ("", "")
            yield (*head, _part(part), *_told(part, words))


def _say_messages(calls: Sequence[Call]) -> None:
    from ledger.figures.due_words import person_words

    for call in calls:
        say(f"To {person_words(call.keeper)}")
        say(call.message or "  (no message: tell them at their next visit)")
        say()

"""`record` and `strike`: what happened at the bench goes into the book, for ever."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, Actor, AsJson, BookPath, ConfirmClock, open_book
from ledger.errors import Refused, UnreadableInput, WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

Text = str | None


What = Annotated[
    Text,
    typer.Argument(
        metavar="KIND or FILE",
        help="A kind of event, told by flags; or a file of JSON Lines; or - for stdin.",
        show_default=False,
    ),
]
Follow = Annotated[bool, typer.Option("--follow", help="Walk one service, asking step by step.")]
Bike = Annotated[Text, typer.Option(help="The bike tag.")]
Job = Annotated[Text, typer.Option(help="The job's id.")]
At = Annotated[
    Text, typer.Option(help="When it occurred, in the book's time zone; now if not given.")
]
Position = Annotated[Text, typer.Option(help="Where on the bike, such as rear_brake.")]
Quantity = Annotated[Text, typer.Option(help="What is measured or set.")]
Value = Annotated[Text, typer.Option(help='The figure and its unit: "72 psi", "0.5 mm".')]
Gauge = Annotated[Text, typer.Option(help="The gauge or torque tool used.")]
Note = Annotated[Text, typer.Option(help="Free text; kept encrypted.")]
More = Annotated[
    list[str] | None,
    typer.Option("--set", help="Any other field as key=value; JSON is read.", metavar="K=V"),
]
EventId = Annotated[
    Text, typer.Option("--id", help="Your own UUIDv7, so that a repeat is noticed.")
]
Restores = Annotated[Text, typer.Option(help="The struck event that this one records again.")]


def record(
    what: What = None,
    follow: Follow = False,
    bike: Bike = None,
    job: Job = None,
    actor: Actor = None,
    at: At = None,
    position: Position = None,
    quantity: Quantity = None,
    value: Value = None,
    gauge: Gauge = None,
    note: Note = None,
    more: More = None,
    event_id: EventId = None,
    restores: Restores = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Record events: a file of them, one by flags, or a whole service.

    Lines are CloudEvents 1.0 in JSON, one a line. All of one call is one
    commit: if anything is wrong, every problem is listed and nothing is
    recorded.

    Examples:
    $ lockring record bike_registered --bike 7K3M9QXA --set speeds=11
    $ lockring record measured --bike 7K3M9QXA --position chain
      --quantity elongation --value "0.55 %"
    $ lockring record events.jsonl
    $ lockring record --follow
    """
    flags = {
        "bike": bike, "job": job, "at": at, "id": event_id, "restores": restores,
        "position": position, "quantity": quantity, "value": value, "gauge": gauge, "note": note,
    }  # fmt: skip
    if follow:
        if what is not None:
            raise WrongUse(f"--follow asks for everything itself; {what!r} has no place beside it.")
        _follow(book_path, confirm_clock, {"bike": bike, "job": job, "actor": actor})
    elif what is None:
        raise WrongUse("Say what to record: a kind of event, a file, - for stdin, or --follow.")
    else:
        book = open_book(book_path)
        drafts, labels = _drafts(book, what, actor, flags, more or [])
        _record(book, drafts, labels, confirm_clock=confirm_clock, as_json=as_json)


def _drafts(
    book: Book, what: str, actor: Text, flags: dict[str, Text], more: list[str]
) -> tuple[list[dict[str, Any]], list[str] | None]:
    """Give the drafts that lines or flags describe, and what refusals call each line."""
    if _is_lines(what):
        _no_flags(flags, more)
        return _read_lines(book, what)
    return [_from_flags(book, what, actor, flags, more)], None


def _record(
    book: Book,
    drafts: list[dict[str, Any]],
    labels: list[str] | None,
    *,
    confirm_clock: bool,
    as_json: bool,
) -> None:
    from ledger.cli.booking import told_at_opening
    from ledger.cli.receipt import confirming, say_receipt

    receipt = confirming(
        lambda right: book.append(drafts, confirm_clock=right, labels=labels),
        confirm_clock=confirm_clock,
    )
    bookings = told_at_opening(book, drafts, receipt)
    say_receipt(book, receipt, as_json=as_json, bookings=bookings)


def _is_lines(what: str) -> bool:
    from ledger.events import event_classes

    return what == "-" or (what not in event_classes() and Path(what).exists())


def _read_lines(book: Book, what: str) -> tuple[list[dict[str, Any]], list[str]]:
    """Give the drafts in lines of CloudEvents, and what refusals call each.

    Raises Refused with everything that is wrong in any of them, and UnreadableInput.
    """
    from ledger.exchange.cloudevents import read

    with sys.stdin.buffer if what == "-" else Path(what).open("rb") as stream:
        lines = list(read(stream, book.settings.zone, shop=book.settings.shop))
    problems = [problem for line in lines for problem in line.problems]
    if problems:
        raise Refused(problems)
    drafts = [line.draft for line in lines if line.draft is not None]
    if not drafts:
        raise UnreadableInput(f"{'The input' if what == '-' else what} holds no events.")
    return drafts, [f"line {line.number} ({line.draft['kind']})" for line in lines if line.draft]


def _follow(book_path: Path, confirm_clock: bool, given: dict[str, Text]) -> None:
    from ledger.cli.follow import follow_service

    follow_service(open_book(book_path), given, confirm_clock=confirm_clock)


def strike(
    event: Annotated[
        str,
        typer.Argument(
            help="Its seq or id, as `history` shows them; or `last`, with --bike.", metavar="EVENT"
        ),
    ],
    reason: Annotated[str, typer.Option(help="Why it is void; kept encrypted.")],
    bike: Annotated[
        str | None, typer.Option(help="With `last`: the bike whose newest event is meant.")
    ] = None,
    actor: Actor = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Void an event, with a reason; it stays readable.

    What was known before the strike stays known as at that time. A strike
    cannot be struck: record the event again with --restores instead.

    Examples:
    $ lockring strike last --bike 7K3M9QXA --reason "wrong bike"
    $ lockring strike 0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f
      --reason "wrong bike"
    """
    from ledger.cli.drafts import actor_of
    from ledger.cli.receipt import confirming, say_receipt
    from ledger.cli.targets import target_of

    book = open_book(book_path)
    target = target_of(book, event, bike)
    who = actor_of(book, "event_struck", actor, {})
    receipt = confirming(
        lambda right: book.strike(target, reason, who, confirm_clock=right),
        confirm_clock=confirm_clock,
    )
    say_receipt(book, receipt, as_json=as_json)


def _no_flags(flags: dict[str, Text], more: list[str]) -> None:
    given = [f"--{name}" for name, text in flags.items() if text is not None]
    if more:
        given.append("--set")
    if given:
        raise WrongUse(f"{', '.join(given)}: lines of JSON bring their own fields.")


def _from_flags(
    book: Book, kind: str, actor: Text, flags: dict[str, Text], more: list[str]
) -> dict[str, Any]:
    from ledger.cli import drafts

    kind = drafts.kind_named(kind)
    named = ("position", "quantity", "value", "gauge", "note")
    fields = {
        **drafts.named_fields(kind, **{name: flags[name] for name in named}),
        **drafts.set_fields(more),
    }
    envelope = {
        "id": flags["id"],
        "bike": flags["bike"],
        "job": flags["job"],
        "restores": flags["restores"],
        "occurred_at": flags["at"],
        "actor": drafts.actor_of(book, kind, actor, fields),
    }
    return drafts.draft_event(book, kind, envelope, fields)

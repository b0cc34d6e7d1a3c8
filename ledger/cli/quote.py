"""`quote`: what was quoted in a job and what the keeper said; quoting, and recording answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.guard import Guarded
from ledger.cli.options import DEFAULT_BOOK, Actor, AsJson, BookPath, ConfirmClock, Tag, open_book
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from ledger.book import Book


class ShowsByTag(Guarded):
    """The commands about quotes; a tag in the place of one shows that bike's."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command; what is none is a tag to be shown."""
        if args and args[0] not in self.commands and not args[0].startswith("-"):
            args = ["show", *args]
        return super().resolve_command(ctx, args)


app = typer.Typer(cls=ShowsByTag, no_args_is_help=True)

Job = Annotated[str | None, typer.Option(help="The job, where several are open on the bike.")]
At = Annotated[str | None, typer.Option(help="When, in the book's time zone; now if not given.")]
OfTier = Annotated[str | None, typer.Option(help="The tier, at its price of that day.")]
LabourLines = Annotated[
    list[str] | None, typer.Option(help="Labour: task; minutes; price before tax.", metavar="T;M;P")
]
PartLines = Annotated[
    list[str] | None,
    typer.Option(
        help="A part: its name; price before tax; position; what it costs the shop.",
        metavar="N;P;AT;C",
    ),
]
OtherLines = Annotated[
    list[str] | None,
    typer.Option(help="Anything else: its name; price before tax.", metavar="N;P"),
]
LinesFile = Annotated[
    str | None, typer.Option(help="A JSON file with a list of lines; - for stdin.")
]
Tax = Annotated[
    str | None, typer.Option(help="The tax in %; that of the terms in force if not given.")
]
UpTo = Annotated[bool, typer.Option("--up-to", help="The prices are the most it may come to.")]
FoundLater = Annotated[
    bool, typer.Option("--found-later", help="The work came to light after the first quote.")
]
Replaces = Annotated[str | None, typer.Option(help="The quote that this one stands in for.")]
QuoteCode = Annotated[str | None, typer.Option("--id", help="Your own id of the quote.")]
Note = Annotated[str | None, typer.Option(help="Free text; kept encrypted.")]
HOW = ("in person", "phone", "message", "email", "other")


@app.callback()
def quote() -> None:
    """Show a job's quotes with the keeper's answers; quote, and record an answer.

    Nothing may be charged that nobody said yes to: quote it first, and
    record the answer. No reply is not a yes.

    Examples:
    $ lockring quote 7K3M9QXA
    """


@app.command("show")
def show(
    tag: Tag,
    job: Annotated[str | None, typer.Option(help="One job; the newest if not given.")] = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show the quotes of a job, line by line, with the last answer to each.

    Examples:
    $ lockring quote show 7K3M9QXA
    $ lockring quote show 7K3M9QXA --json
    """
    from ledger.cli import quote_words
    from ledger.cli.bikes import tag_named
    from ledger.cli.output import say, say_json
    from ledger.quotes import quotes_of

    book = open_book(book_path)
    bike = tag_named(book, tag)
    found = quotes_of(book, bike, job)
    if job is None and found:
        found = tuple(one for one in found if one.job == found[-1].job)
    if as_json:
        say_json([quote_words.quote_json(one) for one in found])
    elif found:
        quote_words.say_quotes(book, found)
    else:
        say(f"Nothing was quoted{f' in job {job}' if job else ''} on bike {bike}.")


@app.command("give")
def give(
    tag: Tag,
    tier: OfTier = None,
    labour: LabourLines = None,
    part: PartLines = None,
    other: OtherLines = None,
    lines: LinesFile = None,
    tax: Tax = None,
    up_to: UpTo = False,
    found_later: FoundLater = False,
    replaces: Replaces = None,
    code: QuoteCode = None,
    note: Note = None,
    job: Job = None,
    at: At = None,
    actor: Actor = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Quote work and parts on a bike's open job; prices are before tax.

    Examples:
    $ lockring quote give 7K3M9QXA --labour "gears; 20; 18.50" --up-to
    $ lockring quote give 7K3M9QXA --part "Quay 11; 24.50; chain; 13.20"
      --labour "drivetrain; 10; 9.00" --found-later
    """
    from ledger import quotes
    from ledger.bench.walked import short_code
    from ledger.cli import quote_lines
    from ledger.clocks import job_of

    book = open_book(book_path)
    who, bike = _who(book, actor), _bike(tag)
    on, when = job_of(book, bike, job), _when(book, at)
    read = quote_lines.read_lines(
        book, tax, when,
        tier=tier, labour=labour or [], part=part or [], other=other or [], path=lines,
    )  # fmt: skip
    name = code or short_code("Q")
    draft = quotes.give_draft(
        who, bike, on, name, read, book.settings.currency,
        form="up to" if up_to else "fixed", is_found_later=found_later, replaces=replaces,
        note=note,
    )  # fmt: skip
    _record(book, [draft], when, confirm_clock, as_json)


@app.command("answer")
def answer(
    tag: Tag,
    line: Annotated[
        list[str] | None,
        typer.Argument(help="The lines meant; every line without an answer if none."),
    ] = None,
    is_yes: Annotated[bool, typer.Option("--yes", help="The keeper says yes.")] = False,
    is_no: Annotated[bool, typer.Option("--no", help="The keeper says no.")] = False,
    is_later: Annotated[bool, typer.Option("--later", help="Not now.")] = False,
    is_silent: Annotated[
        bool, typer.Option("--no-reply", help="Nobody answered: that is no yes.")
    ] = False,
    by: Annotated[str | None, typer.Option(help="Who answered: a rider's id.")] = None,
    how: Annotated[str, typer.Option(help="in person, phone, message, email or other.")] = HOW[0],
    job: Job = None,
    at: At = None,
    actor: Actor = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Record what the keeper said to the lines of a quote.

    Examples:
    $ lockring quote answer 7K3M9QXA --yes --by r1 --how phone
    $ lockring quote answer 7K3M9QXA Q1.1 Q1.2 --no
    """
    from ledger import quotes

    given = {"yes": is_yes, "no": is_no, "later": is_later, "no reply": is_silent}
    said = [word for word, is_given in given.items() if is_given]
    if len(said) != 1:
        raise WrongUse("Say what the answer was: one of --yes, --no, --later and --no-reply.")
    if how not in HOW:
        raise WrongUse(f"--how {how!r} is not one of: {', '.join(HOW)}.")
    book = open_book(book_path)
    who, bike = _who(book, actor), _bike(tag)
    found = quotes.quotes_of(book, bike, _quoted_job(book, bike, job))
    meant = line or [
        one.line.line for one in quotes.standing_lines(found) if one.answer in (None, "no reply")
    ]
    if not meant:
        raise quotes.QuoteRefused(f"Every line quoted on bike {bike} has its answer; name a line.")
    answers = dict.fromkeys(meant, said[0])
    drafts = quotes.answer_drafts(found, answers, who, bike, how, by)
    _record(book, drafts, _when(book, at), confirm_clock, as_json)


def _quoted_job(book: Book, bike: str, job: str | None) -> str:
    from ledger.clocks import job_of

    return job_of(book, bike, job)


def _who(book: Book, actor: str | None) -> str:
    from ledger.cli.drafts import actor_of

    return actor_of(book, "quote_given", actor, {})


def _bike(tag: str) -> str:
    from ledger.cli.bikes import tag_form

    return tag_form(tag)


def _when(book: Book, at: str | None) -> datetime | None:
    from ledger.cli.drafts import moment_given

    return None if at is None else moment_given(book, at)


def _record(
    book: Book,
    drafts: Sequence[dict[str, Any]],
    when: datetime | None,
    confirm_clock: bool,
    as_json: bool,
) -> None:
    from ledger.cli.receipt import confirming, say_receipt
    from ledger.events.types import format_moment

    dated = {} if when is None else {"occurred_at": format_moment(when)}
    told = [{**draft, **dated} for draft in drafts]
    receipt = confirming(
        lambda right: book.append(told, confirm_clock=right), confirm_clock=confirm_clock
    )
    say_receipt(book, receipt, as_json=as_json)

"""`states`: every bike of the book as at a date, a line each; as JSON, all that `state` tells."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, AsKnown, BookPath, open_book, when_asked
from ledger.cli.output import say, say_json_list, say_table

if TYPE_CHECKING:
    from ledger.view import BikeView
    from ledger.vocabulary import Vocabulary

_OPEN = (">faults", ">findings", ">advice", ">jobs")
_COLUMNS = ("!bike", "ridden for", ">km", ">parts", *_OPEN, ">events")


def states(
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show every bike as at a date: km, parts fitted, and what is open.

    A bike that was joined from several tags stands once, under the first of them. A date that was
    asked for before is answered from what was kept of it, once a book is large.

    Examples:
    $ lockring states
    $ lockring states --as-at 2026-03-01 --json
    $ lockring states --as-at 2026-03-01 --as-known 2026-04-01
    """
    from ledger.kept.states import kept_views
    from ledger.view import view_json

    book = open_book(book_path)
    views = kept_views(book, *when_asked(book, as_at, as_known))
    if as_json:
        say_json_list(view_json(view) for view in views)
        return
    known = book.vocabulary
    rows = [_row(view, known) for view in views]
    say_table("Bikes", _COLUMNS, rows)
    if not rows:
        say("Nothing was recorded of any bike by then.")


def _row(view: BikeView, known: Vocabulary) -> list[str]:
    from ledger.cli.words import figure

    riding = known.ridings.get(view.riding or "")
    return [
        view.bike,
        riding.label if riding else view.riding or "",
        figure(view.distance_km),
        *(
            str(len(some))
            for some in (
                view.fitted,
                view.faults_open,
                view.findings_open,
                view.advice_open,
                view.jobs_open,
            )
        ),
        str(view.events_used),
    ]

"""`demo`: a book of three years of an invented workshop, to look around in."""

from __future__ import annotations

import json
import shutil
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, BookPath
from ledger.cli.output import progress, say
from ledger.cli.readied import ready
from ledger.errors import BookExists, UnreadableInput

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.exchange.own import BroughtIn
    from ledger.riders import Rider


def demo(
    source: Annotated[
        Path | None,
        typer.Option("--from", help="A folder made by demo_events.generate; else the one here."),
    ] = None,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Build a demo book: three years of an invented harbour-town shop.

    Examples:
    $ lockring demo
    $ lockring demo --book ./harbour
    """
    from ledger.cli.receipt import count_words
    from ledger.storage.address import is_address, written

    folder, where = source or _demo_folder(), written(book_path)
    if book_path.exists() and (not book_path.is_dir() or any(book_path.iterdir())):
        raise BookExists(f"{book_path} already holds something. Choose an empty or a new folder.")
    done = send(folder, where) if is_address(book_path) else build(folder, book_path)
    say(f"Built a demo book in {where}: {count_words(done.count_events)}.")
    say("Nobody and nothing in it is real. Next:")
    say(f"  lockring bikes --book {where}")
    say(f"  lockring dashboard --book {where}")


def _demo_folder() -> Path:
    found = find_spec("demo_events")
    places = list(found.submodule_search_locations or ()) if found else []
    if not places:
        raise UnreadableInput("The demo's events are not installed; give their folder with --from.")
    return Path(places[0])


def build(folder: Path, path: Path) -> BroughtIn:
    """Build the book beside its place and move it there whole; gives what was brought in.

    Raises UnreadableInput where the folder holds no demo, and Refused where a rule is broken.
    """
    from ledger.book import Book

    settings = _settings(folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    making = Path(tempfile.mkdtemp(prefix=f".{path.name}-making-", dir=path.parent))
    try:
        done = _fill(making / "book", folder, settings)
        ready(Book.open(making / "book"))
        if path.exists():
            path.rmdir()
        (making / "book").rename(path)
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return done


def send(folder: Path, address: str) -> BroughtIn:
    """Build the book on this machine, and put it under an address as a whole.

    Raises as `build` does, and as `MirroredHome.take_in` does.
    """
    from ledger.book import Book
    from ledger.home.mirrored import MirroredHome
    from ledger.home.places import mirror_of

    home = MirroredHome(address, mirror_of(address))
    home.check_free()
    with tempfile.TemporaryDirectory(prefix="lockring-demo-") as making:
        done = _fill(Path(making) / "book", folder, _settings(folder))
        home.take_in(Path(making) / "book")
    ready(Book.open(address))
    return done


def _fill(path: Path, folder: Path, settings: dict[str, Any]) -> BroughtIn:
    from ledger.book import Book
    from ledger.exchange.own import import_own

    book = Book.init(
        path,
        shop=settings["shop"],
        name=settings["shop_name"],
        currency=settings["currency"],
        time_zone=settings["time_zone"],
    )
    _enter_riders(book, folder / "riders.parquet")
    with progress("Building the demo book", settings.get("events")) as tell:
        return import_own(book, folder / "events.parquet", on_progress=tell)


def _settings(folder: Path) -> dict[str, Any]:
    try:
        found = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["settings"]
    except (OSError, ValueError, KeyError, TypeError):
        raise UnreadableInput(
            f"{folder} holds no demo. Make one: python -m demo_events.generate --out {folder}"
        ) from None
    return dict(found)


def _enter_riders(book: Book, path: Path) -> None:
    import pyarrow.parquet as pq

    book.riders.add(_rider(row) for row in pq.read_table(path).to_pylist())


def _rider(row: dict[str, Any]) -> Rider:
    from ledger.riders import Rider

    contact, weight = row["contact"] or "", row["weight_kg"]
    return Rider(
        rider=row["rider"],
        name=row["name"],
        phone=None if "@" in contact else contact or None,
        email=contact if "@" in contact else None,
        weight_kg=None if weight is None else str(weight),
        may_contact=bool(row["may_contact"]),
    )

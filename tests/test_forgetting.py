"""Forgetting a rider: nothing of them is left, nothing else is lost, and a crash is made good."""

from __future__ import annotations

import io
import json
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image

from ledger import queries
from ledger.asking import OWNER
from ledger.book import Book
from ledger.errors import Refused
from ledger.forgetting import forget, unfinished, what_is_held
from ledger.key_backups import Forgotten, KeyBackup, KeyBackups
from ledger.photos import add_photo, photos_of, read_photo
from ledger.proofs.check import check
from ledger.proofs.make import Receipts
from ledger.proofs.verify import check_files, check_rules
from ledger.riders import Rider, RiderForgotten, UnknownRider
from ledger.unsent import FormKey, Unsent
from tests.bench.stand_book import OTHER, TAG, Clock, new_book, open_job

NAME, PHONE, EMAIL = "Ottilie Wrenfield", "+351 912 345 678", "ottilie@wrenfield.example"
WORDS = "Creaks under load on the harbour climb"
LATER = datetime(2030, 1, 1, tzinfo=UTC)


def jpeg(colour: str = "red") -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(made, "JPEG")
    return made.getvalue()


def noted(tag: str, text: str, **more) -> dict:
    return {
        "kind": "noted",
        "bike": tag,
        "actor": "mia",
        "data": {"position": "chain", "text": text},
        **more,
    }


def ridden(tag: str, rider: str, **more) -> dict:
    return {"kind": "rider_changed", "bike": tag, "actor": "mia", "data": {"rider": rider, **more}}


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A bike of a rider who is to be forgotten, and one of somebody else."""
    made = new_book(tmp_path / "book")
    made.riders.add([Rider("r-o", NAME, PHONE, EMAIL, "61.5", True, "2026-01-05T00:00:00.000000Z")])
    made.append([{"kind": "bike_registered", "bike": OTHER, "actor": "mia", "data": {}}])
    add_photo(made, OTHER, None, "mia", jpeg("blue"))
    made.append([ridden(OTHER, "r-o"), noted(OTHER, WORDS), noted(TAG, "Words of another")])
    add_photo(made, OTHER, None, "mia", jpeg("red"), caption="Rust")
    open_job(made)
    add_photo(made, TAG, "J1", "mia", jpeg("green"))
    return made


def raw_bytes(book: Book) -> bytes:
    """Everything on disk in the register and the private file, journals and logs with them."""
    files = [path for path in book.path.iterdir() if path.suffix != ".toml" and path.is_file()]
    return b"".join(path.read_bytes() for path in files)


def whole(book: Book) -> bool:
    """Tell whether the book passes every check there is."""
    return check_files(book.path).problems == [] and check_rules(book.path) == []


def key_of(book: Book, rider: str) -> tuple[str, bytes]:
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        return register.execute("select key, secret from keys where rider = ?", (rider,)).fetchone()


def photos_in(book: Book) -> set[str]:
    return {path.name for path in (book.path / "photos").iterdir()}


def test_neither_name_nor_contact_nor_key_is_left_on_disk(book: Book) -> None:
    """In no byte of the files, whatever was in their pages before."""
    _, secret = key_of(book, "r-o")
    book.riders.add(Rider(f"x-{n}", f"Name {n}", "5" * 40) for n in range(300))
    for n in range(0, 300, 2):
        book.riders.remove(f"x-{n}")
    wanted = [NAME.encode(), PHONE.encode(), EMAIL.encode(), secret]
    assert all(one in raw_bytes(book) for one in wanted)
    done = forget(book, what_is_held(book, "r-o"))
    assert not any(one in raw_bytes(book) for one in wanted)
    assert (done.held.count_texts, done.held.bikes) == (2, (OTHER,))
    assert [one.rider for one in book.riders.all() if one.rider == "r-1"] == ["r-1"]
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        assert register.execute("pragma integrity_check").fetchone() == ("ok",)


def test_nothing_is_left_in_a_write_ahead_log(book: Book) -> None:
    """Where somebody has switched the register to one."""
    _, secret = key_of(book, "r-o")
    keeping = sqlite3.connect(book.path / "riders.sqlite")
    keeping.execute("pragma journal_mode = wal")
    keeping.execute("update riders set weight_kg = '62' where rider = 'r-o'")
    keeping.commit()
    assert NAME.encode() in raw_bytes(book)
    forget(book, what_is_held(book, "r-o"))
    assert NAME.encode() not in raw_bytes(book) and secret not in raw_bytes(book)
    keeping.close()


def test_everything_else_goes_on_and_text_reads_as_forgotten(book: Book) -> None:
    """Proofs, receipts made before, state, timeline, and everybody else's words."""
    event = next(one for one in book.bike_events(OTHER) if one.kind == "noted")
    receipt = Receipts(book).of_event(event.seq or 0).to_json()
    before = queries.bike_view(book, OTHER, LATER)
    forget(book, what_is_held(book, "r-o"))
    assert whole(book)
    assert check(receipt) == [] and Receipts(book).of_event(event.seq or 0).to_json() == receipt
    assert queries.bike_view(book, OTHER, LATER) == before
    told = {one.id: one.data for one in queries.timeline(book, OTHER, asker=OWNER)}
    assert told[event.id]["text"] is None
    (other,) = [one for one in queries.timeline(book, TAG, asker=OWNER) if one.kind == "noted"]
    assert other.data["text"] == "Words of another"


def test_another_process_that_has_the_book_open_loses_the_key_too(book: Book) -> None:
    """It looks at the register whenever it opens text, and keeps no key that is gone."""
    running = Book.open(book.path, clock=Clock())
    (event,) = [one for one in running.bike_events(OTHER) if one.kind == "noted"]
    assert running.reveal(event)["data"]["text"] == WORDS
    (photo, _) = photos_of(running, OTHER)
    assert read_photo(running, photo.photo, photo.key) is not None
    forget(book, what_is_held(book, "r-o"))
    assert running.reveal(event)["data"]["text"] is None
    assert read_photo(running, photo.photo, photo.key) is None
    with pytest.raises(Refused):
        running.append([noted(OTHER, "written as if nothing were")])


def test_text_about_a_forgotten_riders_bike_is_refused_with_what_to_do(book: Book) -> None:
    """Figures go on; text does once somebody else rides it; under no key it is never kept."""
    forget(book, what_is_held(book, "r-o"))
    with pytest.raises(Refused, match="rider_changed") as refused:
        book.append([noted(OTHER, "Pads done")])
    (problem,) = refused.value.problems
    assert (problem.rule, problem.field) == ("rider_forgotten", "data.text")
    assert book.check([noted(OTHER, "Pads done")]).problems[0].rule == "rider_forgotten"
    with pytest.raises(RiderForgotten, match="rider_changed"):
        add_photo(book, OTHER, None, "mia", jpeg("white"))
    with pytest.raises(RiderForgotten):
        Unsent(book.path / "private.sqlite", book.keys).put(FormKey("mia"), {"a": "b"}, "r-o")
    odometer = {"odometer": {"value": "900", "unit": "km"}}
    book.append([{"kind": "distance_read", "bike": OTHER, "actor": "mia", "data": odometer}])
    book.append([ridden(OTHER, "r-1", note="bought it"), noted(OTHER, "Pads done")])
    assert queries.timeline(book, OTHER, asker=OWNER)[-1].data["text"] == "Pads done"
    assert key_or_none(book, "r-o") is None


def test_the_same_entry_sent_again_after_forgetting_adds_nothing(book: Book) -> None:
    """A press that was lost on the way is no second event, though its text can be read no more."""
    draft = noted(OTHER, "sent twice", id="018f22e2-79b0-7cc3-98c4-0000000000aa")
    first = book.append([draft])
    forget(book, what_is_held(book, "r-o"))
    again = book.append([draft])
    assert [one.is_new for one in again.events] == [False]
    assert again.events[0].seq == first.events[0].seq


def test_a_wrong_entry_of_a_forgotten_riders_bike_can_be_struck(book: Book) -> None:
    """Once it is said that nobody in particular rides it."""
    (event,) = [one for one in book.bike_events(OTHER) if one.kind == "noted"]
    forget(book, what_is_held(book, "r-o"))
    with pytest.raises(Refused, match="nobody in particular"):
        book.strike(event.id, "on the wrong bike", "mia")
    book.append([{"kind": "rider_changed", "bike": OTHER, "actor": "mia", "data": {}}])
    book.strike(event.id, "on the wrong bike", "mia")
    (struck,) = [one for one in queries.timeline(book, OTHER, asker=OWNER) if one.is_struck]
    assert struck.id == event.id


def key_or_none(book: Book, rider: str) -> str | None:
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        row = register.execute("select key from keys where rider = ?", (rider,)).fetchone()
    return row and row[0]


def test_a_rider_entered_anew_gets_another_key_and_the_old_text_stays_noise(book: Book) -> None:
    """The same id again is a new person to the book."""
    old, _ = key_of(book, "r-o")
    forget(book, what_is_held(book, "r-o"), at=datetime.now(UTC) - timedelta(seconds=1))
    book.riders.add([Rider("r-o", "Somebody New")])
    book.append([noted(OTHER, "Bled")])
    new, _ = key_of(book, "r-o")
    assert new != old
    texts = [
        one.data["text"]
        for one in queries.timeline(book, OTHER, asker=OWNER)
        if one.kind == "noted"
    ]
    assert texts == [None, "Bled"]
    assert unfinished(book) == [] and Forgotten(book.riders.path).enforce() == 0


def test_photos_are_removed_where_asked_and_only_theirs(book: Book) -> None:
    """Their bikes', also from before they were named; nobody else's; without, files stay."""
    theirs = {one.photo for one in photos_of(book, OTHER)}
    (other,) = photos_of(book, TAG)
    held = what_is_held(book, "r-o")
    assert set(held.photos) == theirs and len(theirs) == 2
    assert len(held.photos_under_book_key) == 1
    assert forget(book, held).photos_removed == ()
    assert theirs <= photos_in(book)
    late = what_is_held(book, "r-o")
    assert set(late.photos) == theirs, "they can be asked for afterwards"
    assert set(forget(book, late, photos=True).photos_removed) == theirs
    assert photos_in(book) == {other.photo}
    assert read_photo(book, other.photo, other.key) is not None
    assert whole(book)
    listed = [(one.caption, one.key) for one in photos_of(book, OTHER)]
    assert len(listed) == 2, "that there were photos stays in the book"


def test_a_photo_that_another_riders_event_names_stays(book: Book) -> None:
    """One of another bike, attached under the same name."""
    mine = next(one for one in photos_of(book, OTHER) if one.key != "book")
    draft = {"photo": mine.photo, "key": key_of(book, "r-1")[0], "media_type": "image/jpeg"}
    book.append([{"kind": "photo_attached", "bike": TAG, "actor": "mia", "data": draft}])
    assert mine.photo not in what_is_held(book, "r-o").photos


def test_half_typed_forms_about_them_are_dropped(book: Book) -> None:
    """Those under their key, and those that name them under another; nobody else's."""
    unsent = Unsent(book.path / "private.sqlite", book.keys)
    about = FormKey("mia", OTHER, "J9", "note")
    naming = FormKey("mia", "", "", "new bike")
    other = FormKey("tom", TAG, "J1", "note")
    unsent.put(about, {"text": "half a sent"}, "r-o")
    unsent.put(naming, {"rider": {"name": NAME.upper()}})
    unsent.put(other, {"text": "of Ottiliewrenfield street"}, "r-1")
    held = what_is_held(book, "r-o")
    assert set(held.drafts) == {about, naming}
    forget(book, held)
    assert [one.key for one in unsent.all()] == [other]
    assert unsent.sealed_with(key_of(book, "r-1")[0]) == [other]


def test_copies_that_hold_the_key_are_listed_with_their_end(book: Book) -> None:
    """Those made since the key was, and before it is gone."""
    backups, now = KeyBackups(book.riders.path), datetime.now(UTC)
    old = KeyBackup("disk", "old", now - timedelta(days=400), now + timedelta(days=9))
    new = KeyBackup("stick", "new", now + timedelta(milliseconds=1), now + timedelta(days=90))
    for one in (old, new):
        backups.note(one)
    held = what_is_held(book, "r-o")
    assert held.key_backups == (new,)
    time.sleep(0.01)
    old_key, _ = key_of(book, "r-o")
    forget(book, held)
    assert [(one.key, one.rider) for one in Forgotten(book.riders.path).all()] == [(old_key, "r-o")]
    assert what_is_held(book, "r-o").key_backups == (old, new), "may hold them"


def test_an_older_copy_of_the_register_brings_nobody_back(book: Book, tmp_path: Path) -> None:
    """What is noted as forgotten goes again, row and key."""
    shutil.copy(book.path / "riders.sqlite", tmp_path / "copy.sqlite")
    forget(book, what_is_held(book, "r-o"))
    older = tmp_path / "copy.sqlite"
    Forgotten(older).add(Forgotten(book.riders.path).all())
    assert Forgotten(older).enforce() == 2
    assert NAME.encode() not in older.read_bytes()


def test_who_was_never_there_is_told_apart_from_who_was_forgotten(book: Book) -> None:
    """And forgetting twice is one forgetting."""
    with pytest.raises(UnknownRider, match="r-nobody"):
        what_is_held(book, "r-nobody")
    first = forget(book, what_is_held(book, "r-o"))
    again = what_is_held(book, "r-o")
    assert again.is_done and again.forgotten_at == first.forgotten_at
    assert forget(book, again).forgotten_at == first.forgotten_at
    assert len(Forgotten(book.riders.path).all()) == 1


def test_a_keeper_or_payer_is_forgotten_once_for_all_their_bikes(book: Book) -> None:
    """One id, one forgetting, whatever they are to a bike."""
    book.append([ridden(TAG, "r-1", keeper="r-o", payer="r-o")])
    held = what_is_held(book, "r-o")
    assert held.bikes == (OTHER, TAG) if OTHER < TAG else (TAG, OTHER)
    assert len(held.photos) == 2, "the photo of somebody else's bike is under their key"
    forget(book, held)
    book.append([noted(TAG, "its rider has a key")])


_RUN = """
import sys
from ledger.asking import OWNER
from ledger.book import Book
from ledger.forgetting import forget, what_is_held
book = Book.open(sys.argv[1])
held = what_is_held(book, "r-o")
print("ready", flush=True)
sys.stdin.readline()
forget(book, held, photos=True)
"""


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_killed_at_any_point_it_is_told_and_finished_by_running_it_again(
    book: Book, seed: int
) -> None:
    """Never the row gone and the key still there without a word."""
    Unsent(book.path / "private.sqlite", book.keys).put(FormKey("mia"), {"note": NAME})
    _, secret = key_of(book, "r-o")
    process = subprocess.Popen(
        [sys.executable, "-c", _RUN, str(book.path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert process.stdout is not None and process.stdin is not None
    process.stdout.readline()
    process.stdin.write(b"\n")
    process.stdin.flush()
    time.sleep(random.Random(seed).uniform(0, 0.06))
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdin.close()
    process.stdout.close()
    _check_after_crash(Book.open(book.path), secret)


@pytest.mark.parametrize("step", ["add", "drop_all", "destroy", "remove", "trace", "photo"])
def test_stopped_before_each_step_it_is_told_and_finished(
    book: Book, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every step in turn is the one that does not come."""
    Unsent(book.path / "private.sqlite", book.keys).put(FormKey("mia"), {"note": NAME})
    _, secret = key_of(book, "r-o")

    def stop(*given, **more):
        raise KeyboardInterrupt

    where = {
        "add": "ledger.forgetting.Forgotten.add",
        "drop_all": "ledger.forgetting.Unsent.drop_all",
        "destroy": "ledger.riders.Keyring.destroy",
        "remove": "ledger.riders.Riders.remove",
        "trace": "ledger.forgetting.leave_no_trace",
        "photo": "ledger.forgetting._remove_photo",
    }
    with monkeypatch.context() as patch:
        patch.setattr(where[step], stop)
        with pytest.raises(KeyboardInterrupt):
            forget(book, what_is_held(book, "r-o"), photos=True)
    _check_after_crash(Book.open(book.path), secret)


def _check_after_crash(book: Book, secret: bytes) -> None:
    has_row, has_key = book.riders.get("r-o") is not None, key_or_none(book, "r-o") is not None
    is_noted = bool(Forgotten(book.riders.path).all())
    assert has_row or not has_key, "a key without a row"
    assert is_noted or (has_row and has_key)
    assert unfinished(book) == (["r-o"] if is_noted and (has_row or has_key) else [])
    forget(book, what_is_held(book, "r-o"), photos=True)
    assert unfinished(book) == [] and what_is_held(book, "r-o").is_done
    left = raw_bytes(book)
    assert not any(one in left for one in (NAME.encode(), PHONE.encode(), secret))
    assert Unsent(book.path / "private.sqlite", book.keys).all() == []
    assert len(photos_in(book)) == 1
    assert whole(book)


def test_nothing_kept_beside_the_book_holds_what_a_rider_said(book: Book, monkeypatch) -> None:
    """Whatever figures are asked for: derived tables are of ids and figures."""
    from ledger import kept
    from ledger.figures.due import due_list
    from ledger.storage import aside

    monkeypatch.setattr(kept, "FEWEST_EVENTS", 0)
    due_list(book)
    found = [path for path in (book.path / "derived").rglob("*") if path.is_file()]
    assert found
    for path in found:
        table = aside.read(path)
        said = path.read_bytes() if table is None else json.dumps(table.to_pylist(), default=str)
        for wanted in (WORDS, NAME):
            assert wanted not in said if isinstance(said, str) else wanted.encode() not in said

"""Receipts hold without the book, and nothing but themselves holds as them."""

from __future__ import annotations

import base64
import copy
import json
import random
import sqlite3

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.errors import BookDamaged
from ledger.proofs import Receipts, check, signed_root
from ledger.proofs.make import NothingToProve
from ledger.reports.shapes import ReceiptOfBook
from ledger.signing import NoKey, Signer
from ledger.storage import aside, tree_kept

SIZE = 13


@pytest.fixture(scope="module")
def documents(proved_book):
    """Every event's receipt, and that of growth between any two sizes, as JSON gives them back."""
    receipts = Receipts(proved_book)
    made = [receipts.of_event(seq) for seq in range(1, SIZE + 1)]
    grown = [
        receipts.of_growth(old, new) for new in range(1, SIZE + 1) for old in range(1, new + 1)
    ]
    return [json.loads(json.dumps(one.to_json())) for one in (*made, *grown)]


def test_every_receipt_holds(documents, proved_book):
    """Every event's and every growth's, with the book's key as the one that is trusted."""
    key = Signer(proved_book.path).key
    for document in documents:
        assert check(document) == []
        assert check(document, key) == check(document, key.upper()) == []


def test_an_event_is_in_it_as_it_was_hashed(documents, book):
    """The bytes are the book's own, with the number and id beside them."""
    for document, (seq, _, canonical) in zip(documents, book.rows(), strict=False):
        assert base64.b64decode(document["event"]) == canonical
        assert (document["seq"], document["id"]) == (seq, json.loads(canonical)["id"])
        assert (document["size"], document["root"]) == (SIZE, book.head.root)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_no_changed_receipt_holds(documents, data):
    """One letter, digit or number changed anywhere, a hash more or less: it holds no more."""
    document = data.draw(st.sampled_from(documents))
    field = data.draw(st.sampled_from(sorted(document)))
    changed = copy.deepcopy(document)
    value = changed[field]
    if isinstance(value, int):
        changed[field] = data.draw(st.integers(-1, 2**60).filter(lambda one: one != value))
    elif isinstance(value, str):
        changed[field] = with_another_sign(data, value)
    elif value and data.draw(st.booleans()):
        place = data.draw(st.integers(0, len(value) - 1))
        changed[field][place] = with_another_sign(data, value[place])
    else:
        changed[field] = [*value, document["root"]]
    assert check(changed), field


def with_another_sign(data, text):
    at = data.draw(st.integers(0, len(text) - 1))
    sign = data.draw(
        st.sampled_from("0123456789abcdefXYZ-_ é\n").filter(lambda one: one != text[at])
    )
    return text[:at] + sign + text[at + 1 :]


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=9),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(max_examples=100, deadline=None)
@given(ANY_JSON)
def test_any_json_at_all_is_told_apart(anything):
    """What is no receipt is a problem, never a failure of the check."""
    assert check(anything)
    assert check(anything, "00" * 32)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_any_field_of_any_kind_is_told_apart(documents, data):
    """Any JSON in the place of one field is a problem too, and so is a field that is missing."""
    changed = dict(data.draw(st.sampled_from(documents)))
    field = data.draw(st.sampled_from(sorted(changed)))
    value = data.draw(ANY_JSON)
    if value == changed[field]:
        return
    changed[field] = value
    assert check(changed)
    del changed[field]
    assert check(changed)


def test_another_key_is_named(documents):
    """A receipt that holds by itself does not hold for who knows another key of the shop."""
    (problem,) = check(documents[0], "ab" * 32)
    assert (problem.field, problem.rule) == ("key", "receipt_key")
    assert "ab" * 32 in problem.wrong


def test_a_receipt_of_another_event_in_its_place_is_refused(documents, book):
    """An event of the forger's own, with the numbers to match, does not lead to the root."""
    forged = dict(documents[4])
    event = json.loads(base64.b64decode(forged["event"]))
    event["data"]["treatment"] = "lubricated"
    forged["event"] = base64.b64encode(json.dumps(event).encode()).decode()
    assert [one.field for one in check(forged)] == ["path"]


def test_older_receipts_still_hold_and_grow_into_the_book(book):
    """After more was recorded, a receipt of before holds, and growth leads from its root."""
    before = Receipts(book).of_event(3).to_json()
    book.append([{"kind": "mechanic_registered", "actor": "m1", "data": {"mechanic": "m2"}}])
    grown = Receipts(Book.open(book.path)).of_growth(before["size"]).to_json()
    assert check(before) == check(grown) == []
    assert (grown["from_size"], grown["from_root"]) == (before["size"], before["root"])
    assert grown["size"] == SIZE + 1


def test_an_event_is_found_by_id_and_by_commit(book):
    """By any id of the book, and all of a commit's."""
    receipts = Receipts(book)
    for event in book.events():
        assert receipts.seq_of(event.id) == receipts.seq_of(event.id.upper()) == event.seq
    assert receipts.seqs_of_commit(4) == list(range(4, 10))


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda of: of.of_event(0), "no event 0"),
        (lambda of: of.of_event(14), "no event 14; the newest is 13"),
        (lambda of: of.of_growth(0), "from 1 to 13"),
        (lambda of: of.of_growth(9, 8), "from 9 to 8"),
        (lambda of: of.of_growth(9, 99), "from 9 to 99"),
        (lambda of: of.seqs_of_commit(6), "no commit 6"),
        (lambda of: of.seq_of("J-1"), "not the id of an event"),
        (lambda of: of.seq_of("ffffffff-ffff-7fff-bfff-ffffffffffff"), "no event ffffffff"),
    ],
)
def test_what_is_not_there_cannot_be_proved(book, ask, said):
    """One line says what the book has instead."""
    with pytest.raises(NothingToProve, match=said):
        ask(Receipts(book))


def test_an_empty_book_proves_nothing(tmp_path):
    """It has no root to sign either, and no witness."""
    empty = Book.init(tmp_path / "empty", shop="quay")
    assert signed_root(empty) is None
    with pytest.raises(NothingToProve):
        Receipts(empty).of_event(1)
    assert not (empty.path / "witness.txt").exists()


def test_a_forged_cache_is_not_believed(tmp_path):
    """Hashes kept beside the book that lead to a wrong root are made anew from the events."""
    made = Book.init(tmp_path / "book", shop="quay")
    people = [
        {"kind": "mechanic_registered", "actor": "m1", "data": {"mechanic": f"m{number}"}}
        for number in range(600)
    ]
    made.append(people)
    whole = Receipts(made).of_event(3).to_json()
    derived = made.path / "derived"
    table = aside.read(derived / tree_kept.NAME)
    told = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    forged = pa.table({"hash": pa.array([bytes(32)] * len(table), pa.binary(32))})
    aside.write(derived / tree_kept.NAME, forged, told)
    receipts = Receipts(Book.open(made.path))
    assert receipts.of_event(3).to_json() == whole
    assert receipts.of_growth(255).path and not check(receipts.of_growth(255).to_json())


def test_a_book_whose_events_were_changed_has_no_receipts(book, monkeypatch):
    """Where events do not give the root, nothing is signed, and verify is named."""
    receipts = Receipts(book)
    real = receipts._tree.at_seq

    def bent(seq):
        stored = real(seq)
        return stored._replace(canonical=stored.canonical.replace(b"cleaned", b"trued"))

    monkeypatch.setattr(receipts._tree, "at_seq", bent)
    with pytest.raises(BookDamaged, match="lockring verify"):
        receipts.of_event(7)
    assert not (book.path / "witness.txt").exists()


def test_the_key_is_the_books_own_and_stays(book, tmp_path):
    """It is made once, differs from another book's, and is in a file nobody else may read."""
    key = Signer(book.path).key
    assert Signer(book.path).key == key
    other = Book.init(tmp_path / "other", shop="quay")
    assert Signer(other.path).key != key
    private = book.path / "private.sqlite"
    assert private.stat().st_mode & 0o777 == 0o600
    with sqlite3.connect(private) as connection:
        names = [name for (name,) in connection.execute("select name from secrets")]
    assert names == ["signing key"]


def test_a_key_that_cannot_be_read_is_one_clear_error(book):
    """Nothing is signed with another key instead."""
    (book.path / "private.sqlite").write_bytes(b"a shopping list, and more of it, and more " * 20)
    with pytest.raises(NoKey, match=r"private\.sqlite"):
        Receipts(book).of_event(1)
    assert not (book.path / "witness.txt").exists()


def test_signatures_are_those_of_ed25519(tmp_path):
    """The first vector of RFC 8032, section 7.1 (from memory): key and signature of nothing."""
    from ledger.signing import is_signature

    public = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    signature = bytes.fromhex(
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bac"
        "c61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    )
    text = base64.urlsafe_b64encode(signature).rstrip(b"=").decode()
    assert is_signature(public, b"", text)
    assert not is_signature(public, b" ", text)
    rng = random.Random(8032)
    for _ in range(50):
        at = rng.randrange(len(text))
        bent = text[:at] + ("A" if text[at] != "A" else "B") + text[at + 1 :]
        assert not is_signature(public, b"", bent)
    assert not is_signature(public, b"", text[:-1] + "D"), "the last sign has four bits to spare"
    assert not is_signature("zz", b"", text)
    assert not is_signature(public, b"", "é")


def page(signed, **changes):
    """Give what the code on a rider's page holds, signed or changed."""
    held = ReceiptOfBook(
        signed.shop, "7K3M9QXA", "J-1", signed.size, signed.root, signed.recorded_at, 9,
        signed.signature,
    )  # fmt: skip
    return json.loads(held.text()) | changes


def test_the_code_on_a_page_is_checked_with_the_key_that_was_told(book):
    """It carries no key: with the shop's it holds; with another, changed or without, it fails."""
    signed = signed_root(book)
    assert check(page(signed), signed.key) == []
    assert [one.field for one in check(page(signed))] == ["key"]
    assert [one.field for one in check(page(signed), "ab" * 32)] == ["signature"]
    for changes in (
        {"size": 12}, {"root": "0" * 64}, {"shop": "other"}, {"at": "2026-03-02T09:00:00.000000Z"},
        {"sig": "A" * 86}, {"size": "13"}, {"at": "now"}, {"root": 1}, {"sig": None},
    ):  # fmt: skip
        assert check(page(signed, **changes), signed.key), changes

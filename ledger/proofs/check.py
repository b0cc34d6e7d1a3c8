"""Checking a receipt without the book: shape, path, event and signature."""

from __future__ import annotations

import base64
import binascii
import json
import re
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from ledger.errors import Problem
from ledger.proofs.documents import FORMAT
from ledger.signing import SignedRoot, is_signature, statement
from ledger.storage.merkle import leaf_hash
from ledger.storage.proof import check_consistency, check_inclusion

_HEX = re.compile(r"[0-9a-f]{64}")
_SHAPES: Mapping[str, re.Pattern[str]] = {
    "shop": re.compile(r"[a-z0-9-]{1,64}"),
    "root": _HEX,
    "recorded_at": re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z"),
    "key": _HEX,
    "signature": re.compile(r"[A-Za-z0-9_-]{86}"),
    "id": re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"),
    "event": re.compile(r"[A-Za-z0-9+/]+={0,2}"),
    "from_root": _HEX,
}
_ALL = ("shop", "root", "recorded_at", "key", "signature")
_TEXTS = {"event": (*_ALL, "id", "event"), "growth": (*_ALL, "from_root")}
_COUNTS = {"event": ("size", "seq"), "growth": ("size", "from_size")}
_LONGEST_PATH = 128
_LARGEST = 2**53


def check(document: Any, trusted_key: str | None = None) -> list[Problem]:
    """Give everything that is wrong with a receipt; nothing wrong, an empty list.

    `document` is JSON as Python reads it. `trusted_key` is the public key of the book as the
    holder knows it from elsewhere; without it a receipt is checked against the key it carries.
    """
    if is_page(document):
        return list(_of_page(document, trusted_key))
    if problems := list(_misshapen(document)):
        return problems
    found = list(_of_event(document) if document["kind"] == "event" else _of_growth(document))
    signed = SignedRoot(
        document["shop"],
        document["size"],
        document["root"],
        datetime.fromisoformat(document["recorded_at"]),
        document["key"],
        document["signature"],
    )
    if not signed.is_signed:
        wrong = "is not by that key over shop, size, root and recorded_at"
        found.append(_problem(document, "signature", wrong, "receipt_signature"))
    if trusted_key is not None and trusted_key.lower() != signed.key:
        wrong = f"is not {trusted_key}, the key it should be signed with"
        found.append(_problem(document, "key", wrong, "receipt_key"))
    return found


def is_page(document: Any) -> bool:
    """Tell whether it is what the code on a rider's page holds: a signed root, and no path."""
    return isinstance(document, dict) and "kind" not in document and "sig" in document


def _of_page(document: Mapping[str, Any], key: str | None) -> Iterator[Problem]:
    texts = {"shop": document.get("shop"), "root": document.get("root")}
    texts |= {"recorded_at": document.get("at"), "signature": document.get("sig")}
    size = document.get("size")
    for field, text in texts.items():
        if not isinstance(text, str) or not _SHAPES[field].fullmatch(text):
            yield _problem(document, field, "is missing, or not of its form", "receipt_shape")
            return
    if type(size) is not int or not _is_moment(str(texts["recorded_at"])):
        yield _problem(document, "size", "or time is not one there is", "receipt_shape")
    elif key is None:
        wrong = "is not on the page: give the one the shop told you"
        yield _problem(document, "key", wrong, "receipt_key")
    else:
        moment = datetime.fromisoformat(str(texts["recorded_at"]))
        said = statement(str(texts["shop"]), size, str(texts["root"]), moment)
        if not is_signature(key.lower(), said, str(texts["signature"])):
            wrong = "is not by that key over shop, size, root and time"
            yield _problem(document, "signature", wrong, "receipt_signature")


def _misshapen(document: Any) -> Iterator[Problem]:
    if not isinstance(document, dict):
        yield _problem({}, "receipt", "is not a JSON object", "receipt_shape")
        return
    kind = document.get("kind")
    if document.get("lockring") != FORMAT or not isinstance(kind, str) or kind not in _TEXTS:
        wrong = f"is {kind!r}, and this version knows receipts of an event and of growth"
        yield _problem(document, "kind", wrong[:200], "receipt_shape")
        return
    for field in _TEXTS[kind]:
        text = document.get(field)
        if not isinstance(text, str) or not _SHAPES[field].fullmatch(text):
            yield _problem(document, field, "is missing, or not of its form", "receipt_shape")
    for field in _COUNTS[kind]:
        count = document.get(field)
        if type(count) is not int or not 0 <= count < _LARGEST:
            yield _problem(document, field, "is missing, or not a whole number", "receipt_shape")
    path = document.get("path")
    if not isinstance(path, list) or len(path) > _LONGEST_PATH or not all(map(_is_hash, path)):
        yield _problem(document, "path", "is missing, or not a list of hashes", "receipt_shape")
    if isinstance(moment := document.get("recorded_at"), str) and not _is_moment(moment):
        yield _problem(document, "recorded_at", "is not a time there is", "receipt_shape")


def _is_hash(one: Any) -> bool:
    return isinstance(one, str) and bool(_HEX.fullmatch(one))


def _is_moment(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _of_event(document: Mapping[str, Any]) -> Iterator[Problem]:
    try:
        event = base64.b64decode(document["event"], validate=True)
        if base64.b64encode(event).decode() != document["event"]:
            raise ValueError("bits to spare are set")
        held = json.loads(event)
        said = {field: held[field] for field in ("seq", "id", "shop", "recorded_at")}
    except (binascii.Error, ValueError, KeyError, TypeError, RecursionError):
        yield _problem(document, "event", "is not the bytes of an event", "receipt_event")
        return
    for field in ("seq", "id", "shop"):
        if type(said[field]) is not type(document[field]) or said[field] != document[field]:
            wrong = f"is {document[field]}, and the event says {str(said[field])[:80]}"
            yield _problem(document, field, wrong, "receipt_event")
    # Both are written in one form, of one length, so that text sorts as time.
    if str(said["recorded_at"]) > document["recorded_at"]:
        wrong = "is before the event was recorded"
        yield _problem(document, "recorded_at", wrong, "receipt_event")
    if not check_inclusion(
        leaf_hash(event), document["seq"] - 1, document["size"], _path(document),
        bytes.fromhex(document["root"]),
    ):  # fmt: skip
        wrong = "does not lead from the event to the root"
        yield _problem(document, "path", wrong, "receipt_path")


def _of_growth(document: Mapping[str, Any]) -> Iterator[Problem]:
    if not check_consistency(
        document["from_size"], bytes.fromhex(document["from_root"]),
        document["size"], bytes.fromhex(document["root"]), _path(document),
    ):  # fmt: skip
        wrong = "does not show that the book was only added to between the two sizes"
        yield _problem(document, "path", wrong, "receipt_path")


def _path(document: Mapping[str, Any]) -> list[bytes]:
    return [bytes.fromhex(one) for one in document["path"]]


def _problem(document: Mapping[str, Any], field: str, wrong: str, rule: str) -> Problem:
    seq, size = document.get("seq"), document.get("size")
    what = f"receipt of event {seq}" if type(seq) is int else "receipt"
    what += f" in a book of {size}" if type(size) is int else ""
    return Problem(what, field, wrong, "Ask for the receipt anew, or for how it came to this", rule)

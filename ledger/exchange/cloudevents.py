"""One event as CloudEvents 1.0 structured JSON, one a line, and back.

Source: the CloudEvents specification 1.0 (github.com/cloudevents/spec): `id`, `source`,
`specversion` and `type` are required and not empty; names of extensions are a-z and 0-9.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Any

from pydantic import ValidationError

from ledger.errors import Problem
from ledger.events import Event, event_classes, parse_event, plain
from ledger.events.problems import nearest_words, problems_of
from ledger.events.upcast import STEPS
from ledger.settings import local_moment

ATTRIBUTES = {
    "id": "id",
    "subject": "bike",
    "time": "occurred_at",
    "job": "job",
    "actor": "actor",
    "restores": "restores",
    "data": "data",
}
"""CloudEvents attribute -> field of our envelope, where nothing is translated."""

GIVEN_AT_COMMIT = {
    "seq": "seq",
    "commit": "commit",
    "recordedtime": "recorded_at",
    "clocktime": "clock_at",
}
"""Extensions that say how an event was recorded; read only when a whole book is brought in."""

_NAMES = {field: name for name, field in {**ATTRIBUTES, **GIVEN_AT_COMMIT}.items()}
_CONSTANT = ("specversion", "source", "type", "datacontenttype", "dataschema")
KNOWN = (*_CONSTANT, *ATTRIBUTES, *GIVEN_AT_COMMIT)
REQUIRED = ("specversion", "id", "source", "type")

_TYPE = re.compile(r"lockring\.([a-z_]+)\.v([1-9][0-9]{0,3})")
_SOURCE = re.compile(r"/shops/([a-z0-9][a-z0-9-]{0,31})")
_TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}([Tt ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(?P<zone>[Zz]|[+-]\d{2}:\d{2})?)?"
)
"""RFC 3339, and the same without seconds, time of day or zone."""
MOST_CHARACTERS = 2_000_000
"""A line longer than this is refused: no event is that long."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line that was read: a draft for `Book.append`, or what is wrong with it."""

    number: int
    draft: dict[str, Any] | None
    problems: tuple[Problem, ...] = ()


class _Wrong(Exception):
    """One thing about a line that keeps it from being read further."""

    def __init__(self, field: str, wrong: str, right: str, rule: str) -> None:
        super().__init__(wrong)
        self.parts = (field, wrong, right, f"line_{rule}")


def write(event: Event, commit: int, data: dict[str, Any] | None = None) -> str:
    """Give one event as one line of JSON, without the line's end.

    `data` stands in for the payload where the text in it was opened.
    """
    stored = plain(event)
    cloud = {
        "specversion": "1.0",
        "id": stored["id"],
        "source": f"/shops/{stored['shop']}",
        "type": f"lockring.{stored['kind']}.v{stored['schema_version']}",
        "datacontenttype": "application/json",
        "commit": commit,
    }
    for name, field in {**ATTRIBUTES, **GIVEN_AT_COMMIT}.items():
        if field in stored:
            cloud[name] = stored[field]
    cloud["data"] = stored["data"] if data is None else data
    return json.dumps(cloud, ensure_ascii=False, separators=(",", ":"))


def read(
    lines: Iterable[str | bytes], zone: tzinfo, *, shop: str | None = None, own: bool = False
) -> Iterator[Line]:
    """Read lines one at a time; blank lines are passed over.

    A time without a zone is taken in `zone`. `shop` refuses the events of other shops. `own`
    keeps what was given at commit (seq, commit, recorded_at) and leaves the payload for the book
    to check; otherwise every field is checked here, so that its problems name the line.
    """
    for number, raw in enumerate(lines, start=1):
        if raw.strip():
            yield _line(number, raw, zone, shop, own)


def _line(number: int, raw: str | bytes, zone: tzinfo, shop: str | None, own: bool) -> Line:
    label = f"line {number}"
    try:
        cloud = _object(raw)
        draft, problems = _draft(cloud, zone, shop, own)
    except _Wrong as wrong:
        return Line(number, None, (_problem(label, wrong),))
    label = f"{label} ({draft['kind']})" if "kind" in draft else label
    found = [_problem(label, wrong) for wrong in problems]
    if not found and not own:
        found = _payload_problems(draft, label)
    return Line(number, None if found else draft, tuple(found))


def _problem(label: str, wrong: _Wrong) -> Problem:
    field, what, right, rule = wrong.parts
    return Problem(label, field, what, right, rule)


def _payload_problems(draft: dict[str, Any], label: str) -> list[Problem]:
    whole = {"occurred_at": "2000-01-01T00:00:00Z", **draft}
    try:
        parse_event(whole)
    except ValidationError as error:
        found = problems_of(error, label)
        return [
            replace(problem, field=_NAMES.get(problem.field, problem.field)) for problem in found
        ]
    return []


def _object(raw: str | bytes) -> dict[str, Any]:
    text = _text(raw)
    try:
        found = json.loads(text, object_pairs_hook=_no_repeats, parse_constant=_no_constant)
    except RecursionError:
        raise _Wrong(
            "line", "is nested too deeply", "Write one flat event a line", "json"
        ) from None
    except json.JSONDecodeError as error:
        where = f"is not JSON: {error.msg} at character {error.pos + 1}"
        raise _Wrong("line", where, "Write one JSON object a line", "json") from None
    except ValueError:
        raise _Wrong(
            "line", "holds a number that is too long", "Write it shorter", "json"
        ) from None
    if not isinstance(found, dict):
        raise _Wrong("line", "is not a JSON object", 'Write {"specversion": "1.0", …}', "json")
    return found


def _text(raw: str | bytes) -> str:
    if len(raw) > MOST_CHARACTERS:
        raise _Wrong("line", "is longer than any event", "Write one event a line", "long")
    try:
        text = raw.decode("utf-8-sig") if isinstance(raw, bytes) else raw.removeprefix("\ufeff")
        text.encode()
    except UnicodeError:
        raise _Wrong("line", "is not UTF-8 text", "Save the file as UTF-8", "utf8") from None
    if re.search(r"\\u[dD][89a-fA-F]", text):
        _refuse_half_characters(text)
    return text


def _refuse_half_characters(text: str) -> None:
    without_pairs = re.sub(r"\\u[dD][89abAB]..\\u[dD][c-fC-F]..", "", text)
    if re.search(r"\\u[dD][89a-fA-F]", without_pairs):
        raise _Wrong("line", "holds half a character", "Write the sign itself, in UTF-8", "utf8")


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _Wrong(twice, "stands twice in one object", "Keep one of them", "repeated")
    return found


def _no_constant(name: str) -> None:
    raise _Wrong("line", f"holds {name}, which is not a figure", "Write digits", "json")


def _draft(
    cloud: dict[str, Any], zone: tzinfo, shop: str | None, own: bool
) -> tuple[dict[str, Any], list[_Wrong]]:
    """Give what can be read of a draft, and everything wrong around its payload."""
    problems = list(_attribute_problems(cloud))
    names = {**ATTRIBUTES, **GIVEN_AT_COMMIT} if own else ATTRIBUTES
    draft = {field: cloud[name] for name, field in names.items() if cloud.get(name) is not None}
    steps: tuple[Callable[[], dict[str, Any]], ...] = (
        lambda: _kind_and_version(cloud.get("type")),
        lambda: _shop(cloud.get("source"), shop),
        lambda: {name: _moment(name, draft[name], zone) for name in _MOMENTS if name in draft},
    )
    for step in steps:
        try:
            draft.update(step())
        except _Wrong as wrong:
            problems.append(wrong)
    return draft, problems


_MOMENTS = {"occurred_at": "time", "recorded_at": "recordedtime", "clock_at": "clocktime"}


def _attribute_problems(cloud: dict[str, Any]) -> Iterator[_Wrong]:
    for name in cloud:
        if name not in KNOWN:
            yield _Wrong(name, "is not an attribute here", nearest_words(name, KNOWN), "unknown")
    for name in REQUIRED:
        if cloud.get(name) in (None, ""):
            yield _Wrong(name, "is missing", _EXAMPLES[name], "missing")
    if cloud.get("specversion") not in (None, "", "1.0"):
        yield _Wrong("specversion", f"is {_short(cloud['specversion'])}", "Write '1.0'", "version")
    if cloud.get("datacontenttype") not in (None, "application/json"):
        shown = _short(cloud["datacontenttype"])
        yield _Wrong("datacontenttype", f"is {shown}", "Write 'application/json'", "content")
    if not isinstance(cloud.get("data"), dict):
        yield _Wrong("data", "is not a JSON object", 'Write {"position": "chain", …}', "data")


_EXAMPLES = {
    "specversion": "Write '1.0'",
    "id": "Write a UUID of version 7, such as '017f22e2-79b0-7cc3-98c4-dc0c0c07398f'",
    "source": "Write '/shops/<shop>', such as '/shops/harbour'",
    "type": "Write 'lockring.<kind>.v<version>', such as 'lockring.measured.v1'",
}


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _kind_and_version(value: Any) -> dict[str, Any]:
    if value in (None, ""):
        return {}
    match = _TYPE.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise _Wrong("type", f"is {_short(value)}", _EXAMPLES["type"], "type")
    kind, version = match[1], int(match[2])
    if kind not in event_classes():
        right = nearest_words(kind, event_classes())
        raise _Wrong("type", f"'{kind}' is not a kind of event", right, "kind")
    newest = event_classes()[kind].model_fields["schema_version"].default
    if version != newest and (kind, version) not in STEPS:
        right = f"This Lockring writes 'lockring.{kind}.v{newest}'"
        raise _Wrong("type", f"version {version} of {kind} is not known", right, "version")
    return {"kind": kind, "schema_version": version}


def _shop(value: Any, shop: str | None) -> dict[str, Any]:
    if value in (None, ""):
        return {}
    match = _SOURCE.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise _Wrong("source", f"is {_short(value)}", _EXAMPLES["source"], "source")
    if shop is not None and match[1] != shop:
        right = f"This is the book of shop '{shop}'; write '/shops/{shop}'"
        raise _Wrong("source", f"is an event of shop '{match[1]}'", right, "shop")
    return {"shop": match[1]}


def _moment(field: str, value: Any, zone: tzinfo) -> str:
    right = "Write a date and time such as 2026-03-01T09:12:00+01:00"
    match = _TIME.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise _Wrong(_MOMENTS[field], f"is {_short(value)}", right, "time")
    try:
        moment = datetime.fromisoformat(match[0].upper())
        return (moment if match["zone"] else local_moment(moment, zone)).isoformat()
    except ValueError:
        wrong = f"is {_short(value)}, which no clock shows"
        raise _Wrong(_MOMENTS[field], wrong, right, "time") from None

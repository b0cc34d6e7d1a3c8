"""Write the table of payload fields into DEVELOPERS.md: `python -m ledger.events.table`."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import get_args

from pydantic import BaseModel

from ledger.events import event_classes, payload_class

BEGIN, END = "<!-- payloads:begin", "<!-- payloads:end -->"


_SMALL_TYPES = """\
| type | what it is |
| --- | --- |
| Amount | a figure as entered: decimal text and unit, with the canonical figure *filled* |
| BikeTag | 8 characters of Crockford's base 32 |
| Code, Position | a word of the vocabulary; positions are dotted |
| Count, Whole, WorkMinutes | whole numbers; no float anywhere |
| Currency | an ISO 4217 code; MinorUnits are whole numbers of its smallest unit |
| Day, Moment | `2026-03-01`; an instant, stored in UTC to the microsecond |
| DecimalText | a decimal number as text |
| EventId | a UUID of version 7, lower case |
| FreeText | words somebody wrote; *sealed* in everything that is stored |
| Label | a short name of a thing, never of a person |
| Ref | an opaque id: a job, part, rider, mechanic, gauge, quote or line |
| Verdict | "within limit", "watch", "due", "unsafe", "not checked" |
"""


def _type_name(written: str) -> str:
    """Give an annotation, as the source writes it, in the words of the table."""
    name = re.sub(r"Annotated\[(.+), (?:Field\(|AfterValidator\(|LEFT_OUT).*", r"\1", written)
    name = name.replace(" | None", "").replace("tuple[", "list of ").replace(", ...]", "")
    name = re.sub(r"Literal\[(.+?)\]", lambda m: m[1].replace(", ", " / "), name)
    return re.sub(r"\bstr\b", "text", name.replace("Flag", "true/false").replace("|", "or"))


def _described(model: type[BaseModel], name: str) -> str:
    need = "" if model.model_fields[name].is_required() else "?"
    return f"`{name}`{need} {_type_name(str(model.__annotations__[name]))}"


def _nested(model: type[BaseModel], seen: dict[str, type[BaseModel]]) -> None:
    for field in model.model_fields.values():
        stack = [field.annotation]
        while stack:
            annotation = stack.pop()
            if isinstance(annotation, type) and issubclass(annotation, BaseModel):
                if annotation.__name__ not in seen and annotation.__name__ != "Sealed":
                    seen[annotation.__name__] = annotation
                    _nested(annotation, seen)
            else:
                stack.extend(get_args(annotation))


def render() -> str:
    """Give the table as Markdown: a row a kind, then the shapes that payloads share."""
    lines = ["| kind | version | payload fields (`?` may be left out) |", "| --- | --- | --- |"]
    shared: dict[str, type[BaseModel]] = {}
    for kind, event in event_classes().items():
        model = payload_class(kind)
        _nested(model, shared)
        fields = "; ".join(_described(model, name) for name in model.model_fields)
        lines.append(f"| `{kind}` | {event.model_fields['schema_version'].default} | {fields} |")
    lines += ["", "| shape | fields |", "| --- | --- |"]
    for name, model in sorted(shared.items()):
        fields = "; ".join(_described(model, field) for field in model.model_fields)
        lines.append(f"| {name} | {fields} |")
    return "\n".join([*lines, "", _SMALL_TYPES.rstrip()])


def written(page: str) -> str:
    """Give the page with the table between its marks brought up to date."""
    pattern = rf"({re.escape(BEGIN)}[^\n]*\n).*?({re.escape(END)})"
    return re.sub(pattern, lambda m: f"{m[1]}{render()}\n{m[2]}", page, flags=re.DOTALL)


def main() -> None:
    """Bring DEVELOPERS.md up to date."""
    path = Path(sys.argv[1] if len(sys.argv) > 1 else "DEVELOPERS.md")
    path.write_text(written(path.read_text()))


if __name__ == "__main__":
    main()

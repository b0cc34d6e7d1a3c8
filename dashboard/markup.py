"""Small pieces of HTML; every text that comes from a book goes through `text`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

CLASSES = {
    "within limit": "within",
    "watch": "watch",
    "due": "due",
    "unsafe": "unsafe",
    "not checked": "unchecked",
    "no limit known": "unjudged",
}
NO_VERDICT = "no limit known"


def text(value: object) -> str:
    """Give any text so that it shows as itself and is never read as markup."""
    return escape(str(value), quote=True)


def capital(words: str) -> str:
    """Give words with their first letter raised, the rest as it is."""
    return words[:1].upper() + words[1:]


def shape(name: str) -> str:
    """Give the shape of a verdict, or of what is `open`; hidden from screen readers."""
    return f'<i class="lk-shape lk-shape-{CLASSES.get(name, name)}" aria-hidden="true"></i>'


def verdict(word: str | None) -> str:
    """Give a verdict as shape and word; no verdict is said, and never reads as fine."""
    shown = word or NO_VERDICT
    kind = CLASSES.get(shown, "unchecked")
    return f'<span class="lk-verdict lk-{kind}">{shape(shown)}{text(shown)}</span>'


def marked(kind: str, *words: str) -> str:
    """Give words in the shape and colour of a verdict, or of what is `open`."""
    name = CLASSES.get(kind, kind)
    said = text(", ".join(words))
    return f'<span class="lk-verdict lk-{name}">{shape(kind)}{said}</span>'


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Give a table of cells that already are HTML; the first cell of a row is its heading."""
    body = []
    for first, *rest in rows:
        cells = "".join(
            f'<td data-head="{text(head)}">{cell}</td>'
            for head, cell in zip(heads[1:], rest, strict=True)
        )
        body.append(f'<tr><th scope="row">{first}</th>{cells}</tr>')
    named = f"<caption>{text(caption)}</caption>" if caption else ""
    head_cells = "".join(f'<th scope="col">{text(head)}</th>' for head in heads)
    return (
        f'<table class="lk-table">{named}'
        f"<thead><tr>{head_cells}</tr></thead><tbody>{''.join(body)}</tbody></table>"
    )


def tag_plate(tag: str) -> str:
    """Give a bike's tag as it is stamped: two groups of four, read out as one code."""
    return (
        f'<span class="lk-plate" aria-label="tag {text(" ".join(tag))}">'
        f"<span>{text(tag[:4])}</span><span>{text(tag[4:])}</span></span>"
    )


def section(title: str, inner: str, note: str = "") -> str:
    """Give a titled section of a page; the title is plain text, the rest HTML."""
    small = f'<p class="lk-note">{text(note)}</p>' if note else ""
    return f'<section class="lk-section"><h2>{text(title)}</h2>{small}{inner}</section>'


def blank(title: str, words: str, level: int = 1) -> str:
    """Give a state with nothing in it: what is so, and what to do about it."""
    head = f"<h{level}>{text(title)}</h{level}>"
    return f'<div class="lk-blank">{head}<p>{text(words)}</p></div>'


_MARKS = re.compile(r"([\\`*_\[\]<>$~|#]|:(?=\S)|(?<=^\d)\.)")
_LINKED = re.compile(r"(?<=http)(?=s?:)|(?<=www)(?=\.)|(?=@)", re.IGNORECASE)
"""Where words would become a link though no mark is in them."""
_APART = "\u2060"
"""A word joiner: nothing is seen of it, and nothing breaks at it."""


def as_words(words: str) -> str:
    """Give words so that a press shows them as they are: what is pressed is read as Markdown."""
    return _MARKS.sub(r"\\\1", _LINKED.sub(_APART, words))

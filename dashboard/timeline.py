"""The timeline of a bike as HTML: newest first, by day, struck events shown struck."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby

from dashboard import markup
from dashboard.entries import Entry
from dashboard.formats import Formats
from dashboard.markup import text
from dashboard.words import FORGOTTEN

FIRST_SHOWN = 60


def _remark(entry: Entry) -> str:
    if not entry.remark:
        return ""
    kind = "lk-remark lk-forgotten" if entry.remark == FORGOTTEN else "lk-remark"
    return f'<span class="{kind}">{text(entry.remark)}</span>'


def _said(entry: Entry) -> str:
    said = f"{text(entry.line)}{_remark(entry)}"
    if not entry.is_struck:
        return f'<span class="lk-said">{said}</span>'
    because = f'<span class="lk-because">struck: {text(entry.struck_because)}</span>'
    return f'<span class="lk-said"><del>{said}</del>{because}</span>'


def _item(entry: Entry, formats: Formats, is_later: bool) -> str:
    judged = markup.verdict(entry.verdict) if entry.verdict and not entry.is_struck else ""
    return (
        f'<li class="{"lk-after" if is_later else ""}">'
        f'<time datetime="{entry.occurred_at.isoformat()}">{formats.time(entry.occurred_at)}</time>'
        f'{_said(entry)}{judged}<span class="lk-actor">{text(entry.actor)}</span></li>'
    )


def _day(heading: str, entries: Sequence[Entry], formats: Formats, as_at: datetime) -> str:
    items = "".join(_item(entry, formats, entry.occurred_at > as_at) for entry in entries)
    return f"<h3>{text(heading)}</h3><ol>{items}</ol>"


def timeline(entries: Sequence[Entry], formats: Formats, as_at: datetime) -> str:
    """Give the entries newest first, with a line drawn at the instant looked at."""
    newest = sorted(entries, key=lambda entry: (entry.occurred_at, entry.seq), reverse=True)
    parts: list[str] = []
    is_drawn = False
    for heading, group in groupby(newest, key=lambda entry: formats.day(entry.occurred_at)):
        of_day = list(group)
        if not is_drawn and of_day[-1].occurred_at <= as_at:
            is_drawn = True
            if parts:
                parts.append(f'<p class="lk-now">as at {text(formats.day(as_at))}</p>')
        parts.append(_day(heading, of_day, formats, as_at))
    return f'<div class="lk-timeline">{"".join(parts)}</div>'

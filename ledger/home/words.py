"""What people are told while an object store does not answer."""

from __future__ import annotations

from ledger.settings import BookSettings
from ledger.storage.line import Silence


def words_of(silence: Silence, settings: BookSettings) -> str:
    """Say what does not answer, what is read instead, as of when, and what cannot be done."""
    seen = settings.local(silence.seen_at) if silence.seen_at else None
    when = f", as it was at {seen:%Y-%m-%d %H:%M}" if seen else ""
    return (
        f"{silence.why} Read from this machine's copy up to commit {silence.commit}{when}. "
        "Nothing can be recorded until it answers again."
    )

"""What `book.toml` says: the few things about a book that never change."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import cached_property
from pathlib import Path
from zoneinfo import ZoneInfo

import iso4217
from babel import Locale, UnknownLocaleError

from ledger.errors import BookDamaged, LedgerError, NoBook
from ledger.money import minor_digits

FORMAT = 1
"""The version of the folder's layout; a newer one is refused, never guessed at."""


class BadSettings(LedgerError):
    """A setting of a book that cannot be: an unknown zone, currency or locale."""


@dataclass(frozen=True)
class BookSettings:
    """A book's shop, currency, time zone and locale."""

    shop: str
    name: str
    currency: str
    time_zone: str
    locale: str

    @cached_property
    def zone(self) -> ZoneInfo:
        """The time zone in which people of this shop write and read times."""
        return ZoneInfo(self.time_zone)

    @cached_property
    def minor_digits(self) -> int:
        """How many digits the currency's minor unit stands for (ISO 4217)."""
        return minor_digits(self.currency)

    def local(self, moment: datetime) -> datetime:
        """Give an instant in the book's time zone."""
        return moment.astimezone(self.zone)

    def instant(self, text: str) -> datetime:
        """Give the instant a person means, in UTC.

        A bare date is the end of that day, and a time without a zone is local, both in the
        book's time zone; of a time that the clocks show twice, the first is meant. Raises
        ValueError with what would be right, for a time that the clocks skip too.
        """
        cleaned = text.strip()
        try:
            moment = datetime.fromisoformat(cleaned)
        except ValueError:
            raise ValueError(
                f"{text!r} is not a date; write 2026-03-01, or 2026-03-01 09:12"
            ) from None
        if not 1900 <= moment.year <= 2200:
            raise ValueError(f"{text!r} is outside the years 1900 to 2200")
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", cleaned):
            return self.end_of_day(moment.date())
        if _is_bare_day(cleaned):
            raise ValueError(f"{text!r} is a day in another form; write {moment:%Y-%m-%d}")
        return (moment if moment.tzinfo else local_moment(moment, self.zone)).astimezone(UTC)

    def end_of_day(self, day: date) -> datetime:
        """Give the last microsecond of a day in the book's time zone, in UTC."""
        midnight = datetime.combine(day + timedelta(days=1), time(), self.zone)
        return midnight.astimezone(UTC) - timedelta(microseconds=1)


def local_moment(shown: datetime, zone: tzinfo) -> datetime:
    """Give the moment at which clocks of a zone show a time; the first where they do twice.

    `shown` has no zone of its own. Raises ValueError for a time that the clocks skip.
    """
    moment = shown.replace(tzinfo=zone)
    there = moment.astimezone(UTC).astimezone(zone)
    if there.replace(tzinfo=None) != shown:
        raise ValueError(
            f"'{shown:%Y-%m-%d %H:%M}' is skipped by the clocks of {zone}, which go forward then; "
            f"write {there:%Y-%m-%d %H:%M}, or the time with its zone"
        )
    return moment


def check(settings: BookSettings) -> BookSettings:
    """Give the settings back if every one of them can be; raises BadSettings."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,31}", settings.shop):
        raise BadSettings(
            f"{settings.shop!r} cannot be a shop code. Use small letters, digits and dashes."
        )
    try:
        _ = settings.zone
    except (KeyError, ValueError, OSError):
        raise BadSettings(
            f"{settings.time_zone!r} is not a time zone. Write one such as Europe/Lisbon."
        ) from None
    if settings.currency not in {currency.code for currency in iso4217.Currency}:
        raise BadSettings(f"{settings.currency!r} is not an ISO 4217 currency such as EUR.")
    try:
        Locale.parse(settings.locale, sep="-" if "-" in settings.locale else "_")
    except (UnknownLocaleError, ValueError):
        raise BadSettings(f"{settings.locale!r} is not a locale such as en or de_DE.") from None
    return settings


def write(path: Path, settings: BookSettings) -> None:
    """Write book.toml; JSON strings are TOML basic strings."""
    lines = [f"format = {FORMAT}"]
    lines += [
        f"{name} = {json.dumps(getattr(settings, name), ensure_ascii=False)}"
        for name in ("shop", "name", "currency", "time_zone", "locale")
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def read(path: Path) -> BookSettings:
    """Read book.toml; raises NoBook where there is none, BookDamaged where it is unreadable."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise NoBook(
            f"There is no book at {path.parent}. Make one with: lockring init {path.parent}"
        ) from None
    except NotADirectoryError:
        raise NoBook(f"{path.parent} is a file, not the folder of a book.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BookDamaged(f"{path} cannot be read: {error}. Restore it from a backup.") from None
    if raw.get("format") != FORMAT:
        raise BookDamaged(
            f"{path} says format {raw.get('format')!r}; this release reads format {FORMAT}. "
            "Open it with the release that wrote it."
        )
    fields = ("shop", "name", "currency", "time_zone", "locale")
    missing = [name for name in fields if not isinstance(raw.get(name), str)]
    if missing:
        raise BookDamaged(f"{path} lacks {', '.join(missing)}. Restore it from a backup.")
    return check(BookSettings(**{name: raw[name] for name in fields}))


def _is_bare_day(text: str) -> bool:
    """Say whether a text is a day alone in one of ISO 8601's other forms, as 20260301."""
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True

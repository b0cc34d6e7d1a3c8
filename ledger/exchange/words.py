"""Finding what free text is about: words people write for parts, and a mapping's own words."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from importlib import resources

from ledger.exchange.figures import NotReadable, shown


def plain_form(text: str) -> str:
    """Give text without case and accents, white space single: `Kettenblätter`, `kettenblatter`."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in parts if not unicodedata.combining(sign))
    return " ".join(bare.split())


class WordList:
    """Words, each standing for a value; the longest one that starts a word in a text counts."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self._values = {plain_form(word): value for word, value in values.items()}
        self._pattern = _starts_word(self._values)

    def find(self, text: str) -> str | None:
        """Give the value of the first word found in a text; None if there is none."""
        match = self._pattern.search(plain_form(text))
        return self._values[match[0]] if match else None

    def whole(self, text: str) -> str | None:
        """Give the value where the text is one of the words and nothing more."""
        return self._values.get(plain_form(text))


def _starts_word(words: Iterable[str]) -> re.Pattern[str]:
    longest_first = sorted(words, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first)) or '(?!)'})")


def contains(text: str, pattern: re.Pattern[str]) -> bool:
    """Tell whether a text has one of the words of `words_pattern` in it."""
    return pattern.search(plain_form(text)) is not None


def words_pattern(words: Iterable[str]) -> re.Pattern[str]:
    """Give the pattern that finds any of these words where it starts a word."""
    return _starts_word([plain_form(word) for word in words])


@cache
def _standard() -> tuple[WordList, frozenset[str], WordList]:
    """Give the words for positions, which of their values need a side, and the words for sides."""
    raw = tomllib.loads(resources.files(__package__).joinpath("words.toml").read_text("utf-8"))
    lists = {name: _turned(raw[name]) for name in ("positions", "sided", "sides")}
    both = {**lists["positions"], **lists["sided"]}
    return WordList(both), frozenset(raw["sided"]), WordList(lists["sides"])


def _turned(lists: Mapping[str, list[str]]) -> dict[str, str]:
    return {word: value for value, words in lists.items() for word in words}


@lru_cache(maxsize=4096)
def standard_position(text: str) -> str:
    """Give the position free text is about: `KMK 11s chain` is `chain`.

    Raises NotReadable where no known word is in it, or where it does not say which side.
    """
    words, sided, sides = _standard()
    apart = _COMPOUND.sub(r"\1 ", plain_form(text))
    found = words.find(apart)
    if found is None:
        raise NotReadable(f"{shown(text)} names no part that is known", "Add a word for it")
    if found not in sided:
        return found
    side = sides.find(apart)
    if side is None:
        raise NotReadable(f"{shown(text)} does not say front or rear", "Write which side")
    return f"{side}_{found}"


_COMPOUND = re.compile(r"\b(vorder|hinter|voor|achter)(?:rad)?(?=\w{4,})")
"""The side inside a longer word: Hinterradbremse, achterlicht."""

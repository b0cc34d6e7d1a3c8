"""What a book's gauges are registered to err by, in the unit of each quantity they read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ledger.book import Book
from ledger.events.shop import GaugeRegistered
from ledger.kept import gauges_known
from ledger.vocabulary import Vocabulary
from ledger.vocabulary.units import UnitProblem, canonical, length_mm

USUAL_LENGTH_MM = 127.0
"""Ten pitches: the length of chain a length's error is taken to lie on."""


def errors_known(book: Book, known_seq: int) -> Mapping[tuple[str | None, str], float]:
    """Give the same as `registered_errors`, of a book as it was known to a seq."""
    return registered_errors(gauges_known(book, known_seq), book.vocabulary_known(known_seq))


def registered_errors(
    gauges: Iterable[GaugeRegistered], words: Vocabulary
) -> Mapping[tuple[str | None, str], float]:
    """Give (gauge, quantity) -> standard error of one reading; the last registration counts.

    An error that is a length, of a gauge for chain wear, is taken over USUAL_LENGTH_MM.
    """
    found: dict[tuple[str | None, str], float] = {}
    for gauge in gauges:
        for quantity in gauge.quantities:
            error = _error(gauge, quantity, words)
            if error is not None and error > 0:
                found[gauge.gauge, quantity] = error
    return found


def _error(gauge: GaugeRegistered, quantity: str, words: Vocabulary) -> float | None:
    word, error = words.quantities.get(quantity), gauge.error
    if word is None or error is None:
        return None
    try:
        return float(canonical(word, error.value, error.unit))
    except UnitProblem:
        length = length_mm(error.value, error.unit)
        is_chain = quantity == "elongation" and length is not None
        return 100 * float(length) / USUAL_LENGTH_MM if is_chain and length else None

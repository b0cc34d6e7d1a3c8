"""Where a book is kept: a folder of this machine, or an object store with a mirror of it here."""

from ledger.home.folder import Home
from ledger.home.places import home_of
from ledger.home.words import words_of

__all__ = ["Home", "home_of", "words_of"]

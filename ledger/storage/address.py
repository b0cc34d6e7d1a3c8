"""How the address of a place on an object store is written, and told from a path."""

from __future__ import annotations

from pathlib import Path

SCHEME = "s3"


def is_address(text: str | Path) -> bool:
    """Say whether a text is the address of an object store, not a path."""
    return str(text).startswith(f"{SCHEME}:/")


def written(place: str | Path) -> str:
    """Give a path or an address as people write it: a `Path` of one has lost a slash."""
    text = str(place)
    if isinstance(place, Path) and is_address(place):
        return f"{SCHEME}://{text.removeprefix(f'{SCHEME}:').lstrip('/')}"
    return text

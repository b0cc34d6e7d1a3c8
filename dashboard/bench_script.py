"""The page's own script: where the hand goes next, and whether the book still answers."""

from __future__ import annotations

from pathlib import Path

BODY = Path(__file__).with_name("bench.js").read_text(encoding="utf-8")
"""Fixed text, listed by its hash in the policy of the pages; nothing of a book is in it.

It may hold no `<` before a letter: the page would leave it out as markup in a script.
"""
SCRIPT = f"<script>{BODY}</script>"

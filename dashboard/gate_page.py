"""The sign-in page in the look of the others, without any script; and who is signed in, in a line.

What it says never tells whether a person exists, nor how near a PIN was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from pathlib import Path

from dashboard import theme
from ledger.private import Person

STYLES = Path(__file__).with_name("gate.css")
WRONG = "That name and PIN do not go together. Nothing was opened."
WAITS = "Too many wrong tries: nothing is looked at, right or wrong, for another"
NOT_KNOWN = "Nobody here goes by that address. Ask the owner to enter it: lockring people add."
ROLES = {"owner": "owner", "mechanic": "mechanic", "desk": "desk"}


@dataclass(frozen=True)
class Asked:
    """What the sign-in page is drawn with."""

    shop: str
    people: Sequence[Person]
    """Those with a PIN."""
    providers: Sequence[str] = ()
    wanted: str = "/"
    """Where to go after."""
    name: str = ""
    said: str = ""
    """What came of the last try; empty for none."""


@cache
def style_sheet() -> str:
    """Give the sign-in page's style sheet: the project's colours, light and dark."""
    light, dark = (
        "".join(f"--lk-{name.replace('_', '-')}:{colour};" for name, colour in palette.items())
        for palette in (theme.LIGHT, theme.DARK)
    )
    return (
        f":root{{color-scheme:light;{light}}}\n"
        f"@media (prefers-color-scheme: dark){{:root{{color-scheme:dark;{dark}}}}}\n"
        + STYLES.read_text(encoding="utf-8")
    )


def page(asked: Asked) -> str:
    """Give the whole sign-in page."""
    forms = _pin_form(asked) if asked.people else ""
    ways = "".join(_provider(name, asked.wanted) for name in asked.providers)
    said = f'<p class="said" role="alert">{escape(asked.said)}</p>' if asked.said else ""
    return _framed(
        "Sign in",
        f"<h1>Sign in</h1><p class=shop>{escape(asked.shop)}</p>{said}{forms}{ways}",
    )


def onward(wanted: str) -> str:
    """Give a page that goes on to another by itself, or by its link."""
    to = escape(wanted, quote=True)
    move = f'<meta http-equiv="refresh" content="0;url={to}">'
    return _framed("Signed in", f'<h1>Signed in</h1><p><a href="{to}">Go on</a></p>', move)


def signed_out() -> str:
    """Give what is said after signing out."""
    return _framed("Signed out", '<h1>Signed out</h1><p><a href="/sign-in">Sign in again</a></p>')


def _framed(title: str, body: str, head: str = "") -> str:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title} · Lockring</title>{head}"
        '<link rel="icon" href="/favicon.png"><link rel="stylesheet" href="/sign-in.css">'
        f"</head><body><main>{body}</main></body></html>"
    )


def _pin_form(asked: Asked) -> str:
    options = "".join(_option(one, asked.name) for one in asked.people)
    return (
        '<form method="post" action="/sign-in">'
        f'<input type="hidden" name="next" value="{escape(asked.wanted, quote=True)}">'
        '<label for="person">Who</label>'
        f'<select id="person" name="person" required>{options}</select>'
        '<label for="pin">PIN</label>'
        '<input id="pin" name="pin" type="password" inputmode="numeric" required autofocus '
        'autocomplete="current-password" maxlength="32">'
        "<button>Sign in</button></form>"
    )


def _option(one: Person, chosen: str) -> str:
    name = escape(one.person, quote=True)
    return f'<option value="{name}"{" selected" if one.person == chosen else ""}>{name}</option>'


def _provider(name: str, wanted: str) -> str:
    label = "Sign in with your account" if name == "default" else f"Sign in with {name}"
    return (
        '<form method="get" action="/sign-in/provider">'
        f'<input type="hidden" name="name" value="{escape(name, quote=True)}">'
        f'<button class="other">{escape(label)}</button></form>'
    )


def who_line(person: Person | None) -> str:
    """Give who is signed in with the way out, as HTML; nothing where nobody needs to be."""
    if person is None:
        return ""
    return (
        f'<p class="lk-who"><span>{escape(person.person)}, {ROLES[person.role]}</span> '
        '<a href="sign-out" target="_self">Sign out</a></p>'
    )

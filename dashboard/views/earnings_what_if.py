"""What if: prices and minutes of tiers moved by sliders, and what would have been left."""

from __future__ import annotations

import streamlit as st

from dashboard import earn_panels as show
from dashboard.labour_address import (
    MOST_CHANGE,
    EarnAsked,
    changes_of,
    changes_text,
)
from dashboard.markup import as_words, capital, text
from dashboard.views.faults_shown import heading
from dashboard.views.time_shown import Shown, table_view
from ledger.figures.margin import BookMargin
from ledger.figures.margin_shapes import TierMargin, WhatIf

Changes = dict[str, tuple[int, int]]


@st.fragment
def what_if_view(shown: Shown[EarnAsked], found: BookMargin) -> None:
    """Draw sliders for each tier, and what they would have come to.

    It runs by itself when a slider moves; the address keeps what was moved.
    """
    tiers = [one for one in found.tiers if one.tier is not None and one.earning.count_jobs]
    if not tiers:
        return
    changes = _changes(tiers)
    heading("What if prices or minutes had been other?")
    with st.container(key="what_if"):
        for one in tiers:
            _sliders(shown, one, changes)
    _answer(shown, _worked_out(found, changes))


def _changes(tiers: list[TierMargin]) -> Changes:
    asked = changes_of(st.query_params.get("what_if", ""))
    return {one.tier: asked.get(one.tier, (0, 0)) for one in tiers if one.tier is not None}


def _worked_out(found: BookMargin, changes: Changes) -> WhatIf:
    prices = {tier: price / 100 for tier, (price, _) in changes.items()}
    minutes = {tier: minutes / 100 for tier, (_, minutes) in changes.items()}
    return found.what_if(prices, minutes)


def _sliders(shown: Shown[EarnAsked], tier: TierMargin, changes: Changes) -> None:
    code = tier.tier or ""
    with st.container(key=f"what_if-{code}"):
        st.html(f"<h3>{text(capital(tier.label))}</h3>")
        for place, name in enumerate(("Price", "Minutes")):
            key = f"what_if-{code}-{place}"
            st.session_state[key] = changes[code][place]
            st.slider(
                as_words(f"{name} of {tier.label}, changed by per cent"),
                -MOST_CHANGE,
                MOST_CHANGE,
                step=1,
                format=f"{name} %+d %%",
                key=key,
                label_visibility="collapsed",
                on_change=_moved,
                args=(shown, list(changes)),
            )


def _moved(shown: Shown[EarnAsked], codes: list[str]) -> None:
    """Move the address to where all sliders stand."""
    stand = st.session_state
    changes = {
        code: (int(stand[f"what_if-{code}-0"]), int(stand[f"what_if-{code}-1"])) for code in codes
    }
    shown.go(what_if=changes_text(changes))


def _answer(shown: Shown[EarnAsked], found: WhatIf) -> None:
    said = " ".join(found.notes)
    st.html(
        f'<div class="lk-answer" aria-live="polite"><p class="lk-headline">{text(found.line)}</p>'
        f'<p class="lk-note">{text(said)}</p></div>'
    )
    table_view(show.what_if_table(found, shown.say))

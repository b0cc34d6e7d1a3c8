"""How parts wear: usual rates first, then a family, then one part against its limit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from dashboard import (
    data,
    filters,
    lives_charts,
    lives_panels,
    panels,
    stands,
    wear_charts,
    worked_out,
)
from dashboard import wear_panels as show
from dashboard import wear_words as say
from dashboard.markup import capital, text
from dashboard.views.wear_part import part_view
from dashboard.views.wear_shown import Shown, as_at_line, bike_address, unknown
from dashboard.wear_panels import AS_AT, FAMILY, SERIES, TAG
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.part_lives import ModelLives
from ledger.figures.wear import BookWear, GaugeFigure, PartWear, RateFigure
from ledger.figures.wear_standing import FamilyStanding, in_order, likeliest

FIRST_LISTED, MORE_LISTED = 20, 60
NOT_ONE = '<p class="lk-note">Not one of them is fitted now.</p>'


def page() -> None:
    """Draw what the address asks for: a part, a bike's parts, a family, or all of them."""
    shown = _shown(data.open_book())
    if not shown.wear.fit.families:
        _nothing(shown)
        return
    asked = st.query_params.to_dict()
    if asked.get(SERIES):
        part_view(shown, asked[SERIES])
    elif asked.get(TAG):
        _bike(shown, asked[TAG])
    elif asked.get(FAMILY):
        _family(shown, asked[FAMILY])
    else:
        _fleet(shown)


def _shown(book: Book) -> Shown:
    """Give the wear as at the day the address asks for; today where that is not past."""
    asked, today = filters.asked_day(st.query_params.get(AS_AT)), data.today(book)
    past = asked if asked is not None and asked < today else None
    waiting = st.empty()
    waiting.html(show.waiting("Wear"))
    worn = worked_out.wear(book, past)
    words = data.words_of(book)
    stands.tell(waiting, "" if past else stands.note(book, words))
    return Shown(
        book=book,
        wear=worn,
        words=words,
        day=past or today,
        as_at=past.isoformat() if past else "",
        families=worked_out.families(worn),
    )


def _nothing(shown: Shown) -> None:
    st.html(
        as_at_line(shown) + '<div class="lk-blank"><h1>Nothing that wears has been measured</h1>'
        "<p>Chain wear, pad and rotor thickness, tooth wear, tread depth, rim walls and battery "
        "capacity are read against how far a part has gone. Enter readings at the bench:</p>"
        "<p><code>lockring record --follow</code></p></div>"
    )


def _counted(shown: Shown, standings: Sequence[FamilyStanding]) -> tuple[int, dict[str, str]]:
    """Give how many parts of families are fitted, and the facts of how many there are."""
    number = shown.words.formats.number
    fitted = sum(int(one.now.is_fitted.sum()) for one in standings)
    read = sum(len(one.each.family.series) for one in standings)
    return fitted, {"Parts read": number(read), "Fitted now": number(fitted)}


def _fleet(shown: Shown) -> None:
    standings = shown.wear.standings
    fitted, facts = _counted(shown, standings)
    past = sum(one.count_past for one in standings)
    st.html(as_at_line(shown) + show.facts(say.fleet_finding(past, fitted, shown.words), facts))
    names = list(dict.fromkeys(shown.families.values()))
    _choose_family(shown, names)
    _rates(shown, names)
    st.html(show.gauges(_gauges(shown.wear), shown.wear.units, shown.words))
    st.html(show.left_out(shown.wear.flagged, shown.families, shown.words, shown.as_at))


def _choose_family(shown: Shown, names: Sequence[str]) -> None:
    links = [
        (capital(say.family_name(name, shown.words)), shown.where(family=name)) for name in names
    ]
    with st.container(key="choose", horizontal=True, vertical_alignment="center"):
        st.html(show.choices(links, "Sorts of part"))
        st.text_input(
            "Parts of one bike",
            key="parts_of",
            placeholder="Parts of one bike: its tag",
            on_change=_ask,
            label_visibility="collapsed",
        )


def _ask() -> None:
    tag = filters.fold_tag(st.session_state["parts_of"])
    if tag:
        kept = {AS_AT: st.query_params[AS_AT]} if AS_AT in st.query_params else {}
        st.query_params.from_dict({TAG: tag, **kept})


def _gauges(wear: BookWear) -> list[GaugeFigure]:
    """Give each gauge once a family: as measured where it was used most."""
    best: dict[tuple[str, str], GaugeFigure] = {}
    for one in wear.gauges:
        kept = best.get((one.family, one.gauge))
        if kept is None or one.count > kept.count:
            best[one.family, one.gauge] = one
    return sorted(best.values(), key=lambda one: (one.family, one.gauge))


def _rates_of(wear: BookWear, family: str) -> list[RateFigure]:
    """Give a family's rates by distance; by time where no distance is known of any."""
    found = [rate for rate in wear.rates if rate.family == family]
    in_km = [rate for rate in found if rate.exposure_unit == "km"]
    return in_km or found


def _rates(shown: Shown, names: Sequence[str]) -> None:
    st.html(
        '<h2 class="lk-title">How fast they usually wear</h2><p class="lk-legend">'
        '<span><i class="lk-dotmark"></i>the usual rate</span>'
        '<span><i class="lk-rangemark"></i>eight of ten such parts lie here</span>'
        "<span>(parts read)</span></p>"
    )
    units = shown.wear.units
    untold = []
    with st.container(key="readings"):
        for name in names:
            rates = _rates_of(shown.wear, name)
            if rates:
                _rate_card(shown, name, rates, units[name])
            else:
                untold.append(say.family_name(name, shown.words))
    if untold:
        said = f"Too little is known to tell a rate: {', '.join(untold)}."
        st.html(f'<p class="lk-note">{text(said)}</p>')


def _rate_card(shown: Shown, name: str, rates: list[RateFigure], unit: str) -> None:
    label = capital(say.family_name(name, shown.words))
    title = f"{label}: {say.finding(rates, unit, shown.words)}"
    key = "".join(sign if sign.isalnum() else "-" for sign in name)
    with st.container(key=f"reading-{key}"):
        st.html(show.card_head(title, _basis(shown, name, rates)))
        drawn = shown.drawn(
            f"rates {name}", lambda: wear_charts.rate_chart(rates, unit, title, shown.words)
        )
        st.vega_lite_chart(drawn, theme=None, width="stretch", key=f"rates-{key}")


def _basis(shown: Shown, name: str, rates: list[RateFigure]) -> str:
    """Give what the rates rest on, and what is counted in days beside them."""
    whole = next(rate for rate in rates if rate.factor == "all")
    number = shown.words.formats.number
    noun = "part" if whole.count_series == 1 else "parts"
    said = f"From {number(whole.count_series)} {noun} read"
    others = sum(
        len(each.family.series)
        for each in shown.wear.fit.families
        if each.family.name == name and each.family.unit != whole.exposure_unit
    )
    if whole.exposure_unit != "km":
        more = f"; {number(others)} more with a distance tell no rate yet" if others else ""
        return f"{said}, of no known distance, so use is counted in days{more}."
    more = f"; {number(others)} more of no known distance are counted in days" if others else ""
    return f"{said}{more}."


def _family(shown: Shown, name: str) -> None:
    if name not in shown.families.values():
        unknown(shown, "Nothing of that sort has been measured", "Choose what has been:")
        return
    label = capital(say.family_name(name, shown.words))
    st.set_page_config(page_title=f"{label} · Lockring")
    standings = [one for one in shown.wear.standings if one.each.family.name == name]
    fitted, facts = _counted(shown, standings)
    st.html(show.path(("All wear", shown.where())) + as_at_line(shown) + show.facts(label, facts))
    rates = _rates_of(shown.wear, name)
    if rates:
        _rates(shown, [name])
    _listed(shown, standings, fitted, f"listed-{name}")
    units = {one.each.family.unit for one in standings}
    _lives(shown, name, "km" if "km" in units else "days")


def _listed(shown: Shown, standings: Sequence[FamilyStanding], count: int, key: str) -> None:
    st.html('<h2 class="lk-title">Likeliest past their limit first</h2>')
    if not count:
        st.html(NOT_ONE)
        return
    most = st.session_state.get(key, FIRST_LISTED)
    _list(shown, likeliest(standings, most), count)
    if count > most:
        more = min(MORE_LISTED, count - most)
        st.button(f"Show {more} more", on_click=st.session_state.update, kwargs={key: most + more})


def _list(shown: Shown, parts: Sequence[PartWear], count: int) -> None:
    note = f'<p class="lk-note">{text(_of(count, len(parts), shown.words))}</p>'
    listed = show.part_list(parts, shown.families, shown.words, shown.as_at)
    st.html(note + listed + show.caution(parts, shown.words))


def _of(count: int, most: int, words: Words) -> str:
    number = words.formats.number
    said = f"{number(most)} of {number(count)}" if count > most else number(count)
    return f"{said} fitted. The chance is an estimate; a gauge on the part decides."


def _lives(shown: Shown, name: str, unit: str) -> None:
    found = worked_out.lives(shown.book, shown.wear, name, unit)
    st.html(lives_panels.lives_head(found, unit, shown.words))
    drawn = [one for one in found.models if lives_panels.can_be_told(one)]
    with st.container(key="readings_lives"):
        for number, one in enumerate(drawn):
            title = lives_panels.lives_title(one, shown.words)
            with st.container(key=f"reading-life-{number}"):
                st.html(show.card_head(title, lives_panels.lives_line(one, shown.words)))
                chart = shown.drawn(f"lives {name} {one.group.group}", _lives_chart(shown, one))
                st.vega_lite_chart(chart, theme=None, width="stretch", key=f"life-{number}")
                st.html(lives_panels.watched(one, shown.words))


def _lives_chart(shown: Shown, one: ModelLives) -> Callable[[], dict[str, Any]]:
    title, locale = lives_panels.lives_title(one, shown.words), shown.words.formats.locale
    return lambda: lives_charts.lives_chart(one, title, locale)


def _bike(shown: Shown, typed: str) -> None:
    tag = filters.fold_tag(typed)
    if tag not in data.tags(shown.book):
        near = filters.nearest_tags(tag, data.tags(shown.book))
        said = tag if filters.is_tag(typed) else typed
        unknown(shown, f"No bike has the tag {said}", "Check its plate.")
        if near:
            st.html(panels.bike_list(data.named(shown.book, near), shown.words))
        return
    bike = data.bike(shown.book, tag)
    st.set_page_config(page_title=f"Wear of {tag} · Lockring")
    parts = shown.wear.on_bikes((tag,))
    there = in_order([part for part in parts if part.is_fitted])
    above = (("All wear", shown.where()), (f"Bike {tag}", bike_address(shown, tag)))
    gone = len(parts) - len(there)
    facts = {"Parts read": str(len(parts)), "Of them taken off": str(gone)}
    st.html(show.path(*above) + as_at_line(shown) + show.facts(f"Wear of {bike.name}", facts))
    if not parts:
        said = "No reading that tells wear is on record for it. That says nothing of its parts."
        st.html(f'<p class="lk-note">{text(said)}</p>')
        return
    st.html('<h2 class="lk-title">Fitted now, likeliest past its limit first</h2>')
    if there:
        _list(shown, there, len(there))
    else:
        st.html(NOT_ONE)
    if gone:
        st.html('<h2 class="lk-title">Taken off</h2>')
        taken = [part for part in parts if not part.is_fitted]
        st.html(show.part_list(taken, shown.families, shown.words, shown.as_at))

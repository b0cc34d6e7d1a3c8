"""Chains run long: who rides them past the limit, what that costs, and in which gears."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from dashboard import chain_charts, data, filters, markup, stands, wear_panels, worked_out
from dashboard import chain_words as say
from dashboard.chain_words import Money
from dashboard.due_panels import choices
from dashboard.markup import text
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.chain_report import (
    BikeGears,
    ChainsReport,
    LimitCurve,
    RiderChains,
    ShopChains,
)
from ledger.kept.rows import first_with

OF, TAG, AS_AT = "of", "tag", "as_at"
FIRST_LISTED, MORE_LISTED, DRAWN, OFFERED = 12, 50, 12, 10


@dataclass(frozen=True)
class Shown:
    """What the page is drawn from."""

    book: Book
    report: ChainsReport
    words: Words
    money: Money
    names: Mapping[str, str]
    """What each rider is called, by id."""
    day: date | None

    def drawn(self, key: str, build: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """Give a chart of this page, built once."""
        day = self.day or data.today(self.book)
        return worked_out.drawn(self.book, day, f"chains {key}", build)

    def where(self, **asked: str) -> str:
        """Give the address of this page with something asked for, as at the same day."""
        as_at = self.day.isoformat() if self.day else ""
        return wear_panels.address(as_at, **asked).replace("wear", "chains", 1)

    def name(self, row: RiderChains) -> str:
        """Give what a rider is called; a bike whose rider is not known is named by its tag."""
        return self.names.get(row.who, row.who)


def page() -> None:
    """Draw the page, of the riders the address asks for."""
    book = data.open_book()
    day = filters.asked_day(st.query_params.get(AS_AT))
    day = None if day is None or day >= data.today(book) else day
    waiting = st.empty()
    waiting.html(wear_panels.waiting("Chains", "Working out what every chain did…"))
    report, words = worked_out.chains(book, day), data.words_of(book)
    stands.tell(waiting, "" if day else stands.note(book, words, "chains"))
    if report.shop is None:
        _nothing(day, words)
        return
    asker = data.asker()
    everybody = book.riders.all() if asker.sees("habits") else ()
    # Who is to be called is a call list: names of those alone who agreed to that.
    names = {row.rider: row.name for row in everybody if row.name and row.may_contact}
    shown = Shown(book, report, words, Money(book.settings, words), names, day)
    _head(shown, report.shop)
    if asker.sees("habits"):
        _riders(shown, report.shop)
    if asker.sees("money"):
        _costs(shown)
    _gears(shown)
    st.html(_conditions(report))


def _nothing(day: date | None, words: Words) -> None:
    st.html(
        wear_panels.as_at_note(day, words)
        + '<div class="lk-blank"><h1>No chain has been measured against a limit</h1>'
        "<p>Read the chain at each visit, with the distance, and this page tells who rides chains "
        "past their limit and what that costs:</p>"
        "<p><code>lockring record --follow</code></p></div>"
    )


def _head(shown: Shown, shop: ShopChains) -> None:
    words, number = shown.words, shown.words.formats.number
    facts = {
        "A typical rider's share": say.share(
            shop.typical_share, shop.typical_low, shop.typical_high
        ),
        "Riders": number(shop.count_riders),
        "Left open by their reading": number(shop.count_open),
    }
    head = wear_panels.facts(say.finding(shop, words), facts)
    st.html(wear_panels.as_at_note(shown.day, words) + head + _account(shown, shop))


def _account(shown: Shown, shop: ShopChains) -> str:
    if shop.spent_minor is None or shop.difference_minor is None:
        return ""
    against = say.difference(
        shop.difference_minor, shop.difference_low_minor, shop.difference_high_minor, shown.money
    )
    said = (
        f"Over {shown.words.formats.rough(shop.distance_km, 'km')} between readings, drivetrains "
        f"used up {shown.money.rough(shop.spent_minor)}: {against} than if every chain had been "
        "changed at its limit and lives hold. That is an account of parts and work, not of what "
        "a chain that skips or breaks does to a rider."
    )
    return f'<p class="lk-note">{text(said)}</p>'


# -- riders ----------------------------------------------------------------------------------


def _asked_for(shown: Shown) -> Sequence[RiderChains]:
    """Give the riders whose name, id or bike's tag holds what is asked for; all for nothing."""
    asked = st.query_params.get(OF, "").strip()
    if not asked:
        return shown.report.riders
    folded, tag = asked.casefold(), filters.fold_tag(asked)
    return [
        row
        for row in shown.report.riders
        if folded in shown.name(row).casefold() or folded == row.who or tag in row.bikes
    ]


def _ask() -> None:
    asked = st.session_state["riders_of"].strip()
    if asked:
        st.query_params[OF] = asked
    else:
        st.query_params.pop(OF, None)


def _riders(shown: Shown, shop: ShopChains) -> None:
    rows = _asked_for(shown)
    asked = st.query_params.get(OF, "").strip()
    st.html(f'<h2 class="lk-title">{"Riders who match" if asked else "Who rides them long"}</h2>')
    with st.container(key="choose"):
        st.session_state["riders_of"] = asked
        st.text_input(
            "Rider or bike",
            key="riders_of",
            placeholder="A rider's name or id, or a tag",
            on_change=_ask,
            label_visibility="collapsed",
        )
    if not rows:
        st.html(markup.blank(f"No rider matches {asked}", "Fewer letters find more.", level=3))
        return
    _shares(shown, shop, rows)
    _table(shown, rows)


def _shares(shown: Shown, shop: ShopChains, rows: Sequence[RiderChains]) -> None:
    named = [
        (_told_apart(shown, row, rows[:DRAWN]), row.share, row.share_low, row.share_high, row.seen)
        for row in rows[:DRAWN]
    ]
    drawn = chain_charts.share_rows(named, shop, shown.words)
    title = _share_title(shown, shop, rows)
    said = (
        "Share of looks that found the chain past its limit, drawn towards the shop's, with 80 %."
    )
    locale = shown.words.formats.locale
    with st.container(key="reading-riders"):
        st.html(wear_panels.card_head(title, said))
        key = f"riders {st.query_params.get(OF, '')}"
        chart = shown.drawn(key, lambda: chain_charts.share_chart(drawn, title, locale))
        st.vega_lite_chart(chart, theme=None, width="stretch", key="riders")


def _told_apart(shown: Shown, row: RiderChains, others: Sequence[RiderChains]) -> str:
    """Give a rider's name cut to what a chart holds, with the id where another here looks alike."""
    name = say.short(shown.name(row))
    is_shared = sum(say.short(shown.name(other)) == name for other in others) > 1
    return f"{name}, {row.who}" if is_shared and name != row.who else name


def _share_title(shown: Shown, shop: ShopChains, rows: Sequence[RiderChains]) -> str:
    above = shop.count_above
    if rows is not shown.report.riders:
        above = sum(row.share_low > shop.typical_share for row in rows)
    number = shown.words.formats.number
    if not above:
        return "No rider stands out: every range reaches the typical share"
    noun, verb = "rider" if len(rows) == 1 else "riders", "stands" if above == 1 else "stand"
    return f"{number(above)} of {number(len(rows))} {noun} {verb} out above the typical share"


def _table(shown: Shown, rows: Sequence[RiderChains]) -> None:
    most = st.session_state.get("riders_most", FIRST_LISTED)
    against = ("Against changing at the limit",) if data.asker().sees("money") else ()
    heads = ("Rider", "Share", "Looks at a chain", "How far beyond", "Followed within a year",
             *against)  # fmt: skip
    body = [_row(shown, row) for row in rows[:most]]
    table = markup.table("", heads, body).replace("lk-table", "lk-table lk-headed lk-prose", 1)
    st.html(table)
    if len(rows) > most:
        more = min(MORE_LISTED, len(rows) - most)
        st.button(
            f"Show {more} more riders",
            on_click=st.session_state.update,
            kwargs={"riders_most": most + more},
        )


def _row(shown: Shown, row: RiderChains) -> tuple[str, ...]:
    bikes = ", ".join(
        f'<a href="wear?tag={text(tag)}" target="_self">{text(tag)}</a>' for tag in row.bikes
    )
    against = say.difference(
        row.difference_minor, row.difference_low_minor, row.difference_high_minor, shown.money
    )
    share = say.share(row.share, row.share_low, row.share_high)
    return (
        f"{text(shown.name(row))}<small>{bikes}</small>",
        f'<span class="lk-figure">{text(share)}</span>',
        text(f"of {row.seen}, {row.past} found it past"),
        text(say.beyond(row, shown.words)),
        text(say.followed(row)),
        *((text(against),) if data.asker().sees("money") else ()),
    )


# -- costs -----------------------------------------------------------------------------------


def _costs(shown: Shown) -> None:
    st.html('<h2 class="lk-title">What changing later costs</h2>')
    if not shown.report.curves:
        said = "Not to be told yet from this book; the reasons stand at the end of the page."
        st.html(f'<p class="lk-note">{said}</p>')
        return
    st.html(
        '<p class="lk-legend"><span><i class="lk-bandmark"></i>cost of 1,000 km, with its 80 % '
        'band</span><span><i class="lk-dotmark"></i>within 2 % of the least</span>'
        "<span><i></i>the chains' limit</span></p>"
    )
    with st.container(key="readings_costs"):
        for curve in shown.report.curves:
            _curve(shown, curve)


def _curve(shown: Shown, curve: LimitCurve) -> None:
    title, key = say.cost_title(curve, shown.words), f"{round(1000 * curve.limit)}"
    rows = chain_charts.cost_rows(curve, shown.book.settings.minor_digits)
    with st.container(key=f"reading-cost-{key}"):
        st.html(wear_panels.card_head(title, _basis(shown, curve)))
        locale, currency = shown.words.formats.locale, shown.report.currency
        chart = shown.drawn(
            f"cost {key}",
            lambda: chain_charts.cost_chart(rows, curve.limit, currency, title, locale),
        )
        st.vega_lite_chart(chart, theme=None, width="stretch", key=f"cost-{key}")


def _basis(shown: Shown, curve: LimitCurve) -> str:
    number = shown.words.formats.number
    prices = ", ".join(
        f"{name} {shown.money.exact(price.fitted_minor + price.part_minor)}"
        for name, price in curve.prices.items()
    )
    return (
        f"Parts and work alone; past the limit the maker's figure decides, not the cost. From "
        f"{number(curve.count_changed)} chains changed and {number(curve.count_stretches)} "
        f"stretches of cassettes; fitted: {prices}."
    )


# -- gears -----------------------------------------------------------------------------------


def _gears(shown: Shown) -> None:
    st.html('<h2 class="lk-title">Which gears a bike lives in</h2>')
    found = shown.report.gears
    if not found:
        said = "No cassette's single sprockets have been measured twice yet."
        st.html(f'<p class="lk-note">{said}</p>')
        return
    tag = filters.fold_tag(st.query_params.get(TAG, ""))
    chosen = first_with(found, "bike", (tag,)) or found[0]
    if tag and chosen.bike != tag:
        said = f"No sprocket of {tag} has been measured twice; another bike is shown."
        st.html(f'<p class="lk-note">{text(said)}</p>')
    offered = dict.fromkeys([chosen.bike, *(one.bike for one in found[:OFFERED])])
    links = [(one, shown.where(tag=one), one == chosen.bike) for one in offered]
    st.html(choices("Bike", links))
    _sprockets(shown, chosen)


def _sprockets(shown: Shown, found: BikeGears) -> None:
    title = say.gears_title(found, shown.words)
    who = shown.names.get(found.who, found.who)
    ridden = "" if who == f"bike {found.bike}" else f", ridden by {who}"
    said = (
        f"Of the sprockets measured on {found.bike}{ridden}. In brackets: how many "
        "stretches between two readings."
    )
    rows = chain_charts.gear_rows(found, shown.words)
    with st.container(key="reading-gears"):
        st.html(wear_panels.card_head(title, said))
        locale = shown.words.formats.locale
        chart = shown.drawn(
            f"gears {found.bike}", lambda: chain_charts.gear_chart(rows, title, locale)
        )
        st.vega_lite_chart(chart, theme=None, width="stretch", key="gears")


def _conditions(report: ChainsReport) -> str:
    items = "".join(f"<li>{text(one)}</li>" for one in report.conditions)
    missing = "".join(f"<li>Not worked out: {text(one)}.</li>" for one in report.missing)
    return markup.section(
        "What these figures are conditional on", f'<ul class="lk-conditions">{items}{missing}</ul>'
    )

"""The torque pass over everything disturbed, and the pressures: a figure each, signed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from functools import partial

import streamlit as st

from dashboard import bench_form, bench_html, bench_words
from dashboard.bench_form import Form, NotRead, figure
from dashboard.bench_place import go_after
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts
from ledger.bench.measuring import judged
from ledger.bench.shapes import GaugeShown, PressureItem, TorqueItem

THREADS = {name: capital(name) for name in ("dry", "greased", "anti-seize", "threadlocked")}
TORQUE = ("after", "tool", "thread", "low", "high")
PRESSURE = ("after", "tool")
Make = Callable[[], drafts.Draft]


def torque_view(stand: Stand, item: str | None) -> None:
    """Draw the torque that is open, and everything else disturbed under it."""
    found = next((one for one in stand.bench.torques if one.position == item), None)
    if found is None:
        _all_torqued(stand)
        return
    words = stand.words
    pieces.head(
        stand,
        "torque",
        words.position(found.position),
        found.position,
        f"disturbed by {found.actor}, {words.formats.moment(found.disturbed_at)}",
    )
    warned = bench_words.hides(words, found)
    if warned:
        show(bench_html.listed("Before it is covered", warned, "lk-hidden"))
    with pieces.around(stand, "torque", found.position, found.position, "torque") as is_entry:
        if is_entry:
            _torque(stand, found)
        _still(stand, found.position)


def _torque(stand: Stand, item: TorqueItem) -> None:
    words, usual = (
        stand.words,
        {
            "tool": item.last_tool or _used(item.tools),
            "thread": item.thread,
            "low": bench_words.plain(item.maker_low),
            "high": bench_words.plain(item.maker_high),
        },
    )
    form = Form(stand, f"torque {item.position}", usual)
    typed = form.begin(*TORQUE)
    last = ("Last", bench_words.last_setting(words, item.last), "")
    show(bench_html.beside([last, ("Maker's range", bench_words.makers_range(words, item), "")]))
    pieces.left_typed(form, {k: v for k, v in typed.items() if k == "after"}, *TORQUE)
    label = f"Torqued, as {stand.hand.actor}"
    done = partial(go_after, stand, "torque", item.position)
    _entry(form, item.unit, label, partial(_torque_draft, form, item), TORQUE, done)
    value = item.last.value if item.last else None
    _figure_again(form, value, item.unit, item.canonical_unit, TORQUE)
    bench_form.presses(form, "thread", "Thread", THREADS, lambda: form.keep(*TORQUE))
    _tools(form, item.tools, TORQUE)
    _maker(form, item)


def _torque_draft(form: Form, item: TorqueItem) -> drafts.Draft:
    """Give the torque as it is typed; raises NotRead."""
    return drafts.torqued(
        form.stand.hand,
        form.id,
        item.position,
        _amount(form, "after", item.unit),
        tool=form.value("tool"),
        thread=form.value("thread"),
        maker_low=_given(form, "low", item.canonical_unit),
        maker_high=_given(form, "high", item.canonical_unit),
    )


def _maker(form: Form, item: TorqueItem) -> None:
    """Draw the maker's range where it is asked for, and the presses under the entry."""
    stand, place = form.stand, item.position
    if stand.asked.form == "more":
        with st.container(key="bench_maker", horizontal=True):
            for of, name in (("low", "Maker's least"), ("high", "Maker's most")):
                label = f"{name}, {item.canonical_unit}"
                bench_form.line(form, of, label, lambda: form.keep(*TORQUE), is_number=True)
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("Leave out", f"leave-{place}", pieces.leave_out, stand, "torque", place)
        more = partial(stand.go, step="torque", item=place, form="more")
        press_button("Maker's range", "way-more", more)


def _still(stand: Stand, here: str) -> None:
    """Draw everything else that is disturbed, in the order to be torqued, and what is done."""
    others = [one for one in stand.bench.torques if one.position != here]
    if others:
        show('<div class="lk-lines"><h2>Disturbed too, hidden ones first</h2></div>')
    for one in others:
        warned = "; ".join(bench_words.hides(stand.words, one))
        name = capital(stand.words.position(one.position))
        press_button(
            f"{name}. {warned}" if warned else name,
            f"row-{one.position}",
            lambda key=one.position: stand.go(step="torque", item=key),
            is_wide=True,
        )
    done = [
        (stand.words.position(one.position), bench_words.last_setting(stand.words, one), None)
        for one in stand.bench.torqued
    ]
    if done:
        show(bench_html.rows(done))


def _all_torqued(stand: Stand) -> None:
    still = [one.position for one in stand.bench.torques]
    title = "Left without a torque" if still else "Nothing disturbed is left without its torque"
    with pieces.whole(stand, "torque", title):
        _still(stand, "")


# -- pressures ---------------------------------------------------------------------------------


def pressures_view(stand: Stand, item: str | None) -> None:
    """Draw the pressure that is open, with the lowest maximum of what carries the air."""
    found = next((one for one in stand.bench.pressures if one.position == item), None)
    if found is None:
        _all_pressures(stand)
        return
    at = found.position
    pieces.head(stand, "pressures", stand.words.position(at), at)
    with pieces.around(stand, "pressures", at, at, "pressure") as is_entry:
        if is_entry:
            _pressure(stand, found)


def _pressure(stand: Stand, item: PressureItem) -> None:
    words = stand.words
    form = Form(stand, f"pressure {item.position}", {"tool": _used(item.tools)})
    typed = form.begin(*PRESSURE)
    show(
        bench_html.beside(
            [
                ("Last", bench_words.last_setting(words, item.last), ""),
                (
                    "Lowest maximum",
                    bench_words.maximum(words, item),
                    bench_words.maximum_not_known(words, item),
                ),
            ]
        )
    )
    pieces.left_typed(form, {k: v for k, v in typed.items() if k == "after"}, *PRESSURE)

    def make() -> drafts.Draft:
        after = _amount(form, "after", item.unit)
        return drafts.pressure_set(
            stand.hand, form.id, item.position, after, tool=form.value("tool")
        )

    _entry(
        form,
        item.unit,
        "Record",
        make,
        PRESSURE,
        lambda: go_after(stand, "pressures", item.position),
    )
    _figure_again(
        form, item.last.value if item.last else None, item.unit, item.canonical_unit, PRESSURE
    )
    _tools(form, item.tools, PRESSURE)
    pieces.ways_out(stand, "pressures", item.position)


def _all_pressures(stand: Stand) -> None:
    with pieces.whole(stand, "pressures", "Pressures"):
        for one in stand.bench.pressures:
            name = capital(stand.words.position(one.position))
            said = bench_words.last_setting(stand.words, one.done) if one.done else "to come"
            press_button(
                f"{name}: {said}",
                f"row-{one.position}",
                lambda key=one.position: stand.go(step="pressures", item=key),
                is_wide=True,
            )


# -- what both have ----------------------------------------------------------------------------


def _entry(
    form: Form,
    unit: str,
    label: str,
    make: Make,
    fields: tuple[str, ...],
    on_done: Callable[[], None],
) -> None:
    """Draw the figure with its unit and the press, and what recording it would say."""
    said = bench_words.unit(unit)
    with st.container(key="bench_entry", horizontal=True, vertical_alignment="bottom"):
        bench_form.line(
            form,
            "after",
            f"Set to, {said}",
            lambda: form.keep(*fields),
            is_number=True,
            is_live=True,
        )
        show(f'<span class="lk-unit">{said}</span>')
        press_button(
            label, "record-set", pieces.record, form, lambda: [make()], on_done, is_first=True
        )
    if not form.text("after"):
        return
    try:
        found = judged(form.stand.book, form.stand.bench, make())
    except NotRead as error:
        show(bench_html.judged(None, [str(error)], is_refused=True))
        return
    told = found.problems or found.warnings
    if told:
        show(bench_html.judged(None, told, is_refused=True))


def _figure_again(
    form: Form, last: object, unit: str, canonical: str, fields: tuple[str, ...]
) -> None:
    """Offer the figure set here last, where it is in the unit of the entry."""
    if last is None or unit != canonical or form.text("after"):
        return
    words = bench_words.plain(last)  # type: ignore[arg-type]  # a Decimal, told not to be None

    def again() -> None:
        form.put("after", words)
        form.keep(*fields)

    press_button(f"As last time: {words} {bench_words.unit(unit)}", "as-last", again)


def _tools(form: Form, tools: tuple[GaugeShown, ...], fields: tuple[str, ...]) -> None:
    offered: Mapping[str, str] = {one.gauge: bench_words.gauge(one) for one in tools}
    if offered:
        bench_form.presses(form, "tool", "With", offered, lambda: form.keep(*fields))


def _used(tools: tuple[GaugeShown, ...]) -> str | None:
    return next((one.gauge for one in tools if one.is_last_used), None)


def _amount(form: Form, of: str, unit: str) -> dict[str, str]:
    words = form.text(of)
    if not words:
        raise NotRead("Type the figure first, or leave it out.")
    plain = figure(words, "Set to")
    if Decimal(plain) <= 0:
        raise NotRead("Set to: more than 0. Look at the gauge again, or leave it out.")
    return drafts.amount(plain, unit)


def _given(form: Form, of: str, unit: str) -> dict[str, str] | None:
    words = form.text(of)
    return drafts.amount(figure(words, "Maker's range"), unit) if words else None

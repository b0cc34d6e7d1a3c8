"""Chains that run long, from a small book worked by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.bench import BikeChoice, NoChoice, choice_of, is_asked
from ledger.figures.bench_words import BenchWords
from ledger.figures.chains import chain_book, chains
from ledger.figures.prices import bill_lines, part_prices
from ledger.queries import bike_view

LATE, PROMPT = "7K3M9QXA", "2B4D6F8H"
START = datetime(2025, 3, 1, 12, tzinfo=UTC)


def amount(figure: object, unit: str) -> dict[str, str]:
    return {"value": str(figure), "unit": unit}


def entry(day: int, bike: str, kind: str, job: str | None = None, **data: Any) -> dict[str, Any]:
    at = (START + timedelta(days=day)).isoformat()
    found = {"kind": kind, "bike": bike, "actor": "mia", "occurred_at": at, "data": data}
    return {**found, "job": job} if job else found


def begun(bike: str, rider: str, speeds: int) -> list[dict[str, Any]]:
    """A bike with a rider, new chain and cassette, and a computer at nought."""
    return [
        entry(0, bike, "bike_registered", speeds=speeds),
        entry(0, bike, "rider_changed", rider=rider),
        entry(0, bike, "distance_read", odometer=amount(0, "km")),
        entry(0, bike, "part_fitted", position="chain", part=f"c-{bike}", origin="shop"),
        entry(0, bike, "part_fitted", position="cassette", part=f"k-{bike}", origin="shop"),
    ]


def read(day: int, bike: str, km: int, chain: object, tooth: object) -> list[dict[str, Any]]:
    """A visit at which distance, chain and one sprocket are read."""
    wear = {"position": "chain", "quantity": "elongation", "value": amount(chain, "%")}
    teeth = {"position": "cassette", "quantity": "tooth_wear", "value": amount(tooth, "mm")}
    return [
        entry(day, bike, "distance_read", odometer=amount(km, "km")),
        entry(day, bike, "measured", **wear),
        entry(day, bike, "measured", point="19T", **teeth),
    ]


def line(name: str, line_type: str, position: str, net: int, **more: Any) -> dict[str, Any]:
    return {
        "line": name, "line_type": line_type, "code": position, "position": position,
        "net_minor": net, **more,
    }  # fmt: skip


def changed(day: int, bike: str) -> list[dict[str, Any]]:
    """Chain and cassette changed and charged: 30.00 and 60.00, with 10.00 of work each.

    The bill is of before anything had to be quoted.
    """
    lines = [
        line("1", "part", "chain", 3000),
        line("2", "labour", "chain", 1000, minutes=10),
        line("3", "part", "cassette", 12_000, quantity="2"),
        line("4", "labour", "cassette", 1000),
    ]
    new = [
        entry(day, bike, "part_fitted", "j1", position=at, part=f"{at}-2", replaces=f"{old}-{bike}")
        for at, old in (("chain", "c"), ("cassette", "k"))
    ]
    opened = entry(day, bike, "job_opened", "j1")
    return [opened, *new, entry(day, bike, "job_closed", "j1", currency="EUR", lines=lines)]


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """One rider lets a chain run to twice its limit, one is seen well within it.

    Late: 4,000 km, 1.0 % at a limit of 0.5 %, cassette 0.35 mm. Prompt: 2,000 km, 0.5 % at a
    limit of 0.75 %, cassette 0.1 mm. Both wear a chain by 0.25 % per 1,000 km.
    """
    book = Book.init(tmp_path / "book", shop="quayside", clock=lambda: START + timedelta(days=300))
    for entries in (
        begun(LATE, "r1", 11), begun(PROMPT, "r2", 9), read(100, LATE, 4000, "1.0", "0.35"),
        read(100, PROMPT, 2000, "0.5", "0.1"), changed(101, LATE),
    ):  # fmt: skip
        book.append(entries, confirm_clock=True, is_brought_in=True)
    return book


def test_the_late_rider_stands_first_with_how_far_beyond(book: Book) -> None:
    """0.5 points over; the cassette that came off with the chain followed."""
    late, prompt = chains(book, asker=OWNER).riders
    assert (late.rider, late.bikes, late.seen, late.past) == ("r1", (LATE,), 1, 1)
    assert (prompt.rider, prompt.seen, prompt.past) == ("r2", 1, 0)
    assert late.over == pytest.approx(0.5)
    assert late.beyond_km is not None and late.beyond_high_km is not None
    assert late.beyond_km == pytest.approx(2000, rel=0.03)
    assert late.beyond_km < late.beyond_high_km
    assert (late.cassettes_followed, prompt.cassettes_followed) == (1, 0)
    assert prompt.over is None
    assert prompt.share < late.share < 1


def test_the_difference_from_changing_at_the_limit_by_hand(book: Book) -> None:
    """One chain was spared and a sixth of a cassette lost.

    The cassettes tell 0.05 mm per 1,000 km within the limit and 0.15 more at twice it: 4,000 km
    at a mean excess of a quarter cost 0.15 mm of 0.9 mm of a cassette at 70.00 fitted; the chain
    spared is 40.00 fitted.
    """
    late = chains(book, asker=OWNER).riders[0]
    assert late.extra_chains == pytest.approx(1)
    assert late.distance_km == pytest.approx(4000)
    assert late.difference_minor == pytest.approx(7000 * 0.15 / 0.9 - 4000, rel=1e-6)
    assert late.spent_minor == pytest.approx(4000 + 7000 * 0.35 / 0.9, rel=1e-6)


def test_before_anything_was_charged_there_is_no_money(book: Book) -> None:
    """As at the day of the reading the shares stand, and what is missing is named."""
    report = chains(book, START + timedelta(days=100, hours=1), asker=OWNER)
    assert [row.past for row in report.riders] == [1, 0]
    assert [row.difference_minor for row in report.riders] == [None, None]
    assert report.shop is not None and report.shop.difference_minor is None
    (said,) = (what for what in report.missing if "what running long costs" in what)
    assert "no chain was charged on bikes with a chain limit of 0.5 or 0.75 %" in said
    assert "price is missing" in said and "rider" not in said
    assert report.curves == ()


def test_parts_without_a_price_are_named_one_by_one(book: Book) -> None:
    """Chains of the other limit were never charged; nor were chainrings, which were read here."""
    said = chains(book, asker=OWNER).missing
    assert "what chains on bikes with a chain limit of 0.75 % cost: none was charged" in said
    ring = {"position": "chainring", "quantity": "tooth_wear", "value": amount("0.2", "mm")}
    at = {"position": "chainring", "part": "ring", "origin": "shop"}
    entries = [entry(0, LATE, "part_fitted", **at), entry(100, LATE, "measured", **ring)]
    book.append(entries, confirm_clock=True)
    named = "what chainrings wear on bikes with a chain limit of 0.5 % cost: no chainring was"
    assert any(named in what for what in chains(book, asker=OWNER).missing)


def test_a_chain_read_once_without_a_distance_is_named(tmp_path: Path) -> None:
    """Where no run is known it is the distance that is missing, and no price."""
    book = Book.init(tmp_path / "book", shop="quayside", clock=lambda: START + timedelta(days=300))
    wear = {"position": "chain", "quantity": "elongation", "value": amount("0.4", "%")}
    fit = entry(0, LATE, "part_fitted", position="chain", part="c", is_found=True)
    registered = entry(0, LATE, "bike_registered", speeds=11)
    book.append([registered, fit, entry(9, LATE, "measured", **wear)], confirm_clock=True)
    assert any("over a known distance" in what for what in chains(book, asker=OWNER).missing)


def test_one_rider_alone_has_no_range_of_what_sprockets_cost(tmp_path: Path) -> None:
    """The difference stands, and its range is missing rather than nought wide."""
    book = Book.init(tmp_path / "book", shop="quayside", clock=lambda: START + timedelta(days=300))
    for entries in (begun(LATE, "r1", 11), read(100, LATE, 4000, "1.0", "0.35"),
                    changed(101, LATE)):  # fmt: skip
        book.append(entries, confirm_clock=True, is_brought_in=True)
    report = chains(book, asker=OWNER)
    (late,) = report.riders
    assert late.difference_minor is not None and report.shop is not None
    ends = (late.difference_low_minor, late.difference_high_minor)
    assert (*ends, report.shop.difference_low_minor) == (None, None, None)


def test_one_changed_chain_makes_no_curve(book: Book) -> None:
    """A range of thresholds is not made up from one chain; the report says so."""
    report = chains(book, asker=OWNER)
    assert report.curves == ()
    assert any("limit of 0.5 %: too little was seen" in what for what in report.missing)


def test_a_sprocket_read_by_its_teeth_is_a_gear(book: Book) -> None:
    """0.35 mm in 4,000 km on 19 teeth; alone it has no share."""
    gears = {one.bike: one.gears for one in chains(book, asker=OWNER).gears}
    (gear,) = gears[LATE]
    assert (gear.teeth, gear.count, gear.share) == (19, 1, None)
    assert gear.rate == pytest.approx(0.0875)


def test_a_book_without_chains_has_an_empty_report(tmp_path: Path) -> None:
    """Nothing seen is said, not counted as within the limit."""
    report = chains(Book.init(tmp_path / "book", shop="quayside"), asker=OWNER)
    assert (report.riders, report.shop, report.curves, report.gears) == ((), None, (), ())
    assert any("no chain was measured" in what for what in report.missing)


def test_a_chain_seen_twice_a_day_is_one_sighting(book: Book) -> None:
    """The last reading of a visit counts."""
    wear = {"position": "chain", "quantity": "elongation", "value": amount("0.9", "%")}
    book.append([entry(150, PROMPT, "measured", **wear)], confirm_clock=True)
    wear["value"] = amount("0.5", "%")
    book.append([entry(150, PROMPT, "measured", **wear)], confirm_clock=True)
    prompt = next(row for row in chains(book, asker=OWNER).riders if row.rider == "r2")
    assert (prompt.seen, prompt.past) == (2, 0)


def test_an_interval_that_leaves_the_limit_open_is_counted_apart(book: Book) -> None:
    """A mark at 0.5 that went in and one at 1.0 that did not says nothing of a limit of 0.75."""
    wear = {"position": "chain", "quantity": "elongation"}
    ends = {"low": amount("0.5", "%"), "high": amount("1.0", "%")}
    book.append([entry(150, PROMPT, "measured", **wear, **ends)], confirm_clock=True)
    report = chains(book, asker=OWNER)
    assert report.shop is not None
    assert (report.shop.seen, report.shop.count_open) == (2, 1)


def test_prices_are_those_of_the_bills(book: Book) -> None:
    """A price is that of one part, with the work charged at its position; gifts are no price."""
    found = part_prices(bill_lines(book), lambda bike, position: position)
    chain, cassette = found["chain"], found["cassette"]
    assert (chain.part_minor, chain.fitting_minor, chain.fitting_minutes) == (3000, 1000, 10)
    assert (cassette.part_minor, cassette.fitted_minor, cassette.count) == (6000, 7000, 1)
    assert part_prices(bill_lines(book), lambda bike, position: None) == {}


def test_the_choice_at_the_bench_is_priced_from_the_book(book: Book) -> None:
    """A chain at its limit on a cassette with 7/9 left, at the prices and rates of this shop.

    2,000 km on the second chain and cassette: 0.5 % and 0.2 mm of 0.9 mm. A chain of 40.00 lasts
    2,000 km and takes a ninth of a cassette of 70.00, 23.90 per 1,000 km; to run it out takes the
    7/9 in 2,000 km, 27.20.
    """
    book.append(read(200, LATE, 6000, "0.5", "0.2"), confirm_clock=True)
    found = choice_of(chain_book(book), LATE)
    assert isinstance(found, BikeChoice)
    assert found.point == "19T"
    only, both, _ = found.choice.options
    assert (only.price_now, both.price_now) == (4000, 11_000)
    assert only.remaining_km == pytest.approx(2000, rel=0.05)
    assert only.chance_of_skipping < 1e-6
    assert found.choice.cheapest == "chain only"


def test_the_choice_is_one_line_with_what_it_assumes(book: Book) -> None:
    """Each way with its price now and later and its chance of skipping, then the least per km."""
    book.append(read(200, LATE, 6000, "0.5", "0.9"), confirm_clock=True)
    words, found = BenchWords(book.settings), choice_of(chain_book(book), LATE)
    assert words.line(found) == (
        "Worn chain: chain only €40.00 now, €40.00 later, 50% chance of skipping; chain and "
        "sprockets €110.00 now; run it out €110.00 later, chance of skipping not known. "
        "Least per km: run it out."
    ).replace("50%", "50 %")
    assumed = words.assumes(found)
    assert assumed.startswith("Assumes the chain as read on Sep 17, 2025 and its sprockets on Sep")
    assert "a new chain skips on teeth worn past 0.9" in assumed
    assert assumed.endswith("a qualified mechanic decides.")
    missing = choice_of(chain_book(book), PROMPT)
    assert words.line(missing).startswith("Worn chain: what to do about it is not priced, no chain")
    assert words.assumes(missing) == ""


@pytest.mark.parametrize(("wear", "is_worn"), [("0.2", False), ("0.45", True), ("0.6", True)])
def test_the_choice_is_asked_of_a_chain_at_watch_or_past_its_limit(
    book: Book, wear: str, is_worn: bool
) -> None:
    """At a limit of 0.5 % with watch from 0.4 %; a reading of the chain before tells nothing."""
    assert not is_asked(bike_view(book, LATE))
    book.append(read(200, LATE, 6000, wear, "0.2"), confirm_clock=True)
    assert is_asked(bike_view(book, LATE)) is is_worn


def test_a_bike_of_two_tags_is_one_choice(book: Book) -> None:
    """What was read under either tag is of the bike, by whichever it is asked for."""
    other = "4T2N8RWE"
    book.append(read(200, LATE, 6000, "0.5", "0.2"), confirm_clock=True)
    book.append([entry(201, other, "bike_registered", speeds=11)], confirm_clock=True)
    at = (START + timedelta(days=202)).isoformat()
    link = {"first": {"bike": LATE}, "second": {"bike": other}}
    joined = {"kind": "bike_linked", "actor": "mia", "occurred_at": at, "data": link}
    book.append([joined], confirm_clock=True)
    found = choice_of(chain_book(book), other, book.aliases()[other])
    assert isinstance(found, BikeChoice) and found.bike == other


def test_no_choice_is_priced_where_the_new_parts_were_not_measured(book: Book) -> None:
    """What was read of parts that came off says nothing of those on the bike."""
    late, prompt = (choice_of(chain_book(book), bike) for bike in (LATE, PROMPT))
    assert isinstance(late, NoChoice) and "not measured in figures since" in late.why
    assert isinstance(prompt, NoChoice)
    assert prompt.why == (
        "no chain and no cassette was charged yet on a bike with a chain limit of 0.75 %, "
        "so their prices are missing"
    )

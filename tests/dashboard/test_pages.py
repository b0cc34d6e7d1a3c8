"""The pages through the app's entry point, over real books."""

from __future__ import annotations

import re
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import small_book
from app_page import BROKEN, Opener, shown
from small_book import FORGOTTEN_TAG, NEW_TAG, TAG


def part_of(page: str, title: str) -> str:
    """Give the HTML of the section with a title, tags taken out."""
    found = re.search(rf"<h2>{title}</h2>(.*?)</section>", page, re.S)
    assert found, f"no section {title}"
    return re.sub(r"<[^>]+>", " ", found[1])


def plain(page: str) -> str:
    """Give a page's words alone."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_a_bike_answers_first(quay: Path, opened: Opener) -> None:
    """The first thing said is what is past its limit and what is open."""
    page = shown(opened(quay, tag=TAG))
    assert "Past its limit: rear brake pads. 1 fault open." in page
    assert page.index("Past its limit") < page.index("<h2>Fitted</h2>")
    assert "a qualified mechanic" in page


def test_no_page_calls_a_bike_safe(quay: Path, opened: Opener) -> None:
    """The word 'safe' stands nowhere, on any date."""
    for day in ("2023-03-04", "2024-03-05", "2025-04-02"):
        page = plain(shown(opened(quay, tag=TAG, as_at=day)))
        assert not re.search(r"\bsafe\b", page, re.I)


def test_not_checked_says_why_and_never_reads_as_fine(quay: Path, opened: Opener) -> None:
    """A position left unchecked, and systems nobody looked at, stand in the answer."""
    page = shown(opened(quay, tag=TAG))
    answer = plain(page[page.index("lk-answer") : page.index("<h2>Settings</h2>")])
    assert "not checked Steering 2 Apr 2025: Rider &lt;b&gt;waiting&lt;/b&gt;" in answer
    assert "Front brake, front wheel, rear wheel and frame no look and no reading" in answer
    assert "<b>waiting</b>" not in page


def test_sliding_the_date_changes_what_is_fitted(quay: Path, opened: Opener) -> None:
    """Before the new chain the old one is fitted; the address follows the slider."""
    app = opened(quay, tag=TAG)
    assert "Halm K10" in part_of(shown(app), "Fitted")
    app.slider(key="day_slider").set_value(date(2023, 12, 1)).run()
    fitted = part_of(shown(app), "Fitted")
    assert "Halm K10" not in fitted
    assert "C10" in fitted
    assert app.query_params["as_at"] == "2023-12-01"
    assert "1 Dec 2023" in shown(app)


def test_an_address_with_a_date_shows_that_date(quay: Path, opened: Opener) -> None:
    """A deep link in lower case with look-alikes opens the bike as at its date."""
    app = opened(quay, tag="7k3m-9qxa", as_at="2024-02-01")
    page = shown(app)
    assert "<h1>Varde Tourer 28</h1>" in page
    assert "As at <strong>1 Feb 2024</strong>" in page
    assert "chain wear 0.3\u00a0%" in page or "0.3\u00a0% on 12 Sept 2023" in page
    assert app.query_params["tag"] == TAG


def test_a_date_before_the_book_shows_the_first_day(quay: Path, opened: Opener) -> None:
    """A date out of range is answered with the nearest day the book knows of."""
    app = opened(quay, tag=TAG, as_at="1999-01-01")
    assert "As at <strong>4 Mar 2023</strong>" in shown(app)


def test_visits_are_stepped_through(quay: Path, opened: Opener) -> None:
    """'Visit before' goes to the last day with events before the one shown, and back."""
    app = opened(quay, tag=TAG, as_at="2025-04-01")
    next(button for button in app.button if "before" in button.label).click().run()
    assert app.query_params["as_at"] == "2024-03-05"
    next(button for button in app.button if "after" in button.label).click().run()
    assert app.query_params["as_at"] == "2025-04-02"


def test_every_reading_has_its_chart(quay: Path, opened: Opener) -> None:
    """One chart a position and quantity, titled with the figure, its limit and the verdict."""
    app = opened(quay, tag=TAG)
    page = shown(app)
    assert len(app.get("vega_lite_chart")) == 2
    assert "Chain, chain wear" in page
    assert "0.8\u00a0mm on 2 Apr 2025, limit 1\u00a0mm or less" in page


def test_settings_stand_in_the_canonical_unit(quay: Path, opened: Opener) -> None:
    """72 psi entered is 4.964 bar set, and both are said.

    Source: 1 psi = 6894.757 Pa, NIST SP 811, B.8.
    """
    settings = part_of(shown(opened(quay, tag=TAG)), "Settings")
    assert "4.964\u00a0bar" in settings
    assert "72\u00a0psi as entered" in settings


def test_the_timeline_shows_what_was_struck_and_why(quay: Path, opened: Opener) -> None:
    """A struck entry stays, struck through, with its reason and who struck it."""
    page = shown(opened(quay, tag=TAG))
    assert "<del>Chain waxed</del>" in page
    assert "struck: Typed on the wrong bike (ada, " in page


def test_the_timeline_narrows_by_system_and_words(quay: Path, opened: Opener) -> None:
    """A system keeps its entries, words keep the lines that have them all."""
    app = opened(quay, tag=TAG)
    app.get("button_group")[0].set_value(["steering"]).run()
    timeline = shown(app)[shown(app).index("lk-timeline") :]
    assert "Steering looked at" in timeline
    assert "Chain" not in timeline
    app.get("button_group")[0].set_value([]).run()
    app.text_input(key=f"words-{TAG}").set_value("SQUEAL brake").run()
    timeline = plain(shown(app)[shown(app).index("lk-timeline") :])
    assert "Rear brake looked at: squeal" in timeline
    assert "Booked in" not in timeline
    app.text_input(key=f"words-{TAG}").set_value("no such words").run()
    assert "Nothing matches" in shown(app)


def test_an_unknown_tag_offers_the_nearest(quay: Path, opened: Opener) -> None:
    """A tag misread by one sign is answered with the tags that read nearly the same."""
    page = shown(opened(quay, tag="7K3M9QX8"))
    assert "No bike has the tag 7K3M9QX8" in page
    assert f"bike?tag={TAG}" in page
    assert f"bike?tag={NEW_TAG}" in page


def test_a_bike_with_one_event(quay: Path, opened: Opener) -> None:
    """Nothing is invented for a bike that was only entered: all is said to be not on record."""
    app = opened(quay, tag=NEW_TAG)
    page = shown(app)
    assert "Nothing measured is on record." in page
    assert "One event so far." in page
    assert "No part is on record." in page
    assert not app.exception


def test_a_bike_entered_today_needs_no_slider(tmp_path: Path, opened: Opener) -> None:
    """A life of one day is shown without a slider, since there is nowhere to slide to."""
    book = small_book.empty_book(tmp_path / "book")
    book.append(small_book.shop_events())
    now = datetime.now(UTC).isoformat()
    book.append([small_book.event("bike_registered", now, NEW_TAG, make="Osk")])
    app = opened(tmp_path / "book", tag=NEW_TAG)
    assert not app.exception
    assert len(app.slider) == 0
    assert "<h1>Osk</h1>" in shown(app)


def test_forgotten_text_is_said_to_be_forgotten(quay: Path, opened: Opener) -> None:
    """Words whose key is gone read '(forgotten)', and the event stays."""
    page = shown(opened(quay, tag=FORGOTTEN_TAG))
    assert '<span class="lk-remark lk-forgotten">(forgotten)</span>' in page
    assert "Booked in" in page


def test_a_rider_is_named_from_the_register(quay: Path, opened: Opener) -> None:
    """The register's name stands on the page; where it has none, the id does."""
    assert "Tilde Moen" in shown(opened(quay, tag=TAG))
    assert "r-2" in shown(opened(quay, tag=FORGOTTEN_TAG))


def test_an_empty_book_says_how_to_begin(tmp_path: Path, opened: Opener) -> None:
    """A book with nothing in it tells how the first bike is entered."""
    small_book.empty_book(tmp_path / "book")
    page = shown(opened(tmp_path / "book"))
    assert "The book is empty" in page
    assert "lockring record --follow" in page


def test_no_book_is_said_plainly(tmp_path: Path, opened: Opener) -> None:
    """A folder without a book is named, with how to make one, and nothing is raised."""
    app = opened(tmp_path / "nothing")
    assert "The book cannot be read" in shown(app)
    assert "lockring init" in shown(app)
    assert not app.exception


@pytest.mark.parametrize("typed", ["tourer", "vard", "7k3m9qxa", "9QXA"])
def test_a_bike_is_found_by_letters_or_tag(quay: Path, opened: Opener, typed: str) -> None:
    """Letters of make or model list bikes; a whole tag opens the bike."""
    app = opened(quay)
    app.text_input(key="find").set_value(typed).run()
    page = shown(app)
    assert "Varde Tourer 28" in page
    assert "Osk" not in page


def test_what_is_not_found_is_said(quay: Path, opened: Opener) -> None:
    """Letters nothing has are answered in words, shown as typed and never as markup."""
    app = opened(quay)
    app.text_input(key="find").set_value("<i>zzz</i>").run()
    assert "No bike matches &lt;i&gt;zzz&lt;/i&gt;" in shown(app)


def test_a_new_commit_shows_at_once(tmp_path: Path, opened: Opener) -> None:
    """What is remembered is forgotten when the book's head moves."""
    book = small_book.small_book(tmp_path / "book")
    app = opened(tmp_path / "book", tag=NEW_TAG)
    assert "One event so far." in shown(app)
    at = "2025-06-01T10:00:00+02:00"
    book.append([small_book.event("noted", at, NEW_TAG, position="frame", text="New note")])
    assert "New note" in shown(app.run())


def test_a_model_that_could_be_a_tag_is_looked_for(tmp_path: Path, opened: Opener) -> None:
    """`headland` has eight signs of a tag's alphabet, and still finds the bikes called so."""
    book = small_book.empty_book(tmp_path / "book")
    book.append(small_book.shop_events())
    at = "2025-05-05T09:00:00+02:00"
    named = {"make": "Varde", "model": "Headland"}
    book.append([small_book.event("bike_registered", at, NEW_TAG, **named)])
    app = opened(tmp_path / "book")
    app.text_input(key="find").set_value("headland").run()
    assert "1 bike matches headland" in shown(app)
    app.text_input(key="find").set_value("7K3M9QX8").run()
    assert "No bike has the tag 7K3M9QX8" in shown(app)


def test_every_match_is_counted(tmp_path: Path, opened: Opener) -> None:
    """Of more bikes than are listed, the title gives the whole number."""
    book = small_book.empty_book(tmp_path / "book")
    book.append(small_book.shop_events())
    tags = [f"7K3M9Q{first}{second}" for first in "ABCDEFGH" for second in "ABCDEFGH"]
    at = "2025-05-05T09:00:00+02:00"
    book.append([small_book.event("bike_registered", at, tag, make="Varde") for tag in tags])
    app = opened(tmp_path / "book")
    app.text_input(key="find").set_value("varde").run()
    assert "64 bikes match varde, the 40 seen last shown" in shown(app)


def test_a_joined_bike_shows_all_its_tags(tmp_path: Path, opened: Opener) -> None:
    """A bike under either of its tags shows both, and what happened under each."""
    book = small_book.empty_book(tmp_path / "book")
    book.append(small_book.shop_events())
    at = "2025-05-05T09:{}:00+02:00"
    book.append(
        [
            small_book.event("bike_registered", at.format("00"), TAG, make="Varde"),
            small_book.event("bike_registered", at.format("01"), NEW_TAG, make="Varde"),
            small_book.event("noted", at.format("02"), NEW_TAG, position="frame", text="Repainted"),
        ]
    )
    both = {"first": {"bike": TAG}, "second": {"bike": NEW_TAG}, "reason": "New sticker"}
    book.append([small_book.event("bike_linked", at.format("05"), None, **both)])
    for tag, other in ((TAG, NEW_TAG), (NEW_TAG, TAG)):
        page = shown(opened(tmp_path / "book", tag=tag))
        head = page[page.index("<header") : page.index("</header>")]
        assert f"tag {' '.join(tag)}" in head
        assert f"tag {' '.join(other)}" in head
        assert "Repainted" in page


def test_a_part_replaced_keeps_its_readings_in_sight(quay: Path, opened: Opener) -> None:
    """A chain just fitted is said to be not measured, beside what the one before read."""
    page = plain(shown(opened(quay, tag=TAG, as_at="2024-03-05")))
    assert "Chain, chain wear not checked Not measured yet." in page
    assert "The part before: 0.8 % on 5 Mar 2024" in page
    assert "Past its limit: chain" not in page


def test_a_part_nobody_looked_at_is_said(quay: Path, opened: Opener) -> None:
    """A part found on the bike and never looked at says so; one that was measured does not."""
    before = part_of(shown(opened(quay, tag=TAG, as_at="2023-03-04")), "Fitted")
    assert before.count("never looked at") == 2
    after = part_of(shown(opened(quay, tag=TAG, as_at="2023-09-12")), "Fitted")
    assert "never looked at" not in after


def test_the_distance_says_when_it_was_read(quay: Path, opened: Opener) -> None:
    """A distance stands with the day it was read, as at the date looked at."""
    page = shown(opened(quay, tag=TAG, as_at="2024-12-01"))
    assert "3,100\u00a0km, read 5 Mar 2024" in page


def test_a_rider_is_named_in_the_timeline_until_forgotten(tmp_path: Path, opened: Opener) -> None:
    """A change of rider gives the register's name, and the id once the register changed."""
    book = small_book.small_book(tmp_path / "book")
    app = opened(tmp_path / "book", tag=TAG)
    assert "Rider is now Tilde Moen" in shown(app)
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        register.execute("delete from riders where rider = 'r-1'")
    register.close()
    assert "Tilde Moen" not in shown(app.run())


def test_the_headline_names_the_gravest_first(tmp_path: Path, opened: Opener) -> None:
    """What is unsafe is named before what is due, and what to watch is counted after."""
    book = small_book.empty_book(tmp_path / "book")
    book.append(small_book.shop_events())
    at = "2025-05-05T09:{}:00+02:00"
    read = {
        "front_brake.pads": ("thickness", "0.4 mm"),
        "chain": ("elongation", "0.9 %"),
    }
    book.append([small_book.event("bike_registered", at.format("00"), TAG, make="Varde")])
    book.append(
        [
            small_book.event(
                "measured",
                at.format("10"),
                TAG,
                position=position,
                quantity=quantity,
                value=small_book.amount(figure),
            )
            for position, (quantity, figure) in read.items()
        ]
    )
    page = shown(opened(tmp_path / "book", tag=TAG))
    assert "Unsafe: front brake pads. Past its limit: chain." in page
    assert page.index("lk-shape-unsafe") < page.index("lk-shape-due")


def test_a_page_that_breaks_says_so_in_plain_words(
    quay: Path, opened: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What nobody foresaw is told as our own page, without the cause, which goes to the log."""

    def breaks(*_: object, **__: object) -> None:
        raise ZeroDivisionError("inner workings")

    monkeypatch.setattr("dashboard.worked_out.due", breaks)
    app = opened(quay, page="due")
    page = "\n".join(element.proto.body for element in app.get("html"))
    assert not app.exception
    assert f"<h1>{BROKEN}</h1>" in page
    assert "inner workings" not in page
    assert 'aria-label="Pages"' in page

"""The bench page in a real browser: a whole service by touch, and everything that goes wrong."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import bench_book
import pytest
from bench_book import TAG, UNKNOWN, draft
from bench_hand import Hand, whole_service
from bench_server import Server
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from signed_in import page_of

from ledger.book import Book
from ledger.photos import photos_of, read_photo

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_2")]

MOST_INTERACTIONS, FEWEST_ENTRIES = 45, 25
PHONE, TABLET = (390, 844), (768, 1024)
MADE_OF = "Canon of nobody"


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server over the bench's book."""
    folder = tmp_path_factory.mktemp("bench")
    bench_book.bench_book(folder / "book")
    one = Server(folder / "book", folder)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def server(standing: Server) -> Server:
    """The server, with a bike on the bench that is this test's own."""
    book, now = Book.open(standing.book), datetime.now(UTC)
    standing.tag = f"B3HM8K{len(book.bikes()):02}"
    registered, opened = now - timedelta(days=2), now - timedelta(minutes=1)
    named = {"make": "Osk", "model": "Runabout", "bike_kind": "city"}
    complaint = {"tier": "quick_check", "complaint": "Rear brake squeals"}
    book.append(
        [
            draft("bike_registered", registered, standing.tag, **named),
            draft("rider_changed", registered, standing.tag, rider="r-2"),
            draft("job_opened", opened, standing.tag, f"job-{standing.tag}", **complaint),
        ],
        confirm_clock=True,
    )
    return standing


def by_touch(chromium: Browser, size: tuple[int, int] = TABLET) -> Page:
    """Give a page of a tablet or phone."""
    return page_of(chromium, size=size, has_touch=True)


@pytest.fixture
def hand(chromium: Browser, server: Server) -> Iterator[Hand]:
    """A hand at a tablet; anything wrong in the console fails."""
    one = Hand(by_touch(chromium))
    one.watch()
    yield one
    one.page.close()
    assert one.wrong == []


def at(server: Server, tag: str, more: str = "", who: str = "ada") -> str:
    """Give the address of a bike at the bench."""
    return f"{server.address}/bench?tag={tag}&who={who}{more}"


def test_a_whole_service_by_touch(server: Server, hand: Hand) -> None:
    """25 entries and more take 45 interactions at most, and each figure typed is in the book."""
    before = len(server.events(TAG))
    hand.begin(at(server, TAG))
    whole_service(hand)
    entered = server.events(TAG)[before:]
    assert len(entered) >= FEWEST_ENTRIES
    assert len(hand.did) <= MOST_INTERACTIONS
    kinds = [event.kind for event in entered]
    assert (kinds[0], kinds[-1]) == ("job_opened", "job_closed")
    typed = [event.data.value.value for event in entered if event.kind == "measured"]
    assert typed == ["0.82", "0.4", "1.2", "2.1", "1.7", "1.8", "2.2", "2.4", "0.2", "0.3"]
    chain = next(event for event in entered if event.kind == "measured")
    assert chain.data.verdict == "due"
    closed = entered[-1]
    assert [line.net_minor for line in closed.data.lines] == [7900]
    assert closed.data.disturbed == ()


def test_the_verdict_shows_while_it_is_typed_and_undo_strikes(server: Server, hand: Hand) -> None:
    """Nothing is recorded by typing; Enter records, the next item has the focus, Undo strikes."""
    hand.begin(at(server, server.tag, "&step=measure"))
    before = len(server.events(server.tag))
    hand.page.locator(".st-key-bench_entry input").press_sequentially("0.9")
    expect(hand.page.locator(".lk-judged")).to_contain_text("due")
    assert len(server.events(server.tag)) == before
    hand.page.keyboard.press("Enter")
    expect(hand.page.locator(".lk-in-book")).to_contain_text("Chain, chain wear: 0.9")
    assert "0.9" in server.events(server.tag)[-1].data.value.value
    hand.page.wait_for_timeout(500)
    hand.tap("Undo", ".st-key-bench_heard")
    struck = server.events(server.tag)[-1]
    assert struck.kind == "event_struck"
    assert hand.item == "Chain"


def test_a_double_tap_is_one_event(server: Server, hand: Hand) -> None:
    """Two taps at once, as a glove does, record one look; the system after it stays open."""
    hand.begin(at(server, server.tag, "&step=inspect&item=frame"))
    before = len(server.events(server.tag))
    hand.page.locator("[class*='st-key-rest-'] button").dblclick()
    expect(hand.page.locator(".lk-in-book")).to_contain_text("Frame")
    hand.page.wait_for_timeout(1500)
    assert len(server.events(server.tag)) == before + 1


def test_a_restart_in_the_middle_resumes_at_the_very_item(server: Server, hand: Hand) -> None:
    """What was confirmed is there, what was half typed is offered again, at the same item."""
    hand.begin(at(server, server.tag, "&step=measure"))
    hand.type_in("0.4")
    item = hand.item
    hand.page.locator(".st-key-bench_entry input").press_sequentially("1.7")
    expect(hand.page.locator(".lk-judged .lk-verdict")).to_be_visible()
    events = len(server.events(server.tag))
    server.kill()
    expect(hand.page.locator(".lk-lost")).to_be_visible(timeout=15_000)
    server.start()
    hand.page.reload()
    hand.page.wait_for_selector(".st-key-bench_item")
    assert hand.item == item
    expect(hand.page.locator(".st-key-bench_typed")).to_contain_text("Not recorded yet: 1.7")
    expect(hand.page.locator(".st-key-bench_entry input")).to_have_value("1.7")
    assert len(server.events(server.tag)) == events
    hand.tap("Record")
    assert server.events(server.tag)[-1].data.value.value == "1.7"
    assert len(server.events(server.tag)) == events + 1
    hand.wrong.clear()  # asking a server that is gone is an error to the browser, and meant here


def test_a_lost_line_is_said_and_the_page_goes_on_when_it_is_back(
    server: Server, hand: Hand
) -> None:
    """Without loading the page again: a band says so, and goes when the server is back."""
    hand.begin(at(server, server.tag, "&step=inspect&item=steering"))
    server.kill()
    band = hand.page.locator(".lk-lost")
    expect(band).to_contain_text("Nothing typed or pressed since is in the book", timeout=15_000)
    server.start()
    expect(band).to_have_count(0, timeout=60_000)
    assert hand.item == "Steering"
    hand.tap_on(hand.page.locator("[class*='st-key-rest-'] button").first, "the rest")
    assert server.events(server.tag)[-1].data.position == "steering"
    hand.wrong.clear()  # as above


def test_two_mechanics_on_one_bike_see_each_other(
    server: Server, hand: Hand, chromium: Browser
) -> None:
    """Each sees where the other is; both entries stand, each with its own hand."""
    hand.begin(at(server, server.tag, "&step=inspect&item=rear_brake"))
    hand.tap("Rear brake within limit")
    other = Hand(by_touch(chromium, PHONE))
    other.begin(at(server, server.tag, "&step=inspect&item=rear_brake", who="ben"))
    expect(other.page.locator(".lk-holders")).to_contain_text("ada at rear brake")
    expect(other.page.locator(".lk-told-line")).to_contain_text("ada is at this too: rear brake")
    other.page.goto(at(server, server.tag, "&step=inspect&item=front_brake", who="ben"))
    other.page.wait_for_selector(".st-key-bench_item")
    other.tap("Front brake within limit")
    other.page.close()
    by = [(event.actor, event.data.position) for event in server.events(server.tag)[-2:]]
    assert by == [("ada", "rear_brake"), ("ben", "front_brake")]


def test_the_clock_moves_in_one_press(server: Server, hand: Hand) -> None:
    """Start, pause, go on and stop are a press each, in the head."""
    hand.begin(at(server, server.tag, "&step=work"))
    for press in ("Start clock", "Pause", "Go on", "Stop"):
        hand.tap(press, ".st-key-bench_head")
        hand.page.wait_for_timeout(400)
    kinds = [event.kind for event in server.events(server.tag)[-4:]]
    assert kinds == ["labour_started", "labour_stopped"] * 2


RENEWS = """(() => {
    const plain = window.setInterval;
    window.renewed = [];
    window.setInterval = (act, every, ...more) => {
        if (every >= 5000) window.renewed.push(every);
        return plain(act, every, ...more);
    };
})()"""
"""Notes what a page means to do by itself, again and again."""
CLOCK = ".lk-clock-now b[data-seconds]"


def test_no_run_comes_between_presses_and_the_clock_goes_on(server: Server, hand: Hand) -> None:
    """A run nobody pressed for could leave the step before beside the one a press opens."""
    hand.page.add_init_script(RENEWS)
    hand.begin(at(server, server.tag, "&step=work"))
    hand.tap("Start clock", ".st-key-bench_head")
    hand.page.wait_for_selector(CLOCK)
    hand.page.locator("[class*='st-key-go-quote'] button").tap()
    expect(hand.page.locator(".lk-item h1")).to_have_text("Quote")
    assert hand.page.evaluate("window.renewed.filter(every => every % 30000 === 0)") == []
    hand.page.evaluate(f"document.querySelector('{CLOCK}').dataset.seconds = '3599'")
    expect(hand.page.locator(CLOCK)).to_have_text("60")


def test_a_photo_is_kept_without_where_it_was_taken(
    server: Server, hand: Hand, tmp_path: Path
) -> None:
    """A photo from the tablet stands as a small picture; nothing of its making is kept."""
    hand.begin(at(server, server.tag, "&step=inspect&item=frame"))
    picture = Image.new("RGB", (640, 480), "#447766")
    exif = Image.Exif()
    exif[0x010F] = MADE_OF
    picture.save(tmp_path / "photo.jpg", exif=exif)
    hand.page.get_by_text("Photos, before and after").tap()
    hand.page.locator("[data-testid='stFileUploaderDropzoneInput']").set_input_files(
        tmp_path / "photo.jpg"
    )
    expect(hand.page.locator(".lk-photos img")).to_be_visible()
    expect(hand.page.locator(".lk-photos figcaption")).to_contain_text("Frame, before")
    book = Book.open(server.book)
    one = photos_of(book, server.tag)[0]
    kept = read_photo(book, one.photo, one.key)
    assert kept is not None
    assert MADE_OF.encode() not in kept
    assert not Image.open(io.BytesIO(kept)).getexif()


def test_what_cannot_be_is_refused_in_a_line_and_stays_typed(server: Server, hand: Hand) -> None:
    """A figure that is none, and one no chain can have: one line says why, the text stays."""
    hand.begin(at(server, server.tag, "&step=measure"))
    before = len(server.events(server.tag))
    for typed, said in (("o.4", "o.4 is no figure"), ("90", "is not possible for chain wear")):
        field = hand.page.locator(".st-key-bench_entry input")
        field.fill("")
        hand.type_in(typed)
        expect(hand.page.locator(".st-key-bench_item .lk-refused")).to_contain_text(said)
        expect(field).to_have_value(typed)
    assert len(server.events(server.tag)) == before


def test_a_tag_that_washed_off_gets_a_new_one_and_both_are_one_bike(
    server: Server, hand: Hand
) -> None:
    """Found by what it looks like, both tags are shown; a press more and they are one bike."""
    hand.begin(f"{server.address}/bench?who=ada", ".st-key-bench_search")
    hand.tap("Its tag is gone", ".st-key-bench")
    hand.page.locator(".st-key-bench_search input").fill("child seat")
    row = hand.page.locator(".st-key-bench_found_bikes button")
    expect(row).to_have_count(1)
    row.tap()
    hand.tap("from now on", ".st-key-bench", exact=False)
    hand.page.wait_for_selector(".st-key-bench_head")
    book = Book.open(server.book)
    tags = book.aliases()[UNKNOWN]
    assert len(tags) == 2
    plates = hand.page.locator(".lk-plates .lk-plate")
    expect(plates).to_have_count(2)


def test_a_new_bike_needs_but_a_description(server: Server, hand: Hand) -> None:
    """No make, odometer, serial or history: a tag is made, and it can be booked in."""
    known = set(Book.open(server.book).bikes())
    hand.begin(f"{server.address}/bench?who=ada&form=new", ".lk-item")
    hand.page.get_by_label("What it looks like").fill("red, one pedal")
    hand.page.keyboard.press("Tab")
    hand.tap("Enter it", ".st-key-bench")
    hand.page.wait_for_selector(".st-key-bench_head")
    assert "red, one pedal" in hand.page.locator(".lk-which").inner_text()
    new = set(Book.open(server.book).bikes()) - known
    assert len(new) == 1
    assert f"tag={new.pop()}" in hand.page.url


def test_addresses_lead_where_they_say_or_say_that_they_do_not(server: Server, hand: Hand) -> None:
    """A QR link opens the bike; a step, item or tag that is not there gives one clear line."""
    page = hand.page
    hand.begin(f"{server.address}/bench?tag={server.tag.lower()}&who=ada")
    assert "Osk Runabout" in page.locator(".lk-which").inner_text()
    hand.begin(at(server, server.tag, "&step=measure&item=chain%20elongation"))
    assert hand.item == "Chain"
    for more, said in (
        ("&step=nonsense", "There is no step of that name"),
        ("&step=measure&item=moon", "nothing of that name on this bike"),
    ):
        hand.begin(at(server, server.tag, more))
        expect(page.locator(".lk-told-line").first).to_contain_text(said)
    hand.begin(at(server, "ZZZZ9999"), ".lk-item")
    expect(page.locator(".lk-told-line").first).to_contain_text("No bike has the tag ZZZZ9999")

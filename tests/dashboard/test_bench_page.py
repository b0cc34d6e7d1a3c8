"""The bench page: what each step shows and records, run through the app's entry point."""

from __future__ import annotations

import errno
from decimal import Decimal
from pathlib import Path
from typing import Any

import bench_book
import pytest
from app_page import Opener, shown
from bench_book import OPEN_JOB, OPEN_TAG, TAG
from streamlit.testing.v1 import AppTest

from dashboard import bench_press, bench_told, data, launch
from dashboard.views.bench_more import RECORDED
from ledger.bench import drafts
from ledger.book import Book
from ledger.errors import Problem
from ledger.pictures import MOST_BYTES
from ledger.unsent import FormKey, Unsent


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A fresh book for the bench."""
    bench_book.bench_book(tmp_path / "book")
    return tmp_path / "book"


def bench(opened: Opener, path: Path, tag: str = OPEN_TAG, **asked: str) -> AppTest:
    """Open the bench at a bike, as ada."""
    return opened(path, page="bench", tag=tag, who="ada", **asked)


def press(app: AppTest, name: str) -> AppTest:
    """Press the button of a key's beginning."""
    found = [one for one in app.button if one.key and one.key.startswith(name)]
    assert found, [one.key for one in app.button]
    return found[0].click().run()


def pills(app: AppTest, of: str) -> Any:
    """Give the presses for one field of the open form."""
    return next(one for one in app.button_group if one.key and one.key.startswith(f"{of}-field"))


def field(app: AppTest, of: str) -> Any:
    """Give the line for one field of the open form."""
    return next(one for one in app.text_input if one.key and one.key.startswith(f"{of}-field"))


def choice(app: AppTest, of: str) -> Any:
    """Give the presses for one field of the open form."""
    return next(one for one in app.pills if one.key and one.key.startswith(f"{of}-field"))


def last(path: Path, tag: str = OPEN_TAG) -> Any:
    """Give the newest event of a bike."""
    return Book.open(path).bike_events(tag)[-1]


def test_who_works_is_asked_once(opened: Opener, path: Path) -> None:
    """With two mechanics and nobody signed in, the page asks; then it is remembered."""
    app = opened(path, page="bench", tag=OPEN_TAG)
    assert "Who works?" in shown(app)
    app = press(app, "who-ben")
    assert "Osk Runabout" in shown(app)
    assert app.query_params["who"] == "ben"


def test_the_rest_of_a_system_covers_exactly_what_is_listed(opened: Opener, path: Path) -> None:
    """A press records a look at the positions shown, and the next system opens by itself."""
    app = bench(opened, path, step="inspect", item="rear_brake")
    assert "Rear brake pads, rear brake lever, rear brake hose or cable" in shown(app)
    app = press(app, "rest-rear_brake")
    event = last(path)
    assert event.data.verdict == "within limit"
    assert "rear_brake.pads" in event.data.covers
    assert app.query_params["item"] == "front_wheel"
    assert "In the book" in shown(app)


def test_a_finding_is_not_covered_by_the_rest(opened: Opener, path: Path) -> None:
    """Pads found due are recorded with their fault; the rest says why it leaves them out."""
    app = bench(opened, path, step="inspect", item="rear_brake", form="due")
    choice(app, "position").set_value("rear_brake.pads").run()
    choice(app, "fault").set_value("worn").run()
    app = press(app, "record-found-due")
    event = last(path)
    assert (event.data.position, event.data.fault) == ("rear_brake.pads", "worn")
    assert "rear brake pads: looked at already" in shown(app)
    app = press(app, "rest-rear_brake")
    assert "rear_brake.pads" not in last(path).data.covers


def test_not_checked_says_why_in_one_press(opened: Opener, path: Path) -> None:
    """What was not checked is an entry of its own, with its reason."""
    app = bench(opened, path, step="inspect", item="frame", form="not checked")
    press(app, "why-no time")
    event = last(path)
    assert event.data.verdict == "not checked"
    assert Book.open(path).reveal(event)["data"]["why_not_checked"] == "no time"


def test_the_verdict_shows_before_anything_is_recorded(opened: Opener, path: Path) -> None:
    """A typed figure is judged at once, kept through a restart, and not in the book."""
    app = bench(opened, path, step="measure")
    before = len(Book.open(path).bike_events(OPEN_TAG))
    field(app, "value").set_value("0.9").run()
    assert "lk-due" in shown(app)
    assert len(Book.open(path).bike_events(OPEN_TAG)) == before
    again = bench(opened, path, step="measure")
    assert field(again, "value").value == "0.9"
    assert "Not recorded yet: 0.9" in shown(again)
    press(again, "throw-measure")
    assert field(bench(opened, path, step="measure"), "value").value in ("", None)


def test_what_was_recorded_before_the_power_went_is_not_offered_again(
    opened: Opener, path: Path
) -> None:
    """A form whose event is in the book already is forgotten, not recorded twice."""
    book = Book.open(path)
    event = drafts.new_id()
    hand = drafts.Hand("ada", OPEN_TAG, OPEN_JOB)
    amount = drafts.amount("0.4", "%")
    book.append([drafts.measured(hand, event, "chain", "elongation", value=amount)])
    unsent = Unsent(path / "private.sqlite", book.keys)
    key = FormKey("ada", OPEN_TAG, OPEN_JOB, "measure chain elongation")
    unsent.put(key, {"value": "0.4", "id": event}, rider="r-2")
    app = bench(opened, path, step="measure", item="chain elongation")
    assert "Not recorded yet" not in shown(app)
    assert unsent.get(key) is None


def test_marks_leave_an_interval(opened: Opener, path: Path) -> None:
    """Go and no-go marks are two figures: the one that went in and the one that did not."""
    app = bench(opened, path, step="measure", item="chain elongation", form="marks")
    field(app, "low").set_value("0.5").run()
    field(app, "high").set_value("0.75").run()
    press(app, "record-measure")
    data = last(path).data
    assert (data.low.value, data.high.value, data.value) == ("0.5", "0.75", None)


def test_the_usual_marks_are_one_press(opened: Opener, path: Path) -> None:
    """The marks of the limit are offered as presses; typing others lets the press go."""
    app = bench(opened, path, step="measure", item="chain elongation", form="marks")
    offered = pills(app, "marks")
    assert [one.replace("\\", "") for one in offered.options] == [
        "0.5 does not go in",
        "0.5 goes in, 0.75 does not",
        "0.75 goes in",
    ]
    offered.set_value("0.5|0.75").run()
    assert (field(app, "low").value, field(app, "high").value) == ("0.5", "0.75")
    field(app, "high").set_value("0,8").run()
    assert pills(app, "marks").value is None
    pills(app, "marks").set_value("0.75|").run()
    assert (field(app, "low").value, field(app, "high").value) == ("0.75", "")
    press(app, "record-measure")
    data = last(path).data
    assert (data.low.value, data.high) == ("0.75", None)


def test_undo_strikes_what_was_just_recorded(opened: Opener, path: Path) -> None:
    """The struck entry stays readable, and its system is open again."""
    app = bench(opened, path, step="inspect", item="frame")
    app = press(app, "rest-frame")
    looked = last(path)
    app = press(app, "undo-last")
    struck = last(path)
    assert (struck.kind, struck.data.target) == ("event_struck", looked.id)
    assert app.query_params["step"] == "inspect"


def test_a_standing_note_shows_when_its_position_opens(opened: Opener, path: Path) -> None:
    """Whoever opens the chain reads what was noted of it."""
    app = bench(opened, path, TAG, step="booking")
    press(app, "record-booking")
    app = bench(opened, path, TAG, step="measure", item="chain elongation")
    assert "Waxed: no oil on this chain" in shown(app)


def test_the_torque_pass_is_signed_and_warns_of_what_hides(opened: Opener, path: Path) -> None:
    """Everything disturbed is listed, what will be hidden first, and the torque is the hand's."""
    book = Book.open(path)
    hand = drafts.Hand("ben", OPEN_TAG, OPEN_JOB)
    book.append([
        drafts.fitted(hand, drafts.new_id(), "crank", None, is_found=True),
        drafts.adjusted(hand, drafts.new_id(), "bottom_bracket"),
        drafts.adjusted(hand, drafts.new_id(), "crank"),
    ])  # fmt: skip
    app = bench(opened, path, step="torque")
    page = shown(app)
    assert "Bottom bracket" in page
    assert "The cranks" in page and "hides this" in page
    assert "disturbed by ben" in page
    field(app, "after").set_value("35").run()
    press(app, "record-set")
    event = last(path)
    assert (event.actor, event.data.position, event.data.after.value) == (
        "ada",
        "bottom_bracket",
        "35",
    )


def test_a_pressure_says_what_is_not_known(opened: Opener, path: Path) -> None:
    """No maximum is known of tyre and rim: the page says whose, and never that it is safe."""
    page = shown(bench(opened, path, step="pressures"))
    assert "none known" in page
    assert "Not known of the" in page
    assert "safe" not in page.casefold()


def test_an_unsafe_finding_is_told_and_answered_first(opened: Opener, path: Path) -> None:
    """The hand-back begins with it; only then the release is offered, and closing."""
    book = Book.open(path)
    hand = drafts.Hand("ada", OPEN_TAG, OPEN_JOB)
    book.append([drafts.found(hand, drafts.new_id(), "stem", "unsafe", fault="cracked")])
    app = bench(opened, path, step="hand_back")
    assert "was found unsafe" in shown(app)
    assert not [one for one in app.button if one.key == "record-release"]
    field(app, "advice").set_value("The stem is cracked").run()
    app = press(app, "told-stem")
    app = press(app, "keeper-no")
    assert [one for one in app.button if one.key == "record-release"]


def test_a_full_disk_is_said_and_the_text_stays(
    opened: Opener, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing was recorded, one line says so, and what was typed stands where it stood."""
    app = bench(opened, path, step="measure")
    field(app, "value").set_value("0.4").run()

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Book, "append", full)
        app = press(app, "record-measure")
        assert bench_press.FULL in shown(app)
        assert field(app, "value").value == "0.4"
    app = press(app, "record-measure")
    assert last(path).data.value.value == "0.4"


def test_a_refusal_stands_by_the_field(opened: Opener, path: Path) -> None:
    """A figure no chain can have is refused in a line; the item stays open."""
    app = bench(opened, path, step="measure")
    field(app, "value").set_value("90").run()
    app = press(app, "record-measure")
    assert "lk-refused" in shown(app)
    assert field(app, "value").value == "90"
    assert app.query_params["item"] == "chain elongation"


def test_a_bike_with_an_unknown_tag_gives_one_line(opened: Opener, path: Path) -> None:
    """A wild tag leads to the search, with what it may have meant."""
    page = shown(bench(opened, path, "B3HM8KXD"))
    assert "No bike has the tag B3HM8KXD. Nearly the same: B3HM8KXC." in page
    assert "Which bike is on the stand?" in page


def test_the_words_of_rules_are_those_of_the_page(path: Path) -> None:
    """No name of an event or field is shown, figures are the shop's, and nothing is said twice."""
    words = data.words_of(Book.open(path))
    less = Problem(
        "event 1",
        "data.odometer",
        "2249.000 km is less than 12250.000 km read before",
        "Check the figure; if the computer was replaced, say so (computer_replaced)",
        "distance_falls",
    )
    assert bench_told.lines(words, [less, less]) == (
        f"{words.formats.figure(Decimal(2249), 'km')} is less than "
        f"{words.formats.figure(Decimal(12250), 'km')} read before. Check the figure; or press "
        "“Another computer since the last reading”."
    )
    cost = Problem(
        "e",
        "data.lines[0].net_minor",
        "-€5.00 is below nought",
        "Enter 0 or more",
        "amount_below_nought",
    )
    assert bench_told.lines(words, [cost]) == (
        "Price before tax: -€5.00 is below nought. Enter 0 or more."
    )
    unsafe = (
        "Front_brake was found unsafe in this job. "
        "Record the warning first (advised, verdict unsafe, at front_brake)."
    )
    assert bench_told.in_words(words, unsafe) == (
        "front brake was found unsafe in this job. Tell the keeper first, at Hand back."
    )


def test_the_upload_takes_what_a_photo_may_have() -> None:
    """The server's limit, in megabytes, is the one of photos."""
    most = launch.options(8501, open_browser=False)["server.maxUploadSize"]
    assert int(most) * 1024**2 == MOST_BYTES


def test_a_part_below_nought_is_refused_where_it_is_entered(opened: Opener, path: Path) -> None:
    """It is not first found when the whole quote is given."""
    app = bench(opened, path, step="quote", form="part")
    field(app, "code").set_value("chain")
    field(app, "net_minor").set_value("-3")
    app = press(app, "add-part")
    assert "Price before tax: 0 or more" in shown(app)
    assert "part" in app.query_params["form"]


def test_what_was_found_stands_at_the_quote(opened: Opener, path: Path) -> None:
    """The filled press is then one that quotes, not the one that goes past it."""
    book = Book.open(path)
    found = drafts.found(
        drafts.Hand("ada", OPEN_TAG, OPEN_JOB), drafts.new_id(), "rear_brake", "due", fault="worn"
    )
    book.append([found], confirm_clock=True)
    app = bench(opened, path, step="quote")
    assert "Found in this job" in shown(app) and "Rear brake: worn, due" in shown(app)
    filled = [one.label for one in app.button if one.proto.type == "primary"]
    assert filled and "Nothing to quote: go on" not in filled


def test_a_booking_with_entries_on_it_is_not_undone(opened: Opener, path: Path) -> None:
    """One sentence says what comes first; nothing is struck."""
    book = Book.open(path)
    booked = drafts.job_opened("ada", TAG, "J-UNDO", drafts.new_id(), tier="quick_check")
    hand = drafts.Hand("ada", TAG, "J-UNDO")
    found = drafts.found(hand, drafts.new_id(), "rear_brake", "within limit")
    book.append([booked], confirm_clock=True)
    book.append([found], confirm_clock=True)
    app = bench(opened, path, TAG, job="J-UNDO", step="quote")
    app.session_state[RECORDED] = True
    app = press(app.run(), f"undo-{booked['id']}")
    assert shown(app).count("Undo the entries made on it first.") == 1
    assert last(path, TAG).kind == "inspected"


def test_a_pressure_of_nothing_is_asked_again(opened: Opener, path: Path) -> None:
    """A gauge that reads nought was not on the valve; nothing is recorded."""
    app = bench(opened, path, step="pressures", item="front_tyre")
    before = last(path).id
    field(app, "after").set_value("0")
    app = press(app, "record-set")
    assert "Set to: more than 0." in shown(app)
    assert last(path).id == before

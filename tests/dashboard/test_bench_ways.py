"""The quieter ways through the bench page, run through the app's entry point."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import bench_book
import pytest
from app_page import Opener, shown
from bench_book import OPEN_JOB, OPEN_TAG, TAG
from PIL import Image
from streamlit.testing.v1 import AppTest
from test_bench_page import bench, choice, field, last, press

from dashboard import bench_press
from ledger.bench import drafts
from ledger.book import Book

ADA = drafts.Hand("ada", OPEN_TAG, OPEN_JOB)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A fresh book for the bench."""
    bench_book.bench_book(tmp_path / "book")
    return tmp_path / "book"


def told(path: Path, tag: str = OPEN_TAG) -> dict[str, Any]:
    """Give what the newest event of a bike says, its text opened."""
    book = Book.open(path)
    data: dict[str, Any] = book.reveal(book.bike_events(tag)[-1])["data"]
    return data


def has(app: AppTest, name: str) -> bool:
    """Say whether a press is there."""
    return any(one.key and one.key.startswith(name) for one in app.button)


def test_the_job_worked_on_is_chosen_where_several_are_open(opened: Opener, path: Path) -> None:
    """Nothing else is asked first; then the other one is a press away, and closing goes to it."""
    Book.open(path).append(
        [drafts.job_opened("ben", OPEN_TAG, "job-second", drafts.new_id(), tier="quick_check")]
    )
    app = bench(opened, path)
    assert "Which job is worked on?" in shown(app)
    assert "job" not in app.query_params
    assert not has(app, "bench-start")
    app = press(app, "job-job-second")
    assert app.query_params["job"] == "job-second"
    app = press(bench(opened, path, step="inspect", item="frame", job="job-second"), "rest-frame")
    assert last(path).job == "job-second"
    app = press(app, "other-job")
    assert "Which job is worked on?" in shown(app)
    app = press(bench(opened, path, step="close", job="job-second"), "close-job")
    assert last(path).kind == "job_closed"
    assert 'class="lk-refused"' not in shown(app)
    assert "job" not in app.query_params


def test_one_open_job_is_not_asked_for(opened: Opener, path: Path) -> None:
    """With one job the walk goes on by itself, without a word of others."""
    app = bench(opened, path)
    assert "Which job is worked on?" not in shown(app)
    assert not has(app, "other-job")


def test_sprockets_are_read_tooth_count_by_tooth_count(opened: Opener, path: Path) -> None:
    """Each count is typed, read as an ordinary reading, and then listed for the next."""
    app = bench(opened, path, step="measure", item="cassette tooth_wear")
    app = press(app, "way-teeth")
    field(app, "teeth").set_value("17").run()
    app = press(app, "record-teeth")
    assert app.query_params["item"] == "cassette tooth_wear 17T"
    field(app, "value").set_value("0.3").run()
    app = press(app, "record-measure")
    data = last(path).data
    assert (data.position, data.quantity, data.point) == ("cassette", "tooth_wear", "17T")
    assert app.query_params["form"] == "teeth"
    assert has(app, "row-cassette tooth_wear 17T")
    field(app, "teeth").set_value("19t").run()
    assert press(app, "record-teeth").query_params["item"] == "cassette tooth_wear 19T"


def test_a_tooth_count_that_no_sprocket_has_is_refused(opened: Opener, path: Path) -> None:
    """The line says what would be right; the field stays."""
    app = bench(opened, path, step="measure", item="cassette tooth_wear", form="teeth")
    field(app, "teeth").set_value("170").run()
    app = press(app, "record-teeth")
    assert "a whole number from 6 to 80" in shown(app)


def test_the_last_tooth_count_leads_on(opened: Opener, path: Path) -> None:
    """That is all of them: the next reading that is open comes, and the cassette not again."""
    app = bench(opened, path, step="measure", item="cassette tooth_wear", form="teeth")
    app = press(app, "teeth-on")
    assert not app.query_params["item"].startswith("cassette")
    again = bench(opened, path, step="measure")
    assert again.query_params["item"] != "cassette tooth_wear"


def test_what_is_on_no_list_can_be_measured(opened: Opener, path: Path) -> None:
    """A ring's tooth wear is reached from every reading, by where and what."""
    app = bench(opened, path, step="measure", item="all")
    app = press(app, "measure-other")
    choice(app, "system").set_value("drivetrain").run()
    choice(app, "position").set_value("chainring.outer").run()
    choice(app, "quantity").set_value("tooth_wear").run()
    app = press(app, "other-open")
    assert app.query_params["item"] == "chainring.outer tooth_wear"
    field(app, "value").set_value("0.2").run()
    press(app, "record-measure")
    assert (last(path).data.position, last(path).data.value.value) == ("chainring.outer", "0.2")


def test_a_wild_reading_is_still_told(opened: Opener, path: Path) -> None:
    """A position or quantity that no book knows opens nothing."""
    page = shown(bench(opened, path, step="measure", item="engine noise"))
    assert "nothing of that name on this bike" in page


def test_a_chain_is_read_as_a_length_with_its_own_zero(opened: Opener, path: Path) -> None:
    """Length over links, and the length when new, stored as they were typed; next time again."""
    app = bench(opened, path, step="measure", item="chain elongation", form="length")
    field(app, "value").set_value("255.1").run()
    field(app, "pitches").set_value("20").run()
    field(app, "zero").set_value("254.2").run()
    assert "lk-within" in shown(app) or "within limit" in shown(app)
    press(app, "record-measure")
    data = last(path).data
    assert (data.over_pitches, data.length_when_new.value, data.value.unit) == (20, "254.2", "mm")
    assert data.value.canonical == "0.354"
    again = bench(opened, path, step="measure", item="chain elongation")
    assert (field(again, "pitches").value, field(again, "zero").value) == ("20", "254.2")


def test_a_figure_after_a_length_is_a_share_again(opened: Opener, path: Path) -> None:
    """With a figure: it is in % whatever it was entered in last, without links or a zero."""
    Book.open(path).append([
        drafts.measured(ADA, drafts.new_id(), "chain", "elongation", over_pitches=20,
                        value=drafts.amount("255", "mm")),
    ])  # fmt: skip
    app = bench(opened, path, step="measure", item="chain elongation", form="figure")
    field(app, "value").set_value("0.4").run()
    press(app, "record-measure")
    data = last(path).data
    assert (data.value.unit, data.over_pitches) == ("%", None)


def test_a_length_without_links_is_not_read(opened: Opener, path: Path) -> None:
    """Over how many links has to be said, in whole ones."""
    app = bench(opened, path, step="measure", item="chain elongation", form="length")
    field(app, "value").set_value("255").run()
    app = press(app, "record-measure")
    assert "a whole number from 2 to 200" in shown(app)
    assert last(path).kind != "measured"


def test_a_makers_limit_goes_with_the_reading(opened: Opener, path: Path) -> None:
    """More to say: the limit the maker gives is what the reading is held against."""
    app = bench(opened, path, step="measure", item="chain elongation", form="more")
    field(app, "value").set_value("0.45").run()
    field(app, "limit").set_value("0.4").run()
    assert "lk-due" in shown(app)
    press(app, "record-measure")
    assert (last(path).data.limit.value, last(path).data.verdict) == ("0.4", "due")


def test_where_nothing_is_left_to_cover_not_checked_is_offered(opened: Opener, path: Path) -> None:
    """No press that records nothing: the first one asks why it was not checked."""
    app = press(bench(opened, path, step="inspect", item="frame"), "rest-frame")
    app = bench(opened, path, step="inspect", item="frame")
    assert not has(app, "rest-frame")
    assert "left that could be called within limit" in shown(app)
    app = press(app, "unchecked-inspect frame")
    press(app, "why-no time")
    assert last(path).data.verdict == "not checked"


def test_a_job_answers_for_an_earlier_one(opened: Opener, path: Path) -> None:
    """Booking in offers the bike's closed jobs; one that is new has none to offer."""
    app = bench(opened, path, TAG, step="booking")
    choice(app, "come_back_of").set_value("job-1").run()
    press(app, "record-booking")
    assert last(path, TAG).data.come_back_of == "job-1"
    fresh = bench(opened, path, bench_book.UNKNOWN, step="booking")
    assert not [one for one in fresh.pills if one.key and one.key.startswith("come_back_of")]


def test_the_bike_is_handed_to_somebody_named(opened: Opener, path: Path) -> None:
    """More: letters of a name, and a press; the event names the id alone."""
    app = bench(opened, path, step="hand_back")
    field(app, "handed_to_letters").set_value("tild").run()
    app = press(app, "person-handed_to-r-1")
    assert "Tilde Moen" in shown(app) or any("Tilde Moen" in one.label for one in app.button)
    choice(app, "ridden").set_value("Yes").run()
    press(app, "record-release")
    assert told(path)["handed_to"] == "r-1"


def test_whoever_is_not_meant_is_taken_back(opened: Opener, path: Path) -> None:
    """Not them: nobody is named, and the line for letters is there again."""
    app = bench(opened, path, step="hand_back")
    field(app, "handed_to_letters").set_value("tild").run()
    app = press(app, "person-handed_to-r-1")
    app = press(app, "no-handed_to")
    choice(app, "ridden").set_value("Yes").run()
    press(app, "record-release")
    assert "handed_to" not in told(path)


def test_somebody_else_pays_for_what_was_found_later(opened: Opener, path: Path) -> None:
    """The payer stands on each line of that quote, and not on the next one."""
    book = Book.open(path)
    app = bench(opened, path, step="quote", form="other")
    for payer in ("r-2", None):
        field(app, "code").set_value("bell").run()
        field(app, "net_minor").set_value("9.50").run()
        app = press(app, "add-other")
        if payer:
            field(app, "payer_letters").set_value("joss").run()
            app = press(app, f"person-payer-{payer}")
        app = press(app, "give-quote")
        quoted = [one for one in book.bike_events(OPEN_TAG) if one.kind == "quote_given"]
        assert quoted[-1].data.lines[0].payer == payer
        app.query_params["step"], app.query_params["form"] = "quote", "other"
        app = app.run()
    assert quoted[-1].data.is_found_later


def test_a_search_for_a_cause_keeps_each_step(opened: Opener, path: Path) -> None:
    """What was tried and what came of it, as many steps as there were, through a restart."""
    app = bench(opened, path, step="work", form="search")
    field(app, "tried").set_value("Held the lever").run()
    field(app, "result").set_value("Creaks all the same").run()
    press(app, "add-step")
    app = bench(opened, path, step="work", form="search")
    assert "Creaks all the same" in shown(app)
    choice(app, "system").set_value("drivetrain").run()
    choice(app, "position").set_value("crank").run()
    choice(app, "symptom").set_value("creak").run()
    field(app, "tried").set_value("Stood on the pedals").run()
    field(app, "result").set_value("Creaks once a turn").run()
    press(app, "record-search")
    assert told(path)["steps"] == [
        {"tried": "Held the lever", "result": "Creaks all the same"},
        {"tried": "Stood on the pedals", "result": "Creaks once a turn"},
    ]
    assert "Creaks all the same" not in shown(bench(opened, path, step="work", form="search"))


def test_half_a_step_is_not_recorded(opened: Opener, path: Path) -> None:
    """A step without its result is asked for; nothing is in the book."""
    app = bench(opened, path, step="work", form="search")
    field(app, "tried").set_value("Held the lever").run()
    app = press(app, "add-step")
    assert "what was tried, and what came of it" in shown(app)


def test_a_part_is_fitted_with_its_makers_limit(opened: Opener, path: Path) -> None:
    """A tyre has a highest pressure: it is asked under more, and bounds the pressure later."""
    app = bench(opened, path, step="work", form="fit")
    choice(app, "system").set_value("front_wheel").run()
    choice(app, "position").set_value("front_wheel.tyre").run()
    field(app, "limit pressure").set_value("5.5").run()
    press(app, "record-fit")
    limits = [(one.quantity, one.limit.value) for one in last(path).data.limits]
    assert limits == [("pressure", "5.5")]
    page = shown(bench(opened, path, step="pressures", item="front_wheel.tyre"))
    assert "5.5" in page and "set by the front tyre" in page


def test_a_setting_has_its_makers_range(opened: Opener, path: Path) -> None:
    """Least and most, in the unit of what is set."""
    app = bench(opened, path, step="work", form="adjust")
    choice(app, "system").set_value("drivetrain").run()
    choice(app, "position").set_value("rear_derailleur").run()
    choice(app, "quantity").set_value("gap").run()
    field(app, "after").set_value("6").run()
    field(app, "maker_low").set_value("5").run()
    field(app, "maker_high").set_value("7").run()
    press(app, "record-adjust")
    data = last(path).data
    assert (data.maker_low.value, data.maker_high.value, data.after.unit) == ("5", "7", "mm")


def test_a_photo_that_is_made_ready_keeps_nobody_from_writing(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What takes long of a photo is done before the lock that everybody writes under is taken."""
    held: list[bool] = []
    ready = bench_press.picture_of

    def seen(content: bytes) -> Any:
        held.append(bench_press.WRITING.locked())
        return ready(content)

    monkeypatch.setattr(bench_press, "picture_of", seen)
    content = io.BytesIO()
    Image.new("RGB", (64, 48), "#447766").save(content, "JPEG")
    said = bench_press.photo_added(Book.open(path), ADA, content.getvalue(), drafts.new_id())
    assert (said.is_recorded, held) == (True, [False])
    assert last(path).kind == "photo_attached"


def test_a_file_that_is_no_photo_is_said_in_a_line(path: Path) -> None:
    """Nothing is recorded of it."""
    said = bench_press.photo_added(Book.open(path), ADA, b"no picture", drafts.new_id())
    assert not said.is_recorded
    assert said.words
    assert last(path).kind != "photo_attached"

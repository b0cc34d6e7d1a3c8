"""The one door: what is appended stays, whole and once, and can be read back."""

from datetime import UTC, datetime, timedelta

import pyarrow.parquet as pq
import pytest

from ledger.book import Book
from ledger.errors import BookExists, ClockJumped, NoBook, Refused
from ledger.events import canonical_bytes, plain
from ledger.riders import Rider
from ledger.settings import BadSettings

TAG = "7K3M9QXA"
NOW = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


class Clock:
    def __init__(self):
        self.now = NOW

    def __call__(self):
        return self.now

    def forward(self, **by):
        self.now += timedelta(**by)


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def book(tmp_path, clock):
    made = Book.init(
        tmp_path / "book", shop="quay", currency="EUR", time_zone="Europe/Lisbon", clock=clock
    )
    made.append([of("bike_registered", make="Ordwick", speeds=11, occurred_at="2026-03-01T09:00")])
    return made


def of(kind, /, *, bike=TAG, job=None, occurred_at=None, id=None, actor="m1", **data):
    given = {"bike": bike, "job": job, "occurred_at": occurred_at, "id": id}
    draft = {"kind": kind, "actor": actor, "data": data}
    return draft | {name: value for name, value in given.items() if value is not None}


def chain_wear(value, **more):
    return of(
        "measured",
        position="chain",
        quantity="elongation",
        value={"value": value, "unit": "%"},
        **more,
    )


def ids(count, first=0):
    return [f"018f22e2-79b0-7cc3-98c4-{first + n:012x}" for n in range(count)]


def test_what_is_appended_is_read_back(book):
    """Events come back complete, in order, with seq, both times and canonical figures."""
    receipt = book.append([chain_wear("0.3", occurred_at="2026-03-02T09:00")])
    stored = list(book.events())
    assert [event.seq for event in stored] == [1, 2]
    assert stored[1].data.value.canonical == "0.300"
    assert stored[1].data.verdict == "within limit"
    assert stored[1].recorded_at == NOW
    assert stored[1].occurred_at == datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    assert (receipt.commit, receipt.size, receipt.events[0].seq) == (2, 2, 2)


def test_local_times_are_the_books_own(tmp_path, clock):
    """A time entered without a zone is taken in the book's time zone."""
    book = Book.init(tmp_path / "b", shop="quay", time_zone="Europe/Amsterdam", clock=clock)
    book.append([of("bike_registered", occurred_at="2026-03-01T09:00")])
    assert next(book.events()).occurred_at == datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def test_a_refused_commit_records_nothing_and_names_all_its_problems(book):
    """One bad event keeps the whole commit out; every problem is told, each with its event."""
    before = book.head
    with pytest.raises(Refused) as caught:
        book.append(
            [
                chain_wear("0.3"),
                of(
                    "measured",
                    position="chian",
                    quantity="elongation",
                    value={"value": "1", "unit": "%"},
                ),
                of(
                    "measured",
                    position="chain",
                    quantity="elongation",
                    value={"value": "1", "unit": "bar"},
                ),
                of("noted", position="chain", txt="x"),
            ]
        )
    found = {(problem.event.split(" (")[0], problem.field) for problem in caught.value.problems}
    assert {event for event, _ in found} == {"event 2", "event 3", "event 4"}
    assert ("event 4", "data.txt") in found
    assert book.head == before
    assert len(list((book.path / "events").glob("*.parquet"))) == 1


def test_the_same_event_again_is_answered_with_its_first_receipt(book):
    """An id with the same content is not recorded twice, however often it is sent."""
    (one,) = ids(1)
    draft = chain_wear("0.3", id=one, occurred_at="2026-03-02T09:00", note="wet")
    first = book.append([draft])
    again = book.append([draft])
    assert again.events[0].seq == first.events[0].seq
    assert (again.commit, again.root, again.size) == (first.commit, first.root, first.size)
    assert first.is_new and not again.is_new
    assert book.head.size == 2


def test_a_repeat_beside_something_new_records_the_new_alone(book):
    """A commit of which part was recorded before adds only the rest."""
    one, two = ids(2)
    book.append([chain_wear("0.3", id=one, occurred_at="2026-03-02T09:00")])
    receipt = book.append(
        [
            chain_wear("0.3", id=one, occurred_at="2026-03-02T09:00"),
            chain_wear("0.31", id=two, occurred_at="2026-03-02T09:01"),
        ]
    )
    assert {(event.id, event.is_new) for event in receipt.events} == {(one, False), (two, True)}
    assert book.head.size == 3


@pytest.mark.parametrize(
    "change",
    [
        {"occurred_at": "2026-03-02T09:01"},
        {"note": "dry"},
        {"actor": "m2"},
        {"value": {"value": "0.4", "unit": "%"}},
    ],
)
def test_one_id_for_two_facts_is_refused(book, change):
    """The same id with other content is refused, naming the field that differs."""
    (one,) = ids(1)
    book.append([chain_wear("0.3", id=one, occurred_at="2026-03-02T09:00", note="wet")])
    with pytest.raises(Refused, match="same id"):
        draft = chain_wear("0.3", id=one, occurred_at="2026-03-02T09:00", note="wet")
        in_data = {name: value for name, value in change.items() if name in ("note", "value")}
        on_top = {name: value for name, value in change.items() if name not in in_data}
        book.append([{**draft, **on_top, "data": {**draft["data"], **in_data}}])


def test_an_id_twice_in_one_commit_is_refused(book):
    """Two entries of one commit cannot share an id."""
    (one,) = ids(1)
    with pytest.raises(Refused, match="same as that of event 1"):
        book.append([chain_wear("0.3", id=one), chain_wear("0.3", id=one)])


def test_free_text_is_sealed_by_the_riders_key(book):
    """No word of free text stands in the files; each rider's text names that rider's key."""
    book.append([of("noted", position="chain", text="shop words first")])
    book.append([of("rider_changed", rider="r-1")])
    book.append([of("noted", position="chain", text="rides through salt water")])
    for path in book.files():
        assert b"salt water" not in path.read_bytes()
        table = pq.read_table(path).to_pylist()
        assert all(b"salt water" not in row["canonical"] for row in table)
    shop_note, _, rider_note = list(book.events())[1:]
    assert shop_note.data.text.key == "book"
    assert rider_note.data.text.key not in ("book", "r-1")
    assert book.reveal(rider_note)["data"]["text"] == "rides through salt water"


def test_sealing_is_deterministic_and_bound_to_event_and_field(book):
    """The same words in two events seal differently, and sealed text moved elsewhere won't open."""
    book.append([of("noted", position="chain", text="same words")] * 2)
    one, two = list(book.events())[1:]
    assert one.data.text.sealed != two.data.text.sealed
    assert book.keys.open(plain(one)["data"]["text"], two.id, "text") is None
    assert book.keys.open(plain(one)["data"]["text"], one.id, "text") == "same words"


def test_text_whose_key_is_gone_reads_as_none(book):
    """Text under a destroyed key cannot be opened, and nothing else breaks."""
    book.append([of("rider_changed", rider="r-1")])
    book.append([of("noted", position="chain", text="left the town")])
    import sqlite3

    with sqlite3.connect(book.path / "riders.sqlite") as connection:
        connection.execute("delete from keys where rider = 'r-1'")
    again = Book.open(book.path)
    assert again.reveal(list(again.events())[-1])["data"]["text"] is None


def test_a_strike_names_its_target_and_both_stay(book):
    """A struck event stays readable in the book beside its strike."""
    receipt = book.append([chain_wear("0.3")])
    book.strike(receipt.events[0].id, "wrong bike", "m1")
    kinds = [event.kind for event in book.bike_events(TAG)]
    assert kinds == ["bike_registered", "measured", "event_struck"]
    with pytest.raises(Refused, match="struck"):
        book.strike(receipt.events[0].id, "again", "m1")


def test_a_clock_that_went_back_is_held(book, clock):
    """recorded_at never falls; the raw clock is kept beside it."""
    clock.forward(hours=-5)
    book.append([chain_wear("0.3", occurred_at="2026-03-01T10:00")])
    last = list(book.events())[-1]
    assert last.recorded_at == NOW
    assert last.clock_at == NOW - timedelta(hours=5)


def test_a_clock_that_jumped_asks_to_be_confirmed(book, clock):
    """More than a day after the newest entry nothing is recorded until somebody confirms."""
    clock.forward(days=3)
    with pytest.raises(ClockJumped, match="more than a day"):
        book.append([chain_wear("0.3")])
    assert book.head.size == 1
    assert book.append([chain_wear("0.3")], confirm_clock=True).size == 2


def test_as_known_is_a_prefix(book, clock):
    """A date, a moment and a seq all name how much of the book is known."""
    clock.forward(hours=20)
    book.append([chain_wear("0.3")])
    assert book.known_seq() == 2
    assert book.known_seq("2026-03-02") == 1
    assert book.known_seq("2026-03-03") == 2
    assert book.known_seq("2026-03-02 09:59") == 0
    assert book.known_seq(1) == book.known_seq("1") == 1
    assert book.known_seq("2026-02-01") == 0
    with pytest.raises(ValueError, match="not a date"):
        book.known_seq("last week")
    with pytest.raises(ValueError, match="more than the 2 events the book holds; write a date"):
        book.known_seq("20260301")


def test_opening_what_is_no_book_says_how_to_make_one(tmp_path):
    """Opening an empty folder names the command that makes a book."""
    with pytest.raises(NoBook, match="lockring init"):
        Book.open(tmp_path)


@pytest.mark.parametrize(
    "wrong",
    [{"shop": "Quay Street"}, {"currency": "EURO"}, {"time_zone": "Lisbon"}, {"locale": "xx_YY"}],
)
def test_settings_that_cannot_be_are_refused(tmp_path, wrong):
    """A book is not made with an unknown currency, zone, locale or an impossible shop code."""
    with pytest.raises(BadSettings):
        Book.init(tmp_path / "b", **{"shop": "quay", **wrong})
    assert not (tmp_path / "b" / "book.toml").exists()


def test_a_book_is_not_made_over_another(book):
    """Init refuses a folder that holds anything."""
    with pytest.raises(BookExists):
        Book.init(book.path, shop="quay")


def test_words_the_shop_adds_are_known_at_once(book):
    """A fault, a position and a tier set by terms can be used in the same commit."""
    terms = of(
        "terms_set",
        bike=None,
        from_on="2026-01-01",
        tiers=[{"code": "wash", "label": "wash"}],
        positions=[{"code": "bell", "label": "bell"}],
        faults=[{"code": "mute", "label": "mute"}],
    )
    terms.pop("bike", None)
    book.append(
        [
            terms,
            of("job_opened", job="J1", tier="wash"),
            of("inspected", job="J1", position="bell", verdict="due", fault="mute"),
        ]
    )
    assert "bell" in book.vocabulary.positions
    assert "bell" in Book.open(book.path).vocabulary.positions


def test_an_own_export_replays_to_the_same_numbers(book, tmp_path, clock):
    """Events replayed into an empty book keep id, seq, times and sealed bytes given the keys."""
    book.append([of("rider_changed", rider="r-1")])
    clock.forward(minutes=5)
    book.append([chain_wear("0.3", note="first"), chain_wear("0.31")])
    book.strike(list(book.events())[-1].id, "twice", "m1")
    by_commit = {}
    for event, (_, commit, _) in zip(book.events(), book.rows(), strict=True):
        by_commit.setdefault(commit, []).append(book.reveal(event))
    other = Book.init(tmp_path / "other", shop="quay", time_zone="Europe/Lisbon", clock=clock)
    head = other.import_own(by_commit.values())
    assert head.size == book.head.size
    assert [(e.id, e.seq, e.recorded_at, e.occurred_at) for e in other.events()] == [
        (e.id, e.seq, e.recorded_at, e.occurred_at) for e in book.events()
    ]
    same = Book.init(tmp_path / "same", shop="quay", time_zone="Europe/Lisbon", clock=clock)
    (book.path / "riders.sqlite").replace(same.path / "riders.sqlite")
    same.import_own([[plain(e)] for e in book.events()])
    assert [canonical_bytes(e) for e in same.events()] == [
        canonical_bytes(e) for e in book.events()
    ]
    assert same.head.root == book.head.root


def test_an_own_export_that_breaks_a_rule_leaves_the_book_empty(book, tmp_path):
    """A replay that meets a refused event names it and records nothing at all."""
    book.append([chain_wear("0.3")] * 3)
    raw = [[book.reveal(event)] for event in book.events()]
    raw[3][0]["data"]["position"] = "chian"
    other = Book.init(tmp_path / "other", shop="quay", time_zone="Europe/Lisbon")
    with pytest.raises(Refused, match="seq 4"):
        other.import_own(raw)
    assert other.head.size == 0
    assert Book.open(other.path).head.size == 0


def test_joined_tags_have_one_history(book):
    """Two tags linked as one bike give the same events under either tag."""
    book.append([of("bike_registered", bike="8K3M9QXB", occurred_at="2026-03-01T10:00")])
    linked = of("bike_linked", first={"bike": TAG}, second={"bike": "8K3M9QXB"})
    linked.pop("bike")
    book.append([linked])
    assert {e.bike for e in book.bike_events(TAG)} == {TAG, "8K3M9QXB"}
    assert book.bike_events("8K3M9QXB") == book.bike_events(TAG)


def test_riders_live_in_the_register_with_their_consent(book):
    """Names and contacts are in the register only, with whether they may be used."""
    book.riders.add([Rider("r-1", name="Gorsel Eelham", phone="000", may_contact=True)])
    assert book.riders.get("r-1").may_contact
    assert book.riders.get("r-2") is None
    assert [rider.rider for rider in book.riders.all()] == ["r-1"]


def test_a_second_opening_sees_what_another_recorded(book):
    """Two open books over one folder see each other's commits without being reopened."""
    other = Book.open(book.path, clock=book._clock)
    book.append([chain_wear("0.3", occurred_at="2026-03-02T09:00")])
    assert other.head.size == 2
    other.append([chain_wear("0.35", occurred_at="2026-03-02T09:30")])
    assert [event.seq for event in book.bike_events(TAG)] == [1, 2, 3]


def test_backdated_events_are_held_against_what_came_after(book):
    """A distance entered late that a later one contradicts is refused, naming the later one."""

    def distance(km, at):
        return of("distance_read", odometer={"value": km, "unit": "km"}, occurred_at=at)

    book.append([distance("100", "2026-03-02T08:00")])
    book.append([distance("80", "2026-03-01T12:00")])
    with pytest.raises(Refused) as caught:
        book.append([distance("120", "2026-03-01T13:00")])
    assert any("distance_read" in problem.event for problem in caught.value.problems)
    assert book.head.size == 3


def test_a_strike_that_frees_a_part_fitted_elsewhere_since_is_refused(book):
    """Striking the removal of a part that sits on another bike now would put it on both."""
    book.append([of("bike_registered", bike="8K3M9QXB", occurred_at="2026-03-01T10:00")])
    book.append([of("part_fitted", position="saddle", part="s1", occurred_at="2026-03-01T11:00")])
    removal = book.append(
        [of("part_removed", position="saddle", part="s1", occurred_at="2026-03-01T12:00")]
    )
    book.append(
        [
            of("part_fitted", bike="8K3M9QXB", position="saddle", part="s1",
               occurred_at="2026-03-01T13:00")
        ]
    )  # fmt: skip
    with pytest.raises(Refused, match="s1"):
        book.strike(removal.events[0].id, "slip", "m1")


def test_an_event_is_found_by_its_seq(book):
    """A seq names one event; one the book has not reached names none."""
    assert book.at_seq(1).kind == "bike_registered"
    assert book.at_seq(2) is None


def test_a_strike_must_name_its_targets_bike(book):
    """A strike of a bike's event that names no bike is refused: nobody would find it there."""
    receipt = book.append([chain_wear("0.3")])
    draft = of("event_struck", target=receipt.events[0].id, reason="slip")
    draft.pop("bike")
    with pytest.raises(Refused, match=f"Enter bike {TAG}"):
        book.append([draft])


def linked(first, second, **more):
    """A link of two tags of this shop."""
    draft = of("bike_linked", first={"bike": first}, second={"bike": second}, **more)
    return {name: value for name, value in draft.items() if name != "bike"}


OTHER = "8K3M9QXB"


def test_a_currency_the_book_filled_in_is_no_difference(book):
    """A sum entered without its currency can be sent again like anything else."""
    (one,) = ids(1)
    draft = of("job_opened", job="J-1", id=one, ceiling_minor=5000)
    first = book.append([draft])
    again = book.append([draft])
    assert not again.is_new
    assert (again.commit, again.events[0].seq) == (first.commit, first.events[0].seq)


def test_a_rate_taken_from_the_quoted_line_is_no_difference(book):
    """A charge entered without its rate of tax can be sent again; with another it is refused."""
    line = {"line": "1", "line_type": "labour", "code": "chain", "net_minor": 1000}
    quoted = [{**line, "tax_rate": "0.21"}]
    said = {"quote": "Q1", "answers": [{"line": "1", "answer": "yes"}], "how": "phone"}
    book.append([
        of("job_opened", job="J-1"),
        of("quote_given", job="J-1", quote="Q1", form="fixed", currency="EUR", lines=quoted),
        of("quote_answered", job="J-1", **said),
    ])  # fmt: skip
    (one,) = ids(1)
    charge = {**line, "line": "a", "quote_line": "1"}
    draft = of("job_closed", job="J-1", id=one, currency="EUR", lines=[charge])
    assert book.append([draft]).is_new
    assert not book.append([draft]).is_new
    other = of("job_closed", job="J-1", id=one, currency="EUR", lines=[{**charge, "tax_rate": "0"}])
    with pytest.raises(Refused) as refused:
        book.append([other])
    assert refused.value.problems[0].rule == "id_taken"


@pytest.mark.parametrize("tags", [(TAG, OTHER), (OTHER, "9K3M9QXC")])
def test_only_registered_tags_are_joined(book, tags):
    """A link names two tags that are registered, or it is refused and nothing is recorded."""
    size = book.head.size
    with pytest.raises(Refused) as refused:
        book.append([linked(*tags)])
    assert {problem.rule for problem in refused.value.problems} == {"link_of_one"}
    assert book.head.size == size


def test_tags_are_registered_and_joined_in_one_commit(book):
    """A tag registered beside its link is known to it."""
    book.append([of("bike_registered", bike=OTHER), linked(TAG, OTHER)])
    assert book.aliases()[TAG] == {TAG, OTHER}


def km(value, **more):
    return of("distance_read", odometer={"value": value, "unit": "km"}, **more)


def test_a_link_that_breaks_what_was_recorded_is_refused(book):
    """Two tags whose parts or distances cannot be one bike's are not joined unless mended."""
    book.append([of("bike_registered", bike=OTHER, occurred_at="2026-03-01T09:00")])
    book.append([of("part_fitted", position="chain", part="p-1", occurred_at="2026-03-01T10:00")])
    book.append([km("5000", occurred_at="2026-03-01T10:00")])
    second = {"bike": OTHER, "occurred_at": "2026-03-01T11:00"}
    book.append([of("part_fitted", position="chain", part="p-2", **second), km("10", **second)])
    size = book.head.size
    with pytest.raises(Refused) as refused:
        book.append([linked(TAG, OTHER)])
    found = {(problem.rule, problem.event) for problem in refused.value.problems}
    at = f"of 2026-03-01 11:00 (bike {OTHER})"
    assert found == {
        ("position_occupied", f"recorded part_fitted {at}"),
        ("distance_falls", f"recorded distance_read {at}"),
    }
    assert book.head.size == size
    mended = {"computer_replaced": True, "occurred_at": "2026-03-01T10:30"}
    off = of("part_removed", position="chain", occurred_at="2026-03-01T10:30")
    book.append([off, km("0", **mended), linked(TAG, OTHER)])
    assert book.aliases()[TAG] == {TAG, OTHER}


def test_a_strike_of_a_link_that_breaks_what_came_after_is_refused(book, tmp_path, clock):
    """A part taken off under the other tag holds the link; once that is struck it can go."""
    book.append([of("bike_registered", bike=OTHER)])
    book.append([of("part_fitted", position="chain", part="p-1")])
    link = book.append([linked(TAG, OTHER)]).events[0].id
    clock.forward(minutes=1)
    off = book.append([of("part_removed", bike=OTHER, position="chain")]).events[0].id
    with pytest.raises(Refused) as refused:
        book.strike(link, "two bikes after all", "m1")
    assert [problem.rule for problem in refused.value.problems] == ["nothing_fitted"]
    book.strike(off, "not this bike", "m1")
    book.strike(link, "two bikes after all", "m1")
    assert book.aliases() == {}
    copy = Book.init(tmp_path / "copy", shop="quay", currency="EUR", clock=clock)
    copy.import_own([[plain(event)] for event in book.events()])
    assert copy.head.size == book.head.size
    assert copy.aliases() == {}


def test_a_job_is_of_one_bike(book, tmp_path, clock):
    """A job id is opened on one bike only, in one commit or two, until that opening is struck."""
    book.append([of("bike_registered", bike=OTHER), of("bike_registered", bike="9K3M9QXC")])
    with pytest.raises(Refused) as refused:
        book.append([of("job_opened", job="J-1"), of("job_opened", bike=OTHER, job="J-1")])
    assert [problem.rule for problem in refused.value.problems] == ["job_opened_twice"]
    first = book.append([of("job_opened", job="J-1")]).events[0].id
    clock.forward(minutes=5)
    for at in (None, "2026-03-02T10:01"):
        with pytest.raises(Refused) as refused:
            book.append([of("job_opened", bike=OTHER, job="J-1", occurred_at=at)])
        assert [problem.rule for problem in refused.value.problems] == ["job_opened_twice"]
    book.strike(first, "wrong bike", "m1")
    book.append([of("job_opened", bike=OTHER, job="J-1")])
    copy = Book.init(tmp_path / "copy", shop="quay", currency="EUR", clock=clock)
    copy.import_own([[plain(event)] for event in book.events()])
    assert copy.head.size == book.head.size

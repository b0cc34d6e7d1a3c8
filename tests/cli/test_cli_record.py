from __future__ import annotations

import json
from pathlib import Path

import pytest
from workbench import TAG, Run, snapshot

MEASURED = (
    "record", "measured", "--bike", TAG, "--position", "chain", "--quantity", "elongation",
)  # fmt: skip


def stored(shop: Run) -> list[dict]:
    return shop("history", TAG, "--json").json


def test_a_reading_by_flags_is_recorded_with_its_verdict(shop: Run) -> None:
    """A reading given by flags is recorded, and answered with its limit and verdict at once."""
    done = shop(*MEASURED, "--value", "0.55 %", "--at", "2026-03-01 09:12", "--actor", "m1")
    assert (done.code, done.err) == (0, "")
    assert "measured, chain, chain wear 0.55 %, due, limit 0.5 %" in done.out
    reading = shop("state", TAG, "--json").json["readings"][0]
    assert (reading["value"], reading["verdict"], reading["measured_at"]) == (
        0.55,
        "due",
        "2026-03-01T09:12:00.000000Z",
    )


def test_the_unit_is_kept_as_entered_and_made_canonical(shop: Run) -> None:
    """72 psi is kept as written and stands in the state as 4.964 bar."""
    done = shop(
        "record", "adjusted", "--bike", TAG, "--position", "front_wheel.tyre",
        "--quantity", "pressure", "--value", "72 psi",
    )  # fmt: skip
    assert done.code == 0, done.err
    setting = shop("state", TAG, "--json").json["settings"][0]
    assert (setting["value"], setting["unit"]) == (4.964, "bar")  # 72 x 6.894757293 kPa
    assert stored(shop)[-1]["data"]["after"] == {
        "value": "72",
        "unit": "psi",
        "canonical": "4.964",
    }


def test_local_time_is_the_books(shop: Run) -> None:
    """A time without a zone is the book's: 09:12 in Lisbon's summer is 08:12 UTC."""
    assert shop(*MEASURED, "--value", "0.1 %", "--at", "2026-07-01 09:12").code == 0
    assert stored(shop)[-1]["occurred_at"] == "2026-07-01T08:12:00.000000Z"


def test_a_bare_day_is_its_midday(shop: Run) -> None:
    """A day without a time is taken at midday in the book's zone."""
    assert shop(*MEASURED, "--value", "0.1 %", "--at", "2026-07-01").code == 0
    assert stored(shop)[-1]["occurred_at"] == "2026-07-01T11:00:00.000000Z"


@pytest.mark.parametrize(
    ("pair", "field", "value"),
    [
        ("batch=12345", "batch", "12345"),
        ("is_found=true", "is_found", True),
        ("is_found=yes", "is_found", True),
        ("model=true", "model", "true"),
        (
            'limits=[{"quantity": "elongation", "limit": {"value": "0.6", "unit": "%"}}]',
            "limits",
            [
                {
                    "quantity": "elongation",
                    "limit": {"value": "0.6", "unit": "%", "canonical": "0.600"},
                }
            ],
        ),
    ],
)
def test_set_reads_each_field_as_its_type_says(
    shop: Run, pair: str, field: str, value: object
) -> None:
    """--set gives text, numbers, yes or no, and JSON, as the field's own type wants them."""
    done = shop("record", "part_fitted", "--bike", TAG, "--position", "chain", "--set", pair)
    assert done.code == 0, done.err
    assert stored(shop)[-1]["data"][field] == value


def test_set_reaches_into_a_field_by_dots(shop: Run) -> None:
    """--set puts_right.fault=... fills the field inside the field."""
    done = shop(
        "record", "treated", "--bike", TAG, "--position", "chain",
        "--set", "treatment=cleaned", "--set", "puts_right.fault=noise",
    )  # fmt: skip
    assert done.code == 0, done.err
    assert stored(shop)[-1]["data"]["puts_right"] == {"fault": "noise"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("record", "mesured", "--bike", TAG), "Did you mean measured"),
        (("record",), "Say what to record"),
        (("record", "measured", "--bike", TAG, "--set", "positon=chain"), "did you mean position"),
        (("record", "treated", "--bike", TAG, "--gauge", "g1"), "no field 'gauge'"),
        (("record", "measured", "--set", "nothing"), "--set takes key=value"),
        (("record", "-", "--bike", TAG), "--bike: lines of JSON bring their own fields"),
        (("record", "measured", "--at", "1 March"), "is not a date"),
        (("record", "--follow", "measured"), "asks for everything itself"),
        (("record", "measured", "--nonsense"), "No such option"),
        (("state",), "Missing argument"),
        (("state", TAG, "--as-at", "yesterday"), "is not a date"),
        (("state", TAG, "--as-known", "yesterday"), "is not a date"),
        (("strike", "0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f"), "Missing option"),
        (("polish",), "No such command"),
    ],
)
def test_wrong_use_ends_with_two(shop: Run, arguments: tuple[str, ...], said: str) -> None:
    """A command line used wrongly says what would be right, ends with 2 and records nothing."""
    before = snapshot(Path("book"))
    done = shop(*arguments)
    assert done.code == 2
    assert said in " ".join(done.err.replace("│", " ").split())
    assert snapshot(Path("book")) == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--value", "0.55"), "has no unit"),
        (("--value", "72 psi"), "pressure"),
        (("--value", "55 %"), "possible"),
        (("--value", "0.5 %", "--position", "chian"), "chain"),
        (("--value", "0.5 %", "--bike", "7K3M9QXB"), "7K3M9QXB"),
        (("--value", "0.5 %", "--job", "J-none"), "J-none"),
        (("--value", "0.5 %", "--at", "2199-01-01 10:00"), "future"),
        (("--value", "0.5 %", "--at", "2020-01-01 10:00"), "registered"),
        (("--value", "0.5 %", "--id", "not-an-id"), "UUID"),
    ],
)
def test_what_breaks_a_rule_is_refused_with_one(
    shop: Run, arguments: tuple[str, ...], said: str
) -> None:
    """A figure or event that cannot be ends with 1, says why on stderr, and records nothing."""
    before = snapshot(Path("book"))
    done = shop(*MEASURED, *arguments)
    assert (done.code, done.out) == (1, "")
    assert "Nothing was recorded" in done.err
    assert said in done.err
    assert snapshot(Path("book")) == before


def line(**changes: object) -> str:
    event = {
        "specversion": "1.0",
        "id": "0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f",
        "source": "/shops/quay",
        "type": "lockring.inspected.v1",
        "subject": TAG,
        "time": "2026-03-01T09:12:00Z",
        "actor": "m1",
        "data": {"position": "chain", "verdict": "within limit"},
        **changes,
    }
    return json.dumps(event) + "\n"


def other(last: int) -> str:
    return f"0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d{last:04x}"


def test_lines_from_stdin_are_one_commit(shop: Run) -> None:
    """Lines on stdin are recorded together, and answered with one receipt."""
    typed = "".join(line(id=other(n)) for n in range(3))
    done = shop("record", "-", "--json", typed=typed)
    assert done.code == 0, done.err
    assert [event["seq"] for event in done.json["events"]] == [3, 4, 5]
    assert done.json["commit"] == 3
    assert done.json["size"] == 5


def test_lines_from_a_file_are_recorded(shop: Run) -> None:
    """A file of JSON Lines is recorded, blank lines and a BOM passed over."""
    Path("day.jsonl").write_text("\ufeff" + line() + "\n\n" + line(id=other(1)))
    done = shop("record", "day.jsonl")
    assert done.code == 0, done.err
    assert "Recorded 2 events in commit 3." in done.out


def test_the_same_again_is_answered_with_its_first_receipt(shop: Run) -> None:
    """The same line again adds nothing, and is answered with where it already stands."""
    assert shop("record", "-", typed=line()).code == 0
    before = snapshot(Path("book"))
    done = shop("record", "-", typed=line())
    assert done.code == 0
    assert (
        "Already recorded: 0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f, event 3 in commit 3." in done.out
    )
    assert snapshot(Path("book")) == before


def test_one_id_with_two_contents_is_refused(shop: Run) -> None:
    """The same id with other content is refused, naming the field that differs."""
    assert shop("record", "-", typed=line()).code == 0
    changed = line(data={"position": "chain", "verdict": "due", "fault": "worn"})
    done = shop("record", "-", typed=changed)
    assert done.code == 1
    assert "data." in done.err


def test_one_bad_line_keeps_all_of_them_out(shop: Run) -> None:
    """Every bad line is named with its field and its mending, and no good one is recorded."""
    before = snapshot(Path("book"))
    typed = line() + line(id=other(1), data={"position": "chain"}) + "not json\n"
    done = shop("record", "-", typed=typed)
    assert (done.code, done.out) == (1, "")
    assert "line 2 (inspected): data.verdict: is missing" in done.err
    assert "line 3: line: is not JSON" in done.err
    assert snapshot(Path("book")) == before


def test_a_rule_broken_by_a_line_names_the_line(shop: Run) -> None:
    """A line that breaks a rule is called by its number in the file, blank lines counted."""
    typed = line() + "\n" + line(id=other(1), subject="7K3M9QXB")
    done = shop("record", "-", typed=typed)
    assert done.code == 1
    assert "line 3 (inspected)" in done.err


def test_no_events_at_all_is_a_problem(shop: Run) -> None:
    """An empty input ends with 1 and says that it held nothing."""
    assert shop("record", "-", typed="").code == 1
    assert "holds no events" in shop("record", "-", typed="\n\n").err


def test_a_possible_but_odd_figure_is_recorded_with_a_warning(shop: Run) -> None:
    """A suspicious figure is recorded, with a warning on stderr and exit code 0."""
    done = shop(*MEASURED, "--value", "5 %", "--actor", "nobody")
    assert done.code == 0
    assert "nobody is not a registered mechanic" in done.err
    assert done.err.count("Warning:") == 2
    assert "Recorded 1 event" in done.out


def test_a_strike_takes_a_reading_out_of_the_state(shop: Run) -> None:
    """A struck reading is gone from the state, and still there as known before the strike."""
    recorded = shop(*MEASURED, "--value", "0.55 %", "--json").json["events"][0]
    done = shop("strike", recorded["id"], "--reason", "wrong bike")
    assert done.code == 0, done.err
    assert shop("state", TAG, "--json").json["readings"] == []
    before = shop("state", TAG, "--as-known", str(recorded["seq"]), "--json").json
    assert before["readings"][0]["value"] == 0.55


def test_striking_what_is_not_there_is_a_problem(shop: Run) -> None:
    """A strike of an unknown event ends with 1 and records nothing."""
    before = snapshot(Path("book"))
    done = shop("strike", "0190f0c6-8a2b-7c3d-9e4f-000000000000", "--reason", "no such thing")
    assert done.code == 1
    assert snapshot(Path("book")) == before


def test_with_two_mechanics_the_actor_must_be_said(shop: Run) -> None:
    """With one mechanic the actor is known; with two it is asked for, by name."""
    assert shop("record", "mechanic_registered", "--set", "mechanic=m2").code == 0
    done = shop(*MEASURED, "--value", "0.1 %")
    assert done.code == 2
    assert "m1, m2" in done.err
    assert shop(*MEASURED, "--value", "0.1 %", "--actor", "m2").code == 0


def test_a_note_is_not_in_the_files(shop: Run) -> None:
    """Free text given by --note stands in no event file in clear, and is read back in clear."""
    words = "creaks when the rider stands"
    assert shop(*MEASURED, "--value", "0.1 %", "--note", words).code == 0
    assert all(words.encode() not in content for content in snapshot(Path("book")).values())
    assert stored(shop)[-1]["data"]["note"] == words

from __future__ import annotations

import re

from workbench import TAG, Run

from ledger.bench.walk import WALK
from ledger.events import event_classes, payload_class

SYSTEMS = 11
"""Systems that are inspected one by one."""
MEASURES = 10
SKIP = ""


def walk(*parts: list[str]) -> str:
    return "".join(f"{line}\n" for part in parts for line in part)


BIKE = [TAG]
RIDER = ["new", "Inge Marsh", "555-0107", "inge@harbour.example", "yes", SKIP, SKIP]
BOOKING = ["Chain skips on the hill", SKIP, "2027-03-02 17:30", "120", "panniers"]
DISTANCE = ["1350", SKIP, SKIP]
INSPECT = [
    "due", "worn", SKIP,  # drivetrain
    "within", SKIP,  # front brake: no fault asked; Enter leaves the next system out
    "not checked", "wheel is away",  # front wheel comes after the rear brake
    *[SKIP] * (SYSTEMS - 4),
]  # fmt: skip
MEASURE = ["0.62", SKIP, *[SKIP] * (MEASURES - 1)]
QUOTE = [
    "part", "Quay 11", SKIP, "chain", SKIP, "24.50", "21",
    "labour", "chain", SKIP, SKIP, "20", "18", SKIP,
    SKIP,
    "fixed", SKIP,
]  # fmt: skip
ANSWER = ["yes", "phone", "no", SKIP]
WORK = [
    "fit", "chain", "Quay", "11", SKIP, SKIP, SKIP, "worn",
    "labour", "chain", "25", SKIP,
    "treat", "rear wheel", "trued", "yes", SKIP,
    SKIP,
]  # fmt: skip
PRESSURES = ["72 psi", SKIP, "5.2", SKIP]
HAND_BACK = [SKIP, "yes", "chain, rear wheel", SKIP]
CLOSE = [SKIP, "yes", SKIP]


def events_of(shop: Run) -> list[dict]:
    return [entry for entry in shop("history", TAG, "--json").json if not entry["struck_by"]]


def kinds_of(shop: Run) -> list[str]:
    kinds = [entry["kind"] for entry in events_of(shop)][1:]
    return [kind for kind in kinds if kind != "event_struck"]


def test_a_whole_service_is_recorded_in_the_trades_order(shop: Run) -> None:
    """Every answer of a service, from booking in to closing, becomes its event, in order."""
    typed = walk(
        BIKE, RIDER, BOOKING, DISTANCE, INSPECT, MEASURE, QUOTE, ANSWER, WORK,
        PRESSURES, HAND_BACK, CLOSE,
    )  # fmt: skip
    done = shop("record", "--follow", typed=typed)
    assert (done.code, done.err) == (0, ""), done.out
    assert kinds_of(shop) == [
        "rider_changed", "job_opened", "distance_read", "inspected", "inspected", "inspected",
        "measured", "quote_given", "quote_answered", "quote_answered", "part_fitted",
        "labour_logged", "treated", "adjusted", "adjusted", "released", "job_closed",
    ], done.out  # fmt: skip
    assert len({entry["job"] for entry in events_of(shop)[2:]}) == 1
    assert "measured, chain, chain wear 0.62 %, due, limit 0.5 %" in done.out
    state = shop("state", TAG, "--json").json
    assert (state["jobs_open"], state["faults_open"]) == ([], [])
    assert shop("riders", "list", "marsh", "--json").json[0]["may_contact"] is True


def test_money_and_tax_are_read_as_written(shop: Run) -> None:
    """24.50 is 2450 minor units and 21 a rate of 0.21; 514.5 of tax is half, so even: 514."""
    typed = walk(BIKE, RIDER, BOOKING, [SKIP], [SKIP] * SYSTEMS, [SKIP] * MEASURES, QUOTE)
    done = shop("record", "--follow", typed=typed)
    quoted = next(entry for entry in events_of(shop) if entry["kind"] == "quote_given")
    part, labour = quoted["data"]["lines"]
    assert (part["net_minor"], part["tax_rate"], part["tax_minor"]) == (2450, "0.21", 514), done.out
    assert (labour["net_minor"], labour["minutes"], labour["tax_rate"]) == (1800, 20, "0.21")


def closed(shop: Run, *typed: list[str]) -> list[dict]:
    """Walk a service to its end; give the lines of the bill."""
    before = (BIKE, RIDER, BOOKING, [SKIP], [SKIP] * SYSTEMS, [SKIP] * MEASURES)
    bench = [[SKIP], [SKIP] * 2, HAND_BACK]
    done = shop("record", "--follow", typed=walk(*before, typed[0], *bench, *typed[1:]))
    (entry,) = [entry for entry in events_of(shop) if entry["kind"] == "job_closed"]
    assert done.code == 0, done.out
    return entry["data"].get("lines", [])


FURTHER = ["part", "Quay bell", SKIP, SKIP, SKIP, "9.90", "21", SKIP]


def test_work_on_top_is_quoted_and_agreed_before_it_is_charged(shop: Run) -> None:
    """A further line at closing becomes a quote and a yes, and is charged by them."""
    quoted = [*QUOTE, "yes", "phone", "no", SKIP]
    lines = closed(shop, quoted, [*FURTHER, "yes", "in person", "yes", SKIP])
    assert [(line["code"], line["net_minor"]) for line in lines] == [
        ("Quay 11", 2450), ("Quay bell", 990),
    ]  # fmt: skip
    given, answered = [
        [entry["data"] for entry in events_of(shop) if entry["kind"] == kind][-1]
        for kind in ("quote_given", "quote_answered")
    ]
    assert given["is_found_later"] is True
    assert [one["answer"] for one in answered["answers"]] == ["yes"]
    assert lines[1]["quote_line"] == answered["answers"][0]["line"]


def test_work_on_top_nobody_agreed_to_is_goodwill_at_nil(shop: Run) -> None:
    """Without a yes the further line is given away."""
    quoted = [*QUOTE, "yes", "phone", "no", SKIP]
    lines = closed(shop, quoted, [*FURTHER, "no", "yes", SKIP])
    assert [(line["code"], line["net_minor"], line["is_goodwill"]) for line in lines] == [
        ("Quay 11", 2450, False), ("Quay bell", 0, True),
    ]  # fmt: skip
    assert "quote_line" not in lines[1]


def test_of_a_price_up_to_what_it_came_to_is_asked(shop: Run) -> None:
    """More than was agreed is asked again; less is charged."""
    quote = [*QUOTE[:-2], "up to", SKIP]
    quoted = [*quote, "yes", "phone", "yes", SKIP]
    lines = closed(shop, quoted, [SKIP, "18.50", "16.20", "yes", SKIP])
    assert [(line["code"], line["net_minor"], line["tax_minor"]) for line in lines] == [
        ("Quay 11", 2450, 514), ("chain", 1620, 340),
    ]  # fmt: skip


def test_an_interrupted_walk_goes_on_where_it_stopped(shop: Run) -> None:
    """What was answered before the input ended is recorded; the next walk goes on from there."""
    first = shop("record", "--follow", typed=walk(BIKE, RIDER, BOOKING, DISTANCE, INSPECT[:3]))
    assert first.code == 0
    assert "Stopped." in first.out
    assert f"lockring record --follow --bike {TAG}" in first.out
    before = kinds_of(shop)
    assert before == ["rider_changed", "job_opened", "distance_read", "inspected"]
    second = shop("record", "--follow", "--bike", TAG, typed=walk(["within"]))
    assert "Going on with job" in second.out
    assert "Distance" not in second.out
    assert kinds_of(shop) == [*before, "inspected"]
    assert [e["position"] for e in events_of(shop)][-2:] == ["drivetrain", "front_brake"]


def test_what_is_refused_is_asked_again(shop: Run) -> None:
    """A refused answer shows the rule's words and is asked again, the old answers offered."""
    shop("record", "distance_read", "--bike", TAG, "--value", "2000 km")
    typed = walk(BIKE, [SKIP], BOOKING, ["1350", SKIP, SKIP], ["2050", SKIP, SKIP])
    done = shop("record", "--follow", typed=typed)
    assert "Nothing was recorded:" in done.out
    assert "[1350]" in done.out
    assert shop("state", TAG, "--json").json["distance_km"] == 2050


def test_what_cannot_be_read_is_asked_again_at_once(shop: Run) -> None:
    """A wrong unit or word is answered with what would be right, and asked again."""
    typed = walk(BIKE, [SKIP], BOOKING, ["72 psi", "1350", "rad", "read", SKIP])
    done = shop("record", "--follow", typed=typed)
    assert "72 psi is a pressure" in done.out
    assert "'rad' is not one of them" in done.out
    assert shop("state", TAG, "--json").json["distance_km"] == 1350


def test_question_mark_shows_the_choices(shop: Run) -> None:
    """A question mark lists what may be answered."""
    done = shop("record", "--follow", typed=walk(BIKE, [SKIP], BOOKING, [SKIP], ["?", "due", "?"]))
    assert "  within limit" in done.out
    assert "slow_shifting: slow shifting" in done.out


def test_undo_strikes_the_last_and_asks_for_it_again(shop: Run) -> None:
    """`undo` strikes what was recorded last, and comes back to its question."""
    typed = walk(BIKE, [SKIP], BOOKING, DISTANCE, ["due", "worn", SKIP, "undo", "within"])
    done = shop("record", "--follow", typed=typed)
    inspected = [e for e in events_of(shop) if e["kind"] == "inspected"]
    assert [(e["position"], e["data"]["verdict"]) for e in inspected] == [
        ("drivetrain", "within limit")
    ], done.out
    assert "Struck: inspected, drivetrain" in done.out


def test_undo_reaches_back_through_the_job(shop: Run) -> None:
    """`undo` twice strikes the last two, and the walk stands where the first of them was."""
    typed = walk(BIKE, [SKIP], BOOKING, DISTANCE, ["due", "worn", SKIP, "undo", "undo", "900"])
    done = shop("record", "--follow", typed=walk([typed.rstrip("\n")], [SKIP, SKIP]))
    assert kinds_of(shop) == ["job_opened", "distance_read"], done.out
    assert shop("state", TAG, "--json").json["distance_km"] == 900


def test_back_goes_to_the_question_before(shop: Run) -> None:
    """`back` at the start of a step comes to the one before; in a step, it begins it again."""
    typed = walk(BIKE, [SKIP], BOOKING, ["1350", "back", "1400", SKIP, SKIP, "back", SKIP])
    done = shop("record", "--follow", typed=typed)
    assert done.out.count("The bike's computer shows") == 3
    assert shop("state", TAG, "--json").json["distance_km"] == 1400


def test_a_new_bike_is_registered_and_its_tag_shown(shop: Run) -> None:
    """`new` registers a bike, shows its tag for the sticker, and goes on with it."""
    typed = walk(["new", "Tern & Tide", "Ferry", "city bike", SKIP, "1", "no", SKIP, SKIP, SKIP])
    done = shop("record", "--follow", typed=typed)
    tag = re.search(r"The bike's tag is ([0-9A-Z]{8})", done.out)
    assert tag is not None, done.out
    found = shop("bikes", "ferry", "--json").json
    assert [bike["bike"] for bike in found] == [tag[1]]


def test_what_was_disturbed_is_asked_in_the_torque_pass(shop: Run) -> None:
    """A part fitted where torque matters is listed in the torque pass, until it is torqued."""
    job = [SKIP] * SYSTEMS + [SKIP] * MEASURES + [SKIP]
    fit = ["fit", "pedals", *[SKIP] * 6, SKIP]
    typed = walk(BIKE, [SKIP], BOOKING, [SKIP], job, fit, ["35", SKIP, "greased"])
    done = shop("record", "--follow", typed=typed)
    assert "Disturbed: pedals." in done.out, done.out
    setting = shop("state", TAG, "--json").json["settings"][0]
    assert (setting["position"], setting["value"], setting["unit"]) == ("pedals", 35, "N·m")


def test_a_fitting_takes_the_place_of_what_is_there(shop: Run) -> None:
    """Fitting where a part sits replaces it in the same move."""
    shop("record", "part_fitted", "--bike", TAG, "--position", "chain", "--set", "part=c1")
    job = [SKIP] * SYSTEMS + [SKIP] * MEASURES + [SKIP]
    fit = ["fit", "chain", "Quay", "11", SKIP, SKIP, SKIP, SKIP, SKIP]
    done = shop("record", "--follow", typed=walk(BIKE, [SKIP], BOOKING, [SKIP], job, fit))
    fitted = [e for e in events_of(shop) if e["kind"] == "part_fitted"][-1]
    assert fitted["data"]["replaces"] == "c1", done.out


def test_nobody_registered_is_said_before_anything_is_asked(lockring: Run) -> None:
    """A walk in a book where nobody may record says how to register somebody."""
    assert lockring("init").code == 0
    done = lockring("record", "--follow", typed=walk(BIKE))
    assert done.code == 1
    assert "lockring record mechanic_registered" in done.err


def test_the_walk_asks_only_for_fields_that_events_have() -> None:
    """Every question of the walk fills a field its kind of event has."""
    from ledger.bench.walk import LINE, WORK
    from ledger.cli.drafts import field_type
    from ledger.events.job import Line

    for step in (*WALK, *WORK):
        assert not step.kind or step.kind in event_classes()
        for ask in step.asks if step.key != "answer" else ():
            field_type(payload_class(step.kind), step.kind, ask.field)
    for ask in LINE:
        field_type(Line, "line", ask.field)


def test_an_unsafe_finding_is_told_and_answered_before_closing(shop: Run) -> None:
    """A walk over an unsafe reading has the keeper told and asked, and then closes the job."""
    skips = [SKIP] * SYSTEMS + [SKIP, SKIP, "0.4 mm", SKIP] + [SKIP] * (MEASURES - 3) + [SKIP]
    told = ["Pads are through; not to be ridden", "later", "phone"]
    typed = walk(BIKE, [SKIP], BOOKING, [SKIP], skips, [SKIP], [SKIP, SKIP], told, HAND_BACK, CLOSE)
    done = shop("record", "--follow", typed=typed)
    assert done.code == 0
    assert kinds_of(shop) == [
        "job_opened", "measured", "advised", "advice_answered", "released", "job_closed",
    ], done.out  # fmt: skip
    assert "a qualified mechanic decide" in done.err
    assert shop("state", TAG, "--json").json["jobs_open"] == []


def test_a_job_is_not_closed_over_an_unsafe_finding_in_silence(shop: Run) -> None:
    """Where the keeper was not told, closing is refused in the rule's words; the job stays open."""
    skips = [SKIP] * SYSTEMS + [SKIP, SKIP, "0.4 mm", SKIP] + [SKIP] * (MEASURES - 3) + [SKIP]
    typed = walk(
        BIKE, [SKIP], BOOKING, [SKIP], skips, [SKIP], [SKIP, SKIP], [SKIP], HAND_BACK, CLOSE
    )
    done = shop("record", "--follow", typed=typed)
    assert "front_brake.pads was found unsafe in this job" in done.out
    assert len(shop("state", TAG, "--json").json["jobs_open"]) == 1


def test_only_an_open_job_is_gone_on_with(shop: Run) -> None:
    """A job that is not open on the bike is a problem, and one without a bike is wrong use."""
    assert shop("record", "--follow", "--bike", TAG, "--job", "J-none").code == 1
    assert shop("record", "--follow", "--job", "J-none").code == 2

"""`lockring faults`: what came back, one bike's history, and what booking a bike in tells."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from workbench import TAG, Ended, Run
from worn_bikes import OTHER, Draft, quay, recorded, strict

__all__ = ["quay"]

AS_AT = ("--as-at", "2026-06-01")
PADS = "rear_brake.pads"


def visit(day: str, bike: str, job: str, *things: tuple[str, dict[str, Any]],
          actor: str = "m1", **opened: Any) -> list[Draft]:  # fmt: skip
    """Give one visit: opened at nine, its things from ten on, closed at four."""
    every = [("09:00", "job_opened", opened)]
    every += [(f"10:{place:02}", *thing) for place, thing in enumerate(things)]
    every += [("16:00", "job_closed", {})]
    return [
        {"kind": kind, "bike": bike, "job": job, "actor": actor,
         "occurred_at": f"{day}T{at}:00Z", "data": data}
        for at, kind, data in every
    ]  # fmt: skip


def registered(bike: str) -> list[Draft]:
    return [{"kind": "bike_registered", "bike": bike, "actor": "m1",
             "occurred_at": "2025-01-01T12:00:00Z", "data": {"speeds": 9}}]  # fmt: skip


def wages(**minor_per_hour: int) -> list[Draft]:
    told = [{"mechanic": who, "minor_per_hour": one} for who, one in minor_per_hour.items()]
    return [{"kind": "terms_set", "actor": "m1", "occurred_at": "2025-01-01T12:00:00Z",
             "data": {"from_on": "2025-01-01", "wages": told}}]  # fmt: skip


SQUEALS = ("inspected", {"position": PADS, "verdict": "due", "fault": "squeal"})
CLEANED = ("treated", {"position": PADS, "treatment": "cleaned", "puts_right": {"fault": "squeal"}})
GONE = ("inspected", {"position": PADS, "verdict": "within limit", "fault": "squeal"})
UNPAID = ("labour_logged", {"task": "brakes", "minutes": 25, "minutes_kind": "come-back"})
SKIPS = ("inspected", {"position": "chain", "verdict": "watch", "fault": "skipping"})
ADVICE = ("advised", {"position": "cassette", "verdict": "watch", "urgency": "next service"})


def squealing(bike: str = TAG) -> list[Draft]:
    """Give a squeal of the rear pads back after 40 days, an open chain, and open advice."""
    return [
        *registered(bike),
        *visit("2026-03-01", bike, f"{bike}-1", SQUEALS, CLEANED),
        *visit("2026-04-10", bike, f"{bike}-2", SQUEALS, CLEANED, UNPAID, actor="m2"),
        *visit("2026-05-01", bike, f"{bike}-3", SKIPS, ADVICE),
    ]


def flat(done: Ended) -> str:
    assert done.code == 0, done.err
    return " ".join(done.out.split())


# -- the front ---------------------------------------------------------------------------------


def test_the_front_is_a_sentence_a_pareto_and_the_jobs(quay: Run) -> None:
    """25 minutes at 24.00 an hour: 10.00, by fault; the job with the one it answers."""
    recorded(*wages(m1=9900, m2=2400), *squealing())
    said = flat(quay("faults", *AS_AT))
    assert (
        "As at Jun 1, 2026. Of 2 faults put right, 1 came back, in 1 job: "
        "25 minutes nobody paid for, €10.00." in said
    )
    assert "What came back, by fault, most come-backs first" in said
    row = r"squeal 2 2 1 1 25 €10.00 100 % 100 % too few to judge: 1 repair followed"
    assert re.search(row, said), said
    job = rf"{TAG}-2 {TAG} Apr 10, 2026 {TAG}-1 matched rear brake pads squeal 25 €10.00"
    assert re.search(job, said), said
    assert "A link is wrong? lockring record come_back_judged" in said
    assert "a qualified mechanic checks before the bike is ridden" in said


def test_how_sure_shows_what_stands_behind_and_mechanics_only_for_the_owner(quay: Run) -> None:
    """Curves, trends, rates, funnels and prevention; who repaired what only where it is asked."""
    recorded(*squealing(), *squealing(OTHER))
    said = flat(quay("faults", *AS_AT, "--how-sure"))
    assert "too few to judge" in said and "by tier" in said
    assert "by mechanic" not in said and "m2" not in said
    assert "by mechanic" in flat(quay("faults", *AS_AT, "--how-sure", "--for-owner"))
    found = strict(quay("faults", *AS_AT, "--how-sure", "--json"))["how_sure"]
    assert "mechanic_funnel" not in found
    assert {"tier_funnel", "prevention", "trends", "model_rates"} < set(found)
    owners = strict(quay("faults", *AS_AT, "--how-sure", "--for-owner", "--json"))["how_sure"]
    assert owners["mechanic_funnel"]["by"] == "mechanic"


@pytest.mark.parametrize(
    ("by", "key"),
    [("fault", "squeal"), ("position", PADS), ("system", "rear_brake"), ("model", None),
     ("tier", None)],
)  # fmt: skip
def test_json_names_every_figure_with_its_unit(quay: Run, by: str, key: str | None) -> None:
    """By whatever it is counted, one row has the come-back with its minutes and money."""
    recorded(*wages(m2=2400), *squealing())
    found = strict(quay("faults", *AS_AT, "--by", by, "--measure", "minutes", "--json"))
    assert (found["by"], found["measure"], found["unpaid_minutes"]) == (by, "minutes", 25)
    first = found["pareto"][0]
    assert (first["key"], first["count_come_back"], first["unpaid_minor"]) == (key, 1, 1000)
    assert (first["share"], first["is_too_few"]) == (1.0, True)
    (job,) = found["jobs"]
    assert (job["job"], job["answers"], job["source"]) == (f"{TAG}-2", f"{TAG}-1", "matched")
    assert job["faults"] == [{"position": PADS, "fault": "squeal"}]
    assert found["window_asked"] is None


def test_without_wages_there_is_no_money(quay: Run) -> None:
    """It is said, and null in JSON."""
    recorded(*squealing())
    said = flat(quay("faults", *AS_AT))
    assert "wages not told" in said and "no wage is told" in said and "€" not in said
    assert strict(quay("faults", *AS_AT, "--json"))["unpaid_minor"] is None


def test_a_window_asked_for_counts_for_every_fault(quay: Run) -> None:
    """40 days later is not within 30; an end that is not given is each fault's own."""
    recorded(*squealing())
    said = flat(quay("faults", *AS_AT, "--window-days", "30"))
    assert "Of 2 faults put right, none is known to have come back." in said
    assert "within 30 days or its fault's own km, whichever ends later, as asked for" in said
    found = strict(quay("faults", *AS_AT, "--window-days", "41", "--json"))
    assert found["window_asked"] == {"days": 41, "km": None}
    assert found["count_come_back"] == 1
    said = flat(quay("faults", *AS_AT, "--window-km", "800"))
    assert "within its fault's own days or 800 km" in said and "1 came back" in said


def test_a_repair_found_again_twice_is_one_repair_that_came_back(quay: Run) -> None:
    """Of one fault put right one came back, found again 2 times: in words, table, JSON, by bike."""
    recorded(*registered(TAG), *visit("2026-03-01", TAG, "j1", SQUEALS, CLEANED),
             *visit("2026-03-11", TAG, "j2", SQUEALS), *visit("2026-03-21", TAG, "j3", GONE),
             *visit("2026-04-01", TAG, "j4", SQUEALS))  # fmt: skip
    said = flat(quay("faults", *AS_AT))
    assert "Of 1 fault put right, 1 came back (found again 2 times), in 2 jobs" in said
    assert re.search("squeal 3 1 1 2 0", said), said
    found = strict(quay("faults", *AS_AT, "--json"))
    assert (found["count_did_not_hold"], found["count_come_back"]) == (1, 2)
    assert found["finding"].startswith("Of 1 fault put right, 1 came back (found again 2 times)")
    bike = flat(quay("faults", TAG, *AS_AT))
    assert "3 faults found, 1 put right, 1 came back (found again 2 times), 1 open." in bike


def test_a_job_said_to_be_a_come_back_is_told_apart(quay: Run) -> None:
    """No fault was found again in it: no repair of those put right is known to have come back."""
    recorded(*registered(TAG), *visit("2026-03-01", TAG, "j1", SQUEALS, CLEANED),
             *visit("2026-03-11", TAG, "j2", come_back_of="j1"))  # fmt: skip
    said = flat(quay("faults", *AS_AT))
    assert "Of 1 fault put right, 0 came back, and 1 job said to be a come-back besides" in said
    assert "no fault found again" in said


def test_a_job_judged_no_come_back_says_what_was_found_again(quay: Run) -> None:
    """By hand 40 days after; the job is no come-back, and so the title has both kinds."""
    recorded(*squealing())
    done = quay("record", "come_back_judged", "--bike", TAG, "--job", f"{TAG}-2",
                "--set", "is_come_back=false", "--actor", "m1")  # fmt: skip
    assert done.code == 0, done.err
    again = "rear brake pads, squeal found again 40 days after the repair"
    said = flat(quay("faults"))
    assert "Jobs that came back, or were judged not to, the newest first" in said
    assert "judged no come-back: rear brake pads" in said
    found = strict(quay("faults", "--json"))
    assert found["jobs"][0]["remark"] == f"judged no come-back: {again}"
    assert (found["count_jobs"], found["count_jobs_come_back"]) == (1, 0)
    assert f"no come-back, as somebody judged it; {again}." in flat(quay("faults", TAG))


def test_by_part_and_tier_it_is_said_what_is_counted_when(quay: Run) -> None:
    """A find counts to the part or tier of then, a repair to its own; by fault both are one."""
    recorded(*squealing())
    for by, is_said in (("model", True), ("tier", True), ("fault", False)):
        assert (
            "when the fault was found; put right" in flat(quay("faults", "--by", by))
        ) == is_said
        assert bool(strict(quay("faults", "--by", by, "--json"))["counted_at"]) == is_said


def test_for_owner_alone_shows_the_mechanics(quay: Run) -> None:
    """Their funnel, and nothing else of what stands behind the front."""
    recorded(*squealing())
    said = flat(quay("faults", *AS_AT, "--for-owner"))
    assert "by mechanic" in said and "m2" in said and "by tier" not in said
    found = strict(quay("faults", *AS_AT, "--for-owner", "--json"))
    assert found["mechanic_funnel"]["by"] == "mechanic" and "how_sure" not in found
    assert "mechanic_funnel" not in strict(quay("faults", *AS_AT, "--json"))


def test_rows_beyond_the_limit_are_counted(quay: Run) -> None:
    """One row of one is listed, the other is said to be left out; JSON has both."""
    recorded(*squealing(), *registered(OTHER),
             *visit("2026-03-01", OTHER, "o1", SKIPS,
                    ("treated", {"position": "chain", "treatment": "cleaned",
                                 "puts_right": {"fault": "skipping"}})),
             *visit("2026-03-11", OTHER, "o2", SKIPS))  # fmt: skip
    assert "Not listed: 1 more. --limit 0 lists everything." in flat(
        quay("faults", *AS_AT, "--limit", "1")
    )
    assert len(strict(quay("faults", *AS_AT, "--json"))["pareto"]) == 2
    found = strict(quay("faults", *AS_AT, "--json", "--limit", "1"))
    assert (len(found["pareto"]), found["count_rows"], found["count_jobs"]) == (1, 2, 2)


def test_as_known_goes_back_to_what_the_book_held(quay: Run) -> None:
    """Before the second visit was recorded, nothing had come back."""
    recorded(*squealing())
    found = strict(quay("faults", "--as-known", "6", "--json"))
    assert (found["count_found"], found["count_come_back"], found["as_known"]) == (1, 0, 6)
    assert re.search(
        r"As at [^.]*, as known to event 6\. Of 1", flat(quay("faults", "--as-known", "6"))
    )
    assert "as known to event 6. 1 fault" in flat(quay("faults", TAG, "--as-known", "6"))
    assert strict(quay("faults", TAG, "--as-known", "6", "--json"))["as_known"] == 6


# -- one bike ----------------------------------------------------------------------------------


def test_a_bikes_faults_are_told_with_their_links(quay: Run) -> None:
    """Each in a line, whether it gets worse, and how to say otherwise."""
    recorded(*wages(m2=2400), *squealing())
    said = flat(quay("faults", TAG, *AS_AT))
    assert (
        f"Bike {TAG} as at Jun 1, 2026. 3 faults found, 2 put right, 1 came back, 1 open." in said
    )
    assert "40 days after it had been put right, a come-back" in said
    assert "Is it getting worse? Too few to judge" in said
    start = f"lockring record come_back_judged --bike {TAG} --job {TAG}-2 --set is_come_back="
    assert f"To say otherwise: {start}false; or {start}true --set answers=JOB" in said
    assert "By m2." not in said
    assert "By m2." in flat(quay("faults", TAG, *AS_AT, "--for-owner"))


def test_a_bikes_json_has_its_timeline(quay: Run) -> None:
    """Episodes with their links; who put them right for the owner alone."""
    recorded(*squealing())
    found = strict(quay("faults", TAG.lower(), *AS_AT, "--json"))
    first, second, third = found["episodes"]
    assert second["answers_seq"] == first["found_seq"]
    assert (second["is_come_back"], third["is_open"]) == (True, True)
    assert second["window_days"] == 90
    assert "put_right_actor" not in second
    owners = strict(quay("faults", TAG, *AS_AT, "--json", "--for-owner"))
    assert owners["episodes"][1]["put_right_actor"] == "m2"


def test_the_command_that_says_otherwise_does(quay: Run) -> None:
    """Run as it is printed, the link is gone; the other, with the job put in, makes it again."""
    recorded(*squealing())
    (job,) = strict(quay("faults", TAG, "--json"))["jobs"]
    for printed, is_back in zip(job["say_otherwise"], (False, True), strict=True):
        words = printed.replace("answers=JOB", f"answers={TAG}-1").split()[1:]
        done = quay(*words, "--actor", "m1")
        assert done.code == 0, done.err
        (again,) = strict(quay("faults", TAG, "--json"))["jobs"]
        assert (again["is_come_back"], again["source"]) == (is_back, "judged")
        assert again["unpaid_minutes"] == (25 if is_back else 0)


def test_the_history_tells_what_a_job_answers_and_who_judged_it(quay: Run) -> None:
    """Said at booking-in, then judged otherwise, then judged to answer it after all."""
    first = visit("2026-03-01", TAG, "j1", SQUEALS, CLEANED)
    second = visit("2026-04-10", TAG, "j2", come_back_of="j1")
    recorded(*registered(TAG), *first, *second)
    for told in (("is_come_back=false",), ("is_come_back=true", "answers=j1")):
        fields = [word for one in told for word in ("--set", one)]
        done = quay("record", "come_back_judged", "--bike", TAG, "--job", "j2", *fields,
                    "--actor", "m1")  # fmt: skip
        assert done.code == 0, done.err
    said = flat(quay("history", TAG))
    assert "job opened, answers j1" in said
    assert "come back judged, no come-back" in said
    assert "come back judged, answers j1" in said


# -- nothing there, and wrong use --------------------------------------------------------------


def test_an_empty_book_and_a_bike_without_faults_say_so(quay: Run) -> None:
    """What to record is told; exit code 0."""
    said = flat(quay("faults"))
    assert "No fault was found on any bike." in said and "puts_right" in said
    recorded(*registered(TAG))
    assert "No fault was ever found on it." in flat(quay("faults", TAG))
    found = strict(quay("faults", "--json", "--how-sure", "--for-owner"))
    assert (found["pareto"], found["jobs"], found["rate_so_far"]) == ([], [], None)


def nothing() -> list[Draft]:
    return registered(TAG)


def one_repair() -> list[Draft]:
    return [*registered(TAG), *visit("2026-03-01", TAG, "j1", CLEANED)]


def everything() -> list[Draft]:
    return [*squealing(), *squealing(OTHER)]


@pytest.mark.parametrize("lines", [nothing, one_repair, everything])
def test_json_is_never_nan(quay: Run, lines: Any) -> None:
    """No fault, one, or some: every figure is a number or null, of the shop and of a bike."""
    recorded(*lines())
    for asked in ((), ("--how-sure", "--for-owner"), (TAG,)):
        strict(quay("faults", *asked, "--json"))
        done = quay("faults", *asked)
        assert done.code == 0, done.err
        assert not re.search(r"\b(nan|inf|None)\b", done.out)


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (("9ZZZZZZZ",), 1, "9ZZZZZZZ"),
        ((TAG, "--by", "system"), 2, "--by: of all bikes; leave out the tag."),
        ((TAG, "--how-sure"), 2, "--how-sure: of all bikes"),
        (("--window-days", "0"), 2, "--window-days 0 leaves km alone to count"),
        (("--window-km", "0"), 2, "--window-km 0 leaves days alone to count"),
        (("--window-days", "0", "--window-km", "0"), 2, "holds nothing"),
        (("--by", "colour"), 2, "colour"),
        (("--as-known", "soon"), 2, "--as-known"),
        (("--book", "none"), 1, "There is no book"),
    ],
)
def test_wrong_use_of_faults_is_said(
    quay: Run, given: tuple[str, ...], code: int, said: str
) -> None:
    """An unknown tag or book, options that do not go together, a window that holds nothing."""
    recorded(*squealing())
    done = quay("faults", *given)
    assert (done.code, done.out) == (code, "")
    assert said in done.err


# -- booking in --------------------------------------------------------------------------------

OPENS = ("record", "job_opened", "--bike", TAG, "--job", "new", "--actor", "m1")
TOLD = (
    f"Bike {TAG}, as it is booked in:",
    "  Came back before: rear brake pads, squeal: found again once after it was put right, "
    "within the window; last Apr 10, 2026, 40 days after the repair.",
    "  Open fault: chain, skipping: open since May 1, 2026 (watch), carried over the end of 1 job.",
    "  Open advice: cassette: watch, advised May 1, 2026 for next service, no answer yet.",
)


def test_opening_a_job_tells_what_came_back_and_what_is_open(quay: Run) -> None:
    """On stderr, a line each; the receipt stays as it was."""
    recorded(*squealing())
    done = quay(*OPENS)
    assert done.code == 0
    assert tuple(done.err.splitlines()) == TOLD
    assert "Recorded 1 event" in done.out and "Came back" not in done.out


def test_the_receipt_in_json_has_it_as_a_field(quay: Run) -> None:
    """By what it is, with each line in words; a job without anything to tell has empty lists."""
    recorded(*squealing(), *registered(OTHER))
    (told,) = strict(quay(*OPENS, "--json"))["booking_in"]
    assert (told["bike"], told["came_back"][0]["times"]) == (TAG, 1)
    assert told["came_back"][0]["last_found_at"] == "2026-04-10T10:00:00.000000Z"
    assert [one["fault"] for one in told["carried"]] == ["skipping"]
    assert [one["position"] for one in told["advice_open"]] == ["cassette"]
    assert told["lines"] == [line.strip() for line in TOLD[1:]]
    opens = [OTHER if word == TAG else word for word in OPENS]
    done = quay(*["other" if word == "new" else word for word in opens], "--json")
    assert (done.err, strict(done)["booking_in"][0]["lines"]) == ("", [])


def test_other_events_tell_nothing_of_it(quay: Run) -> None:
    """Only a job that is opened is a bike booked in."""
    recorded(*squealing())
    done = quay("record", "noted", "--bike", TAG, "--position", "chain", "--set", "text=dry",
                "--actor", "m1", "--json")  # fmt: skip
    assert (done.err, "booking_in" in strict(done)) == ("", False)


def test_a_job_recorded_again_tells_nothing_twice(quay: Run) -> None:
    """The same id with the same content is answered with its first receipt alone."""
    recorded(*squealing())
    own = (*OPENS, "--id", "0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f", "--at", "2026-05-20 09:00")
    assert "Came back before" in quay(*own).err
    again = quay(*own)
    assert (again.code, again.err) == (0, "")


def test_lines_of_a_file_are_told_as_well_but_not_a_whole_import(quay: Run) -> None:
    """One job in a file is told; of nine it is said where to look."""
    recorded(*squealing())

    def line(number: int) -> str:
        event = {
            "specversion": "1.0", "id": f"0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e{number:02}",
            "source": "/shops/quay", "type": "lockring.job_opened.v1", "subject": TAG,
            "time": f"2026-05-1{number}T09:12:00Z", "actor": "m1", "job": f"f{number}", "data": {},
        }  # fmt: skip
        return json.dumps(event) + "\n"

    assert "Came back before: rear brake pads" in quay("record", "-", typed=line(0)).err
    done = quay("record", "-", typed="".join(line(number) for number in range(1, 10)))
    assert "Came back before" not in done.err
    assert "9 jobs were opened: what came back before, of each: lockring faults TAG." in done.err


def test_a_figure_that_fails_never_stops_the_recording(
    quay: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The job is recorded and acknowledged; that nothing could be told is said on stderr."""
    recorded(*squealing())

    def broken(*asked: object) -> object:
        raise ZeroDivisionError("as if")

    monkeypatch.setattr("ledger.figures.fault_bike.booking_in", broken)
    done = quay(*OPENS)
    assert done.code == 0
    assert "Recorded 1 event" in done.out
    assert f"What came back on bike {TAG} before is not told" in done.err


def test_a_walk_tells_it_when_the_job_is_opened(quay: Run) -> None:
    """Between booking in and the first question of the inspection."""
    recorded(*squealing())
    typed = f"{TAG}\n\n\n\n\n\n\n\n\nquit\n"
    done = quay("record", "--follow", "--actor", "m1", typed=typed)
    assert done.code == 0
    assert "  Bike 7K3M9QXA, as it is booked in:" in done.err
    assert "Came back before: rear brake pads, squeal" in done.err

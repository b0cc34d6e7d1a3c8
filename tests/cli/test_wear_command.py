"""`lockring wear`: one bike, the fleet, the backtest, and how it says no."""

from __future__ import annotations

import re
from typing import Any

import pytest
from workbench import TAG, Run
from worn_bikes import (
    AS_AT,
    Draft,
    draft,
    odometer,
    quay,
    recorded,
    recorded_day_by_day,
    strict,
    worn,
)

__all__ = ["quay"]

TAGS = ("2B4D6F8H", "4T2N8RWE", "5W7X9Y2Z", "6A8C4E2G", "8H6J4K2M",
        "3N5P7Q9R", "4S6T8V2W", "5X7Y9Z3A", "6B8C2D4E", "7F9G3H5J")  # fmt: skip
OTHER = TAGS[0]


def chain(day: str, bike: str, figure: str) -> Draft:
    value = {"value": figure, "unit": "%"}
    data = {"position": "chain", "quantity": "elongation", "value": value}
    return draft(day, "measured", bike, data)


def test_a_part_tells_readings_rate_figure_now_and_date(quay: Run) -> None:
    """Each reading with what the part had gone, then rate, figure now, limit and due date."""
    recorded(*worn(TAG, "0.6"))
    done = quay("wear", TAG, *AS_AT)
    assert done.code == 0, done.err
    flat = " ".join(done.out.split())
    for said in ("chain, chain wear", "0.6 %", "3,000 km", "per 1,000 km", "Would measure now",
                 "Limit 0.75 %", "chance of being past it", "80 %"):  # fmt: skip
        assert said in flat, said


def test_a_worn_chain_has_the_choice_at_the_bench_in_one_line(quay: Run) -> None:
    """At 0.7 % of 0.75 % the ways are priced, or it says what is missing; at 0.1 % neither."""
    recorded(*worn(TAG, "0.7"), *worn(OTHER, "0.1"))
    (line,) = (one for one in quay("wear", TAG, *AS_AT).out.splitlines() if "Worn chain" in one)
    assert line.endswith("no sprocket of its cassette was measured since it was fitted.")
    assert strict(quay("wear", TAG, *AS_AT, "--json"))["bench"]["why"] in line
    assert "Worn chain" not in quay("wear", OTHER, *AS_AT).out
    assert strict(quay("wear", OTHER, *AS_AT, "--json"))["bench"] is None
    assert "Worn chain" not in quay("wear", TAG, *AS_AT, "--part", "saddle").out


def test_where_no_distance_is_known_it_says_that_it_counts_days(quay: Run) -> None:
    """A bike whose computer was never read wears per year, and that is said."""
    drafts = [*worn(TAG, "0.6"), chain("2026-04-02", TAG, "0.7")]
    recorded(*(each for each in drafts if each["kind"] != "distance_read"))
    done = quay("wear", TAG, *AS_AT)
    flat = " ".join(done.out.split())
    assert "per year. No distance is known, so it is counted in days." in flat
    (part,) = strict(quay("wear", TAG, *AS_AT, "--json"))["parts"]
    assert part["readings"][0]["exposure_days"] == 365
    assert "rate_per_year" in part and "rate_per_1000_km" not in part


def test_json_of_a_bike_has_units_in_its_names(quay: Run) -> None:
    """A rate of 0.2 % per 1,000 km, from new, within its own interval."""
    recorded(*worn(TAG, "0.6"))
    found = strict(quay("wear", TAG, *AS_AT, "--json"))
    assert (found["bike"], found["as_at"]) == (TAG, "2026-06-01T22:59:59.999999Z")
    (part,) = found["parts"]
    rate = part["rate_per_1000_km"]
    assert rate["low"] < 0.2 < rate["high"]
    assert part["readings"][0]["exposure_km"] == 3000
    assert set(part["due_in"]) == {"low_km", "middle_km", "high_km"}
    assert part["now"]["low"] <= part["now"]["middle"] <= part["now"]["high"]


def test_part_keeps_one_by_position_or_id_fitted_or_not(quay: Run) -> None:
    """A chain that came off is shown when it is asked for."""
    new = {"position": "chain", "part": "B", "replaces": f"{TAG}-c"}
    recorded(*worn(TAG, "0.6"), draft("2026-02-01", "part_fitted", TAG, new))

    def asked(*more: str) -> list[str]:
        found = strict(quay("wear", TAG, *AS_AT, "--json", *more))
        return [part["part"] for part in found["parts"]]

    assert asked() == []
    assert asked("--part", "chain") == asked("--part", f"{TAG}-c") == [f"{TAG}-c"]
    assert "no longer fitted" in quay("wear", TAG, *AS_AT, "--part", "chain").out
    assert asked("--part", "cassette") == []


def test_parts_never_read_are_named(quay: Run) -> None:
    """What wears, is fitted and was not read yet does not read as fine."""
    tyre = {"position": "front_wheel.tyre", "part": "T"}
    bike = draft("2025-01-02", "bike_registered", TAG, {})
    recorded(bike, draft("2025-01-02", "part_fitted", TAG, tyre))
    assert "Fitted and never read for wear: front tyre." in quay("wear", TAG, *AS_AT).out


def test_an_age_limit_is_shown_with_its_day(quay: Run) -> None:
    """Fitted then, so many years: due then; a tyre that was found has no day."""
    limits = [{"quantity": "age", "limit": {"value": "6", "unit": "years"}}]
    front = {"position": "front_wheel.tyre", "part": "F", "limits": limits}
    rear = {"position": "rear_wheel.tyre", "part": "R", "is_found": True, "limits": limits}
    fittings = [draft("2021-04-02", "part_fitted", TAG, tyre) for tyre in (front, rear)]
    recorded(draft("2021-04-01", "bike_registered", TAG, {}), *fittings)
    done = quay("wear", TAG, *AS_AT)
    flat = " ".join(done.out.split())
    assert "fitted Apr 2, 2021, age limit 6 years (the maker's): due Apr 2, 2027." in flat
    assert "found fitted, so its age is not known and no day can be given" in flat
    ages = strict(quay("wear", TAG, *AS_AT, "--json"))["ages"]
    assert [age["due_on"] for age in ages] == ["2027-04-02", None]


def test_the_fleet_tells_rates_and_gauges(quay: Run) -> None:
    """Usual rates by family with their unit, and what is known of the gauges."""
    recorded(*worn(TAG, "0.6"), *worn(OTHER, "0.66"), chain("2026-03-01", TAG, "0.7"))
    done = quay("wear", *AS_AT)
    assert done.code == 0, done.err
    assert "Usual rates" in done.out and "chain wear" in done.out and "per 1,000 km" in done.out
    found = strict(quay("wear", *AS_AT, "--json"))
    rates = {(rate["family"], rate["level"]): rate for rate in found["rates"]}
    usual = rates["chain elongation", "all"]["rate_per_1000_km"]
    assert usual["low"] < 0.21 < usual["high"]


def test_a_gauge_is_one_row_a_family_as_most_of_its_readings_tell(quay: Run) -> None:
    """Of chains read over km and of chains whose distance nobody knows, the more common ones."""
    drafts = [
        one
        for tag in TAGS
        for one in (
            *worn(tag, "0.2"), odometer("2026-03-01", tag, 3400), chain("2026-03-01", tag, "0.22")
        )
    ]  # fmt: skip
    unknown = set(TAGS[:3])
    recorded(*(one for one in drafts
               if not (one["bike"] in unknown and one["kind"] == "distance_read")))  # fmt: skip
    (gauge,) = strict(quay("wear", *AS_AT, "--json"))["gauges"]
    assert (gauge["exposure_unit"], gauge["count_readings"]) == ("km", 14)
    done = quay("wear", *AS_AT)
    rows = done.out[done.out.index("Gauges, as measured") :]
    assert rows.count("chain wear") == 1 and "14 by km" in rows


def test_as_known_goes_back_to_what_the_book_held(quay: Run) -> None:
    """By seq: before the reading was recorded there was nothing to tell."""
    recorded(*worn(TAG, "0.6"))
    seq = len(worn(TAG, "0.6"))  # the mechanic's is event 1, the reading's the last
    assert len(strict(quay("wear", TAG, "--as-known", str(seq + 1), "--json"))["parts"]) == 1
    assert strict(quay("wear", TAG, "--as-known", str(seq), "--json"))["parts"] == []


def one_reading() -> list[Draft]:
    return [draft("2025-01-02", "bike_registered", TAG, {"speeds": 9}),
            draft("2025-01-02", "part_fitted", TAG, {"position": "chain", "part": "A"}),
            chain("2026-01-02", TAG, "0.6")]  # fmt: skip


def no_reading() -> list[Draft]:
    return one_reading()[:2]


def ten_bikes() -> list[Draft]:
    return [
        line
        for number, bike in enumerate(TAGS)
        for day in (f"2026-03-{number + 1:02}",)
        for line in (*worn(bike, f"0.{4 + number % 5}"), odometer(day, bike, 3400),
                     chain(day, bike, f"0.{5 + number % 5}"))
    ]  # fmt: skip


@pytest.mark.parametrize("lines", [one_reading, no_reading, ten_bikes])
def test_json_is_never_nan(quay: Run, lines: Any) -> None:
    """One reading, none at all, or ten bikes: every figure is a number or null."""
    recorded(*lines())
    first = lines()[0]["bike"]
    for command in (
        ("wear",),
        ("wear", first),
        ("due", "--within", "1095"),
        ("wear", "--backtest"),
    ):
        more = () if "--backtest" in command else AS_AT
        strict(quay(*command, *more, "--json"))
        assert not re.search(r"\b(nan|inf|None)\b", quay(*command, *more).out)


def test_json_is_never_nan_once_everything_is_struck(quay: Run) -> None:
    """A book of which nothing counts any more answers with nothing."""
    recorded(*worn(TAG, "0.6"))
    history = strict(quay("history", TAG, "--json"))
    for entry in sorted(history, key=lambda one: -one["seq"]):
        done = quay("strike", entry["id"], "--reason", "trial")
        assert done.code == 0, done.err
    for command in (("wear",), ("wear", TAG), ("due",), ("wear", "--backtest")):
        strict(quay(*command, "--json"))
    assert strict(quay("wear", TAG, "--json"))["parts"] == []


def test_the_backtest_says_what_its_figures_mean(lockring: Run) -> None:
    """Coverage, bias and loss beside both other forecasts, and that few readings are rough."""
    recorded_day_by_day(*ten_bikes())
    done = lockring("wear", "--backtest")
    assert done.code == 0, done.err
    assert done.err == "Foretelling past readings, family by family: this takes a while.\n"
    flat = " ".join(done.out.split())
    for said in ("readings scored", "80 % would be right", "faster than foretold", "pinball loss",
                 "line through the last two readings", "take these figures as rough"):  # fmt: skip
        assert said in flat, said
    total = strict(lockring("wear", "--backtest", "--json"))["total"]
    assert total["count_readings"] > 0 and 0 <= total["coverage"] <= 1


def test_an_empty_book_says_so(quay: Run) -> None:
    """No rate, no part, nothing to score: said, with exit code 0."""
    assert "The book holds no bikes yet." in quay("wear").out
    done = quay("wear", "--backtest")
    assert (done.code, "too few readings" in done.out) == (0, True)


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (("9ZZZZZZZ",), 1, "9ZZZZZZZ"),
        ((TAG, "--part", "chian"), 1, "It has parts at chain."),
        (("--part", "chain"), 2, "--part goes with a bike tag"),
        ((TAG, "--backtest"), 2, "give it alone"),
        (("--as-known", "soon"), 2, "--as-known"),
        (("--book", "none"), 1, "There is no book"),
    ],
)
def test_wrong_use_of_wear_is_said_in_one_line(
    quay: Run, given: tuple[str, ...], code: int, said: str
) -> None:
    """An unknown tag, part, seq or book, or options that do not go together."""
    recorded(*worn(TAG, "0.7"))
    done = quay("wear", *given)
    assert (done.code, done.out) == (code, "")
    assert said in done.err

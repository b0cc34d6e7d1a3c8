"""`lockring margin`: what each tier earns, what if it were charged otherwise, and the bench."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import asdict, fields
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from costed_shop import AS_AT, PERIOD, a_quarter, agreed, bike, draft, line, serviced, terms
from workbench import TAG, Ended, Run
from worn_bikes import OTHER, quay, recorded, strict

from ledger.asking import OWNER
from ledger.figures import labour_shapes
from ledger.figures import margin_shapes as shapes

__all__ = ["quay"]


def flat(done: Ended) -> str:
    assert done.code == 0, done.err
    return " ".join(done.out.split())


def holds(found: dict[str, Any], shape: type) -> None:
    """Assert that JSON has every field and property of a shape, and no more."""
    derived = {name for name, one in vars(shape).items() if isinstance(one, property)}
    assert set(found) == {field.name for field in fields(shape)} | derived


def advice_not_taken() -> None:
    """Record advice of 20.00 on the chain that was declined, and a chain charged at 30.00 later."""
    advised = draft("advised", "2026-01-05T10:00", TAG, "a1", position="chain", verdict="watch",
                    urgency="soon", price_minor=2000, currency="EUR")  # fmt: skip
    event = "0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f"
    chain = line("Quay 9", 3000, line_type="part", position="chain", cost_minor=1500)
    recorded(
        terms(), bike(TAG),
        draft("job_opened", "2026-01-05T09:00", TAG, "a1"), {**advised, "id": event},
        draft("advice_answered", "2026-01-05T11:00", TAG, "a1", advice=event, answer="no",
              how="in person"),
        draft("job_closed", "2026-01-05T16:00", TAG, "a1"),
        draft("job_opened", "2026-02-04T09:00", TAG, "a2"),
        *agreed("2026-02-04", TAG, "a2", "a2.q", chain),
        draft("job_closed", "2026-02-04T16:00", TAG, "a2", currency="EUR",
              lines=[{**chain, "line": "c", "quote_line": "a2.q.0"}]),
    )  # fmt: skip


# -- tiers -------------------------------------------------------------------------------------


def test_the_finding_comes_first_and_the_tiers_follow(quay: Run) -> None:
    """A service of 150 minutes at 120.00 leaves 32.00 of it: 60.00 wages, 3.00, and 25.00 fixed."""
    a_quarter(TAG)
    done = quay("margin", *PERIOD, *AS_AT)
    said = flat(done)
    assert "€" in done.out.splitlines()[0]
    assert "Jobs closed Jan 1, 2026 to Mar 31, 2026, as at Apr 1, 2026." in said
    row = r"full service full_service 8 20 €960.00 €0.00 €480.00 €24.00 €200.00 €256.00 26.7 %"
    assert re.search(row, said), said
    assert re.search(r"no tier told none 1 0.8 €55.00 €12.00 €18.00 €0.90 €7.50 €16.60", said), said
    assert re.search(r"not carried [€\d,.]+ -€[\d,.]+ the shop", said), said


def test_the_earned_rate_stands_beside_break_even_and_the_lowest_price(quay: Run) -> None:
    """48.00 an hour where 35.20 is break-even; 88.00 would do, 130.00 is in force; no tier: few."""
    a_quarter(TAG)
    said = flat(quay("margin", *PERIOD, *AS_AT))
    row = r"full service €22.80 (\(.*?\) )?€48.00 €35.20 €88.00 €130.00"
    assert re.search(row, said), said
    assert "Break-even is €35.20 for an hour that can be sold: 84 paid hours a week at" in said
    assert re.search(r"no tier told too few to judge", said), said


def test_months_and_jobs_behind_a_tier(quay: Run) -> None:
    """Four services a month; the jobs with the least margin first, as many as asked for."""
    a_quarter(TAG)
    said = flat(quay("margin", "--months", *PERIOD, *AS_AT))
    assert re.search(r"January 2026 4 10 €480.00 .*?€128.00 26.7 % €22.80", said), said
    said = flat(quay("margin", "--jobs", "full_service", "--limit", "2", *PERIOD, *AS_AT))
    assert len(re.findall(r"\bs\d 7K3M9QXA", said)) == 2 and "--limit 0 lists every job" in said
    said = flat(quay("margin", "--jobs", "none", *PERIOD, *AS_AT))
    assert re.search(r"k1 2B4D6F8H Mar 2, 2026 0.8 €55.00 €12.00", said), said


def test_what_comes_back_is_charged_to_the_tier_that_caused_it(quay: Run) -> None:
    """30 minutes of come-back work on a bike with no tier of its own fall on the full service."""
    recorded(
        terms(), bike(TAG), *serviced("2026-01-05", TAG, "s1"),
        draft("job_opened", "2026-01-20T09:00", TAG, "b1", come_back_of="s1"),
        draft("labour_logged", "2026-01-20T12:00", TAG, "b1", task="gears", minutes=30,
              minutes_kind="come-back"),
        draft("job_closed", "2026-01-20T16:00", TAG, "b1"),
    )  # fmt: skip
    found = strict(quay("margin", "--json", "--jobs", "full_service", *PERIOD, *AS_AT))
    (tier,) = (one for one in found["tiers"] if one["tier"] == "full_service")
    assert tier["earning"]["caused"] == {
        "count_jobs": 1, "minutes": 30, "wages_minor": 1200, "consumables_minor": 60,
        "fixed_minor": 500, "parts_minor": 0, "minor": 1760,
    }  # fmt: skip
    assert tier["earning"]["margin_minor"] == 3200 - 1760
    assert {(job["job"], job["is_come_back"], job["caused_tier"]) for job in found["jobs"]} == {
        ("s1", False, None), ("b1", True, "full_service")
    }  # fmt: skip
    said = flat(quay("margin", "--jobs", "full_service", *PERIOD, *AS_AT))
    assert "-€17.60" in said and "€17.60 caused by full_service" in said


# -- what if, the bench, advice ----------------------------------------------------------------


def test_what_if_changes_price_and_minutes_of_a_tier(quay: Run) -> None:
    """5 % more price is 48.00 in all; 10 % fewer minutes spare 70.40 of what hours take."""
    a_quarter(TAG)
    asked = ("--what-if", "full_service:price=+5%,minutes=-10%")
    said = flat(quay("margin", *asked, *PERIOD, *AS_AT))
    assert re.search(r"full service \+5 % -10 % €256.00 €374.40", said), said
    found = strict(quay("margin", *asked, "--json", *PERIOD, *AS_AT))["what_if"]
    (row,) = (one for one in found["rows"] if one["tier"] == "full_service")
    assert (row["price_change"], row["minutes_change"]) == (0.05, -0.1)
    assert found["margin_after_minor"] - found["margin_minor"] == 4800 + 7040


def test_what_if_of_several_tiers(quay: Run) -> None:
    """It is repeated for each; jobs of no tier are `none`."""
    a_quarter(TAG)
    found = strict(
        quay("margin", "--what-if", "full_service:price=-100%", "--what-if", "none:minutes=+50 %",
             "--json", *PERIOD, *AS_AT)
    )["what_if"]  # fmt: skip
    assert {row["tier"]: (row["price_change"], row["minutes_change"]) for row in found["rows"]} == {
        "full_service": (-1.0, 0.0), None: (0.0, 0.5)
    }  # fmt: skip


def test_the_bench_sold_and_held(quay: Run) -> None:
    """Weeks with the hours worked of 84 open; the held job with its 120 minutes left."""
    a_quarter(TAG)
    said = flat(quay("margin", "--capacity", "--held", *PERIOD, *AS_AT))
    assert re.search(r"2026-W10 Mar 2, 2026 7 0.8 0.8 84 0.9 %", said), said
    assert "h1 2B4D6F8H full service Mar 30, 2026 part 120 never quoted" in said
    assert re.search(r"part 1 1 1 [\d.]+ [\d.]+", said), said
    assert "h1 2B4D6F8H part Mar 30, 2026 still held" in said


def test_advice_not_taken_that_came_back_dearer(quay: Run) -> None:
    """20.00 declined, 30.00 charged 30 days later: 10.00 more, with the words of caution given."""
    advice_not_taken()
    said = flat(quay("margin", "--dearer", *PERIOD, *AS_AT))
    row = rf"{TAG} chain Jan 5, 2026 no €20.00 a2 Feb 4, 2026 30 €30.00 €10.00 the same place"
    assert re.search(row, said), said
    found = strict(quay("margin", "--json", *PERIOD, *AS_AT))["dearer"]
    holds(found["rows"][0], shapes.DearerAdvice)
    assert (found["count_not_taken"], found["dearer_minor"]) == (1, 1000)
    assert all(caution in said for caution in found["cautions"])
    assert "Of 1 piece of advice not taken, 1 came back in this time, 1 dearer" in said


# -- for other programs ------------------------------------------------------------------------


def test_json_has_every_field_of_the_shapes(quay: Run) -> None:
    """No figure of the shapes is forgotten: tiers, months, the bench, what if, jobs."""
    a_quarter(TAG)
    found = strict(
        quay("margin", "--json", "--jobs", "full_service", "--what-if", "full_service:price=1%",
             *PERIOD, *AS_AT)
    )  # fmt: skip
    one_of: dict[str, type] = {
        "period": labour_shapes.Period, "total": shapes.Earning, "tiers": shapes.TierMargin,
        "months": shapes.MonthMargin, "not_carried": shapes.NotCarried,
        "break_even": shapes.BreakEven, "capacity": shapes.Capacity, "held": shapes.Held,
        "dearer": shapes.Dearer, "what_if": shapes.WhatIf, "jobs": shapes.JobMargin,
    }  # fmt: skip
    for name, shape in one_of.items():
        for one in found[name] if isinstance(found[name], list) else [found[name]]:
            holds(one, shape)
    for earning in (found["total"], *(one["earning"] for one in found["tiers"] + found["months"])):
        holds(earning, shapes.Earning)
        holds(earning["caused"], shapes.Caused)
    holds(found["tiers"][0]["contribution_per_hour"], shapes.Estimate)
    holds(found["tiers"][0]["lowest_price"], shapes.LowestPrice)
    holds(found["capacity"]["weeks"][0], shapes.WeekSold)
    holds(found["capacity"]["open_jobs"][0], shapes.OpenWork)
    holds(found["held"]["rows"][0], shapes.HeldBy)
    holds(found["held"]["jobs"][0], shapes.HeldJob)
    holds(found["what_if"]["rows"][0], shapes.WhatIfRow)


def test_json_is_exact_and_adds_up(quay: Run) -> None:
    """Tiers and months each make the whole, in minor units; a rate keeps every digit."""
    a_quarter(TAG)
    found = strict(quay("margin", "--json", *PERIOD, *AS_AT))
    total = found["total"]
    for name in ("net_minor", "wages_minor", "fixed_minor", "margin_minor", "bench_minutes"):
        for rows in (found["tiers"], found["months"]):
            assert sum(row["earning"][name] for row in rows) == total[name], name
    assert total["margin_minor"] == 8 * 3200 + 1660
    assert total["contribution_per_hour_minor"] == total["contribution_minor"] * 60 / 1245
    rest = found["not_carried"]
    assert rest["not_carried_minor"] == rest["fixed_cost_minor"] - rest["carried_minor"]
    assert found["break_even"]["charge_minor"] == pytest.approx(3520, abs=1e-9)
    assert (found["what_if"], found["jobs"], found["currency"]) == (None, None, "EUR")


@pytest.mark.xdist_group("harbour")
def test_json_is_what_the_figures_give(harbour: Run) -> None:
    """On a workshop of the demo, tiers and months are those of the shapes, to the last digit."""
    from ledger.book import Book
    from ledger.figures.margin import margin_of

    found = strict(harbour("margin", "--json"))
    of = margin_of(Book.open("book"), as_at=datetime.fromisoformat(found["as_at"]), asker=OWNER)
    assert len(of.tiers) > 2 and len(of.months) > 11
    pairs = [(of.total, found["total"])]
    for rows, told in ((of.tiers, found["tiers"]), (of.months, found["months"])):
        pairs += [(row.earning, one["earning"]) for row, one in zip(rows, told, strict=True)]
    for earning, told in pairs:
        for name in told:
            if name != "caused":
                assert told[name] == getattr(earning, name), name
        assert told["caused"] == {**asdict(earning.caused), "minor": earning.caused.minor}
    for tier, one in zip(of.tiers, found["tiers"], strict=True):
        for name in ("contribution_per_hour", "lowest_price"):
            shape = getattr(tier, name)
            assert one[name] == (None if shape is None else asdict(shape)), name
    assert of.break_even is not None and found["break_even"] == asdict(of.break_even)
    assert found["capacity"]["minutes_ahead"] == of.capacity.minutes_ahead


# -- files -------------------------------------------------------------------------------------


def test_csv_is_the_table_asked_for(quay: Run) -> None:
    """The tiers, or the one other table; more than one is refused."""
    a_quarter(TAG)

    def rows(*asked: str) -> list[dict[str, str]]:
        done = quay("margin", "--csv", "-", *asked, *PERIOD, *AS_AT)
        return list(csv.DictReader(io.StringIO(done.out)))

    (tier, _) = rows()
    assert (tier["tier"], tier["margin (EUR)"]) == ("full_service", "256.00")
    assert [row["month"] for row in rows("--months")] == ["2026-01", "2026-02", "2026-03"]
    assert rows("--held")[0]["waiting for"] == "part"
    assert len(rows("--jobs", "full_service")) == 8
    done = quay("margin", "--csv", "-", "--held", "--months", *AS_AT)
    assert done.code == 2 and "A CSV holds one table: ask for one of --months, --held" in done.err


def test_xlsx_holds_every_table(quay: Run) -> None:
    """Each part has its sheet, asked for or not; the whole shop stands in the first."""
    a_quarter(TAG)
    done = quay("margin", "--xlsx", "m.xlsx", "--jobs", "none", *PERIOD, *AS_AT)
    assert done.out == "Wrote 9 tables to m.xlsx.\n"
    book = openpyxl.load_workbook("m.xlsx")
    assert book.sheetnames == [
        "about", "tiers", "months", "weeks", "open jobs", "held", "holds", "came back dearer",
        "jobs of none",
    ]  # fmt: skip
    about = dict(book["about"].iter_rows(values_only=True))
    assert (about["all margin (EUR)"], about["break even charge (EUR)"]) == (272.6, 35.2)


# -- little or nothing -------------------------------------------------------------------------


def test_an_empty_book_says_so(quay: Run) -> None:
    """No job, no figure, no traceback; JSON has no rows and no break-even."""
    assert "No job was closed" in flat(
        quay("margin", "--months", "--capacity", "--held", "--dearer")
    )
    found = strict(quay("margin", "--json"))
    assert (found["tiers"], found["break_even"], found["total"]["count_jobs"]) == ([], None, 0)
    assert quay("margin", "--csv", "-").out.startswith("tier,label")
    assert quay("margin", "--xlsx", "none.xlsx").code == 0


def test_without_terms_break_even_is_not_known_and_it_is_said(quay: Run) -> None:
    """No wage, no fixed cost, no hours told: the words say what to set."""
    gears = line("gears", 3000, 30)
    recorded(bike(TAG), draft("job_opened", "2026-02-01T09:00", TAG, "j1"),
             *agreed("2026-02-01", TAG, "j1", "q", gears),
             draft("labour_logged", "2026-02-01T12:00", TAG, "j1", task="gears", minutes=40),
             draft("job_closed", "2026-02-01T16:00", TAG, "j1", currency="EUR",
                   lines=[{**gears, "quote_line": "q.0"}]))  # fmt: skip
    said = flat(quay("margin", "--capacity", *PERIOD, *AS_AT))
    assert "What an hour has to bring in is not known: set wages" in said
    found = strict(quay("margin", "--json", *PERIOD, *AS_AT))
    assert found["total"]["minutes_without_wage"] == 40
    assert (found["total"]["net_minor"], found["total"]["wages_minor"]) == (3000, 0)
    assert found["capacity"]["weeks_ahead"] is None


@pytest.mark.parametrize(
    ("currency", "written", "said"),
    [("JPY", "3000", "¥3,000"), ("KWD", "3.000", "KWD3.000"), ("USD", "30.00", "$30.00")],
)
def test_money_has_the_digits_of_its_currency(
    lockring: Run, currency: str, written: str, said: str
) -> None:
    """3,000 minor units are yen without minor units, dinars of three decimals, dollars of two."""
    done = lockring("init", "--shop", "quay", "--currency", currency, "--mechanic", "m1")
    assert done.code == 0, done.err
    gears = line("gears", 3000, 30)
    quote, answer = agreed("2026-02-01", TAG, "j1", "q", gears)
    quote["data"]["currency"] = currency
    recorded(bike(TAG), draft("job_opened", "2026-02-01T09:00", TAG, "j1"), quote, answer,
             draft("labour_logged", "2026-02-01T12:00", TAG, "j1", task="gears", minutes=40),
             draft("job_closed", "2026-02-01T16:00", TAG, "j1", currency=currency,
                   lines=[{**gears, "quote_line": "q.0"}]))  # fmt: skip
    (row,) = csv.DictReader(io.StringIO(lockring("margin", "--csv", "-", *PERIOD, *AS_AT).out))
    assert row[f"net ({currency})"] == written
    assert said in flat(lockring("margin", *PERIOD, *AS_AT)).replace("\u00a0", "")
    found = strict(lockring("margin", "--json", *PERIOD, *AS_AT))
    assert (found["currency"], found["total"]["net_minor"]) == (currency, 3000)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (("price=5%",), "names no tier"),
        ((":price=5%",), "names no tier"),
        (("full_service:colour=5%",), "'colour' is neither price nor minutes"),
        (("full_service:price=5",), "'5' is no change in per cent; write it as"),
        (("full_service:price=-101%",), "nothing can be cut by more than 100 %"),
        (("full_service:price=5%", "full_service:price=6%"), "changed twice"),
        (("full_servic:price=5%",), "Did you mean full_service?"),
    ],
)
def test_a_change_that_cannot_be_is_refused(quay: Run, changes: tuple[str, ...], said: str) -> None:
    """With 2, saying how it is written."""
    recorded(terms(), bike(TAG), bike(OTHER), *serviced("2026-01-05", TAG, "s1"))
    asked = [word for one in changes for word in ("--what-if", one)]
    done = quay("margin", *asked, *PERIOD, *AS_AT)
    assert done.code == 2 and said in done.err and not done.out


def test_jobs_of_a_tier_nobody_had_are_refused(quay: Run) -> None:
    """With the tiers there are; in a period without jobs, saying that."""
    recorded(terms(), bike(TAG), *serviced("2026-01-05", TAG, "s1"))
    done = quay("margin", "--jobs", "overhaul", *PERIOD, *AS_AT)
    assert done.code == 2 and "There are: full_service." in done.err
    done = quay("margin", "--jobs", "overhaul", "--since", "2025-01-01", "--until", "2025-02-01")
    assert done.code == 2 and "no job was closed in the period" in done.err
    assert [path.name for path in Path().iterdir()] == ["book"]

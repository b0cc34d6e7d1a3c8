"""`lockring quote`: lines with tax, versions, and the keeper's answer to each."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from workbench import TAG, Run

TERMS = json.dumps([{"code": "check", "label": "quick check", "price_minor": 3700, "minutes": 42}])
DEARER = json.dumps([{"code": "check", "label": "quick check", "price_minor": 9900}])


@pytest.fixture
def job(shop: Run) -> Run:
    """A shop with a tax of 21 %, a tier whose price rises in 2090, and one bike booked in."""
    for day, tiers in (("2026-01-01", TERMS), ("2090-01-01", DEARER)):
        done = shop("record", "terms_set", "--set", f"from_on={day}", "--set", f"tiers={tiers}",
                    "--set", "tax_rate=0.21")  # fmt: skip
        assert done.code == 0, done.err
    done = shop("record", "job_opened", "--bike", TAG, "--job", "j1", "--set", "ceiling_minor=6000")
    assert done.code == 0, done.err
    return shop


def give(job: Run, *lines: str, code: str = "Q1", expect: int = 0) -> str:
    done = job("quote", "give", TAG, "--id", code, *lines)
    assert done.code == expect, done.err
    return done.err


def shown(job: Run) -> list[dict]:
    return job("quote", TAG, "--json").json


def test_a_quote_is_shown_with_tax_and_answers(job: Run) -> None:
    """The tier at its price of the day, labour, a part with its cost: each with the shop's tax."""
    give(job, "--tier", "check", "--labour", "gears; 20 min; 18.50",
         "--part", "Quay 11; 24,50; chain; 13.20", code="Q1")  # fmt: skip
    (quote,) = shown(job)
    assert (quote["quote"], quote["job"], quote["form"]) == ("Q1", "j1", "fixed")
    names = ("line", "line_type", "code", "minutes", "net_minor", "tax_minor", "cost_minor")
    assert [tuple(line[name] for name in names) for line in quote["lines"]] == [
        ("Q1.1", "labour", "check", 42, 3700, 777, None),
        ("Q1.2", "labour", "gears", 20, 1850, 388, None),
        ("Q1.3", "part", "Quay 11", None, 2450, 514, 1320),
    ]
    said = job("quote", TAG).out
    assert "Agreed: €0.00 with tax." in said
    assert "Not answered: €96.79 with tax, Q1.1, Q1.2, Q1.3." in said


def test_the_ceiling_is_warned_of_before_it_is_passed(job: Run) -> None:
    """The warning comes when the quote is given, with both sums, tax included."""
    assert "ceiling" not in give(job, "--labour", "gears; 20; 49.58")
    said = give(job, "--labour", "brakes; 1; 0.01", "--found-later", code="Q2")
    assert "€60.00 with tax is more than the ceiling of €60.00" not in said
    said = give(job, "--labour", "tyres; 1; 0.02", "--found-later", code="Q3")
    assert "€60.02 with tax is more than the ceiling of €60.00" in said


def test_a_no_is_not_warned_of_and_a_yes_is_once(job: Run) -> None:
    """Three quotes over the ceiling: declining them is no trouble; taking them is told one time."""
    for number in "123":
        give(job, "--labour", f"gears; {number}; 40.00", "--found-later", code=f"Q{number}")
    for said in ("--no-reply", "--no"):
        done = job("quote", "answer", TAG, *(f"Q{n}.1" for n in "123"), said)
        assert (done.code, "ceiling" in done.err) == (0, False)
    done = job("quote", "answer", TAG, *(f"Q{n}.1" for n in "123"), "--yes")
    assert (done.code, done.err.count("the ceiling of")) == (0, 1)
    assert "€145.20 with tax is more than the ceiling of €60.00" in done.err


def test_quotes_and_answers_are_entered_afterwards(job: Run) -> None:
    """With --at the price and tax are those of that day; before the booking-in it is refused."""
    for day, rate, price in (("2020-01-01", "0.09", 3000), ("2020-02-01", "0.19", 3500)):
        tiers = json.dumps([{"code": "check", "label": "quick check", "price_minor": price}])
        done = job("record", "terms_set", "--set", f"from_on={day}", "--set", f"tiers={tiers}",
                   "--set", f"tax_rate={rate}")  # fmt: skip
        assert done.code == 0, done.err
    opened = ("record", "job_opened", "--bike", TAG, "--job", "j0", "--at", "2020-01-14 09:00")
    early = ("quote", "give", TAG, "--tier", "check", "--id", "Q0", "--job", "j0", "--at")
    assert job("record", "bike_registered", "--bike", "8N4P2RYB", "--at", "2020-01-02").code == 0
    opened = tuple("8N4P2RYB" if word == TAG else word for word in opened)
    early = tuple("8N4P2RYB" if word == TAG else word for word in early)
    assert job(*opened).code == 0
    assert job(*early, "2020-01-13 10:00").code == 1
    assert job(*early, "2020-01-14 10:00").code == 0
    done = job("quote", "answer", "8N4P2RYB", "--yes", "--at", "2020-01-15 11:00")
    assert done.code == 0, done.err
    (quote,) = job("quote", "8N4P2RYB", "--json").json
    (line,) = quote["lines"]
    assert (line["net_minor"], line["tax_minor"]) == (3000, 270)
    assert (quote["given_at"][:13], line["answered_at"][:13]) == ("2020-01-14T10", "2020-01-15T11")


def test_a_bill_without_a_currency_is_in_the_books(job: Run) -> None:
    """Lines of a closing or a quote get the book's currency; the tax rate is the quote's."""
    work = {"line": "Q1.1", "line_type": "labour", "code": "gears", "net_minor": 1000}
    done = job("record", "quote_given", "--bike", TAG, "--job", "j1", "--set", "quote=Q1",
               "--set", "form=fixed",
               "--set", f"lines={json.dumps([{**work, 'tax_rate': '0.21'}])}")  # fmt: skip
    assert done.code == 0, done.err
    job("quote", "answer", TAG, "--yes")
    bill = [{**work, "line": "a", "quote_line": "Q1.1"}]
    closing = ("record", "job_closed", "--bike", TAG, "--job", "j1")
    done = job(*closing, "--set", f"lines={json.dumps(bill)}")
    assert done.code == 0, done.err
    data = job("history", TAG, "--json").json[-1]["data"]
    assert (data["currency"], data["lines"][0]["tax_minor"]) == ("EUR", 210)


def test_a_discount_is_quoted_as_a_line_of_its_own(job: Run) -> None:
    """It lowers what is agreed; a part below nought is refused with what would be right."""
    give(job, "--labour", "gears; 20; 10.00", "--other", "regular; -2.00")
    job("quote", "answer", TAG, "--yes")
    assert "Agreed: €9.68 with tax." in job("quote", TAG).out
    said = give(job, "--part", "bell; -2.00", code="Q2", expect=1)
    assert "line_type other" in " ".join(said.split())


def test_answers_are_by_line_with_who_and_how(job: Run) -> None:
    """A yes to one line and a no to another; no reply leaves a line open; it is no yes."""
    give(job, "--labour", "gears; 20; 10.00", "--other", "bell; 5.00", "--other", "horn; 1.00")
    assert job("quote", "answer", TAG, "Q1.1", "--yes", "--by", "k1", "--how", "phone").code == 0
    assert job("quote", "answer", TAG, "Q1.2", "--no-reply").code == 0
    lines = shown(job)[0]["lines"]
    assert [(line["answer"], line["answered_by"], line["how"]) for line in lines] == [
        ("yes", "k1", "phone"), ("no reply", None, "in person"), (None, None, None),
    ]  # fmt: skip
    assert "Agreed: €12.10 with tax." in job("quote", TAG).out
    assert job("quote", "answer", TAG, "--later").code == 0
    assert [line["answer"] for line in shown(job)[0]["lines"]] == ["yes", "later", "later"]
    done = job("quote", "answer", TAG, "--yes")
    assert (done.code, "has its answer; name a line" in done.err) == (1, True)


def test_a_newer_version_takes_the_older_ones_place(job: Run) -> None:
    """What was agreed in the older one counts no more; its lines cannot be answered."""
    give(job, "--labour", "gears; 20; 10.00")
    job("quote", "answer", TAG, "--yes")
    give(job, "--labour", "gears; 35; 15.00", "--replaces", "Q1", "--up-to", code="Q2")
    older, newer = shown(job)
    assert (older["replaced_by"], older["is_standing"]) == ("Q2", False)
    assert (newer["replaces"], newer["form"], newer["is_standing"]) == ("Q1", "up to", True)
    said = job("quote", TAG).out
    assert "REPLACED by Q2: counts no more" in said
    assert "Agreed: €0.00 with tax." in said
    done = job("quote", "answer", TAG, "Q1.1", "--yes")
    assert done.code == 1
    said = " ".join(done.err.split())
    assert "Line Q1.1 is of quote Q1, which Q2 replaces. Answer that one's: Q2.1." in said
    give(job, "--labour", "gears; 40; 16.00", "--replaces", "Q2", code="Q3")
    assert "which Q3 replaces" in job("quote", "answer", TAG, "Q1.1", "--yes").err


def test_lines_come_from_a_file_too(job: Run, tmp_path: Path) -> None:
    """A list of lines as `quote_given` has them; a price that is no whole number is refused."""
    line = {"line_type": "consumable", "code": "sealant", "net_minor": 300, "tax_rate": "0.09"}
    Path("lines.json").write_text(json.dumps([line]))
    give(job, "--lines", "lines.json")
    assert [(one["code"], one["tax_minor"]) for one in shown(job)[0]["lines"]] == [("sealant", 27)]
    Path("lines.json").write_text(json.dumps([{**line, "net_minor": 3.5}]))
    assert "net_minor" in give(job, "--lines", "lines.json", code="Q2", expect=1)
    Path("lines.json").write_text(json.dumps(line))
    assert "is not a list of lines" in give(job, "--lines", "lines.json", code="Q3", expect=1)


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("give", TAG), 1, "A quote needs a line at least"),
        (("give", TAG, "--labour", "gears; soon; 5"), 2, "'soon' are no minutes"),
        (("give", TAG, "--labour", "gears; 5"), 2, "--labour takes"),
        (("give", TAG, "--part", "bell; 5.001"), 2, "more digits than the currency"),
        (("give", TAG, "--tier", "grand"), 2, "there is no tier 'grand'. The shop's are check"),
        (("give", TAG, "--other", "bell; 5", "--tax", "121"), 2, "is not between 0 and 100 %"),
        (("give", TAG, "--other", "bell; 5", "--replaces", "Q7"), 1, "no quote Q7 in job j1"),
        (("answer", TAG, "--yes", "--no"), 2, "one of --yes, --no"),
        (("answer", TAG, "--yes", "--how", "pigeon"), 2, "is not one of"),
        (("answer", TAG, "Q9.1", "--yes"), 1, "No line Q9.1 stands in this job"),
        (("8N4P2RYB",), 1, "No bike has the tag 8N4P2RYB"),
    ],
)
def test_what_cannot_be_says_what_would_be_right(
    job: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """Every refusal says what would be right, and nothing is recorded."""
    done = job("quote", *arguments)
    assert (done.code, done.out) == (code, "")
    assert said in " ".join(done.err.split())
    assert shown(job) == []


def test_a_bike_without_quotes_says_so(job: Run) -> None:
    """There is nothing to show, and that is said."""
    assert job("quote", TAG).out == f"Nothing was quoted on bike {TAG}.\n"


def test_a_charge_nobody_agreed_to_is_refused_at_the_door(job: Run) -> None:
    """Closing over a line that was answered no names the line and what would be right."""
    give(job, "--labour", "gears; 20; 10.00")
    job("quote", "answer", TAG, "--no")
    bill = [{"line": "a", "line_type": "labour", "code": "gears", "net_minor": 1000,
             "quote_line": "Q1.1"}]  # fmt: skip
    closing = ("record", "job_closed", "--bike", TAG, "--job", "j1", "--set", "currency=EUR")
    done = job(*closing, "--set", f"lines={json.dumps(bill)}")
    assert done.code == 1
    said = " ".join(done.err.split())
    assert "line Q1.1 was answered no" in said
    assert "record the keeper's yes" in said
    assert job("state", TAG, "--json").json["jobs_open"] != []


def test_receipts_and_warnings_write_money_as_the_shop_does(lockring: Run) -> None:
    """In a German book of dinars: a comma, three digits, and the currency behind."""
    made = lockring("init", "--shop", "kai", "--currency", "KWD", "--locale", "de_DE",
                    "--time-zone", "Europe/Berlin", "--mechanic", "m1")  # fmt: skip
    assert made.code == 0, made.err
    assert lockring("record", "bike_registered", "--bike", TAG, "--set", "speeds=9").code == 0
    assert lockring("record", "job_opened", "--bike", TAG, "--job", "j1",
                    "--set", "ceiling_minor=1000").code == 0  # fmt: skip
    done = lockring("quote", "give", TAG, "--labour", "gears; 20; 1,250")
    assert done.code == 0, done.err
    said = (done.out + done.err).replace("\xa0", " ")
    assert "1 line, 1,250 KWD before tax" in said
    assert "1,250 KWD with tax is more than the ceiling of 1,000 KWD" in said

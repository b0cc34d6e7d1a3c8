"""Shops side by side: each one's part is what its own book says, and sums are of these."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.chain_keep import book_chains
from ledger.figures.faults import faults_of
from ledger.figures.labour import labour_of
from ledger.figures.margin import margin_of
from ledger.shops import Shops
from ledger.shops.compared import Sums, compared
from tests.shops.many_books import draft, shop_book, shops_of

Run = Callable[..., tuple[int, str, str]]
SINCE = date(2020, 1, 1)
BIKES = ("7K3M9QXA", "2B4D6F8H", "8N4P2RYB", "3C5E7G9J")
TIERS = [{"code": code, "label": code} for code in ("check", "full")]


def job(bike: str, number: int, day: str, tier: str | None, quoted: int, worked: int) -> list[Any]:
    """A job with one quoted line of labour, worked, charged and closed."""
    name = f"J{number}"
    line = {"line": "l1", "line_type": "labour", "code": "fix", "minutes": quoted,
            "net_minor": 100 * quoted}  # fmt: skip
    of = {"job": name}
    told = {"tier": tier} if tier else {}
    return [
        draft(day, "job_opened", bike, **told, **of),
        draft(day, "quote_given", bike, quote=f"q{number}", form="fixed", lines=[line], **of),
        draft(day, "quote_answered", bike, quote=f"q{number}", how="in person",
              answers=[{"line": "l1", "answer": "yes"}], **of),
        draft(day, "inspected", bike, position="rear_brake", fault="squeal", verdict="due", **of),
        draft(day, "treated", bike, position="rear_brake", treatment="cleaned",
              puts_right={"fault": "squeal"}, **of),
        draft(day, "labour_logged", bike, task="fix", minutes=worked, **of),
        draft(day, "job_closed", bike,
              lines=[{**line, "line": "c1", "quote_line": "l1"}], **of),
    ]  # fmt: skip


def busy_shop(
    folder: Path, shop: str, region: str | None, *, currency: str = "EUR", factor: int = 1
) -> Book:
    """A shop with twelve jobs in two tiers and in none, some of which came back."""
    terms = {"from_on": "2025-01-01", "tiers": TIERS, "consumables_minor": 120,
             "tasks": [{"code": "fix", "label": "fix"}],
             "wages": [{"mechanic": "m1", "minor_per_hour": 2400}]}  # fmt: skip
    drafts = [
        draft("2025-01-01", "mechanic_registered", mechanic="m1", role="owner"),
        draft("2025-01-01", "terms_set", **terms, **({"region": region} if region else {})),
        *(draft("2025-01-02", "bike_registered", bike) for bike in BIKES),
    ]
    for number in range(12):
        day = date(2025, 6, 1 + 2 * number).isoformat()
        tier = ("check", "full", None)[number % 3]
        minutes = 30 + 10 * number * factor, 25 + 13 * number
        drafts += job(BIKES[number % 4], number, day, tier, *minutes)
    return shop_book(folder, shop, drafts, currency=currency)


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Shops:
    """Three shops in two regions and one in none; one with another currency."""
    folder = tmp_path_factory.mktemp("town")
    return shops_of([
        busy_shop(folder, "pier", "north"),
        busy_shop(folder, "quay", "north", factor=2),
        busy_shop(folder, "reef", "south", currency="GBP"),
        busy_shop(folder, "sand", None),
    ])  # fmt: skip


def test_each_shops_part_is_what_its_book_says(town: Shops) -> None:
    """Jobs, minutes, money, repairs and chains, by shop and by tier."""
    asked = town.asked(None, None)
    by_shop = compared(town, asked, ["shop"], since=SINCE, has_chains=True, asker=OWNER)
    by_tier = compared(town, asked, ["shop", "tier"], since=SINCE, asker=OWNER)
    assert [row.shop for row in by_shop.rows] == ["pier", "quay", "reef", "sand"]
    for row in by_shop.rows:
        assert row.shop is not None
        book, sums = town.books[row.shop], row.sums
        labour = labour_of(book, SINCE, asker=OWNER)
        margin = margin_of(book, SINCE, asker=OWNER)
        faults = faults_of(book, asker=OWNER)
        chains = book_chains(book, BookTables(book)).report.shop
        assert (sums.count_jobs, sums.count_compared) == (12, labour.total.ratio.count)
        assert sums.quoted_minutes == labour.total.quoted_minutes > 0
        assert sums.worked_minutes == labour.total.minutes.quoted > 0
        assert sums.bench_minutes == margin.total.bench_minutes
        assert sums.contribution_minor == margin.total.contribution_minor
        assert sums.contribution_per_hour_minor == margin.total.contribution_per_hour_minor
        assert sums.count_put_right == faults.counts.count_put_right == 12
        assert sums.count_come_back == faults.counts.count_did_not_hold > 0
        assert sums.come_back_share == faults.counts.rate_followed
        assert chains is None
        assert (sums.chains_seen, sums.past_share) == (0, None)
        tiers = {one.tier: one for one in by_tier.rows if one.shop == row.shop}
        assert set(tiers) == {"check", "full", None}
        for tier in margin.tiers:
            found = tiers[tier.tier].sums
            assert found.contribution_minor == tier.earning.contribution_minor
            assert found.count_jobs == tier.earning.count_jobs
        for labour_row in labour.by("tier"):
            assert tiers[labour_row.key].sums.worked_minutes == labour_row.minutes.quoted
        total = sum((one.sums for one in tiers.values()), Sums())
        assert total == sums


@pytest.mark.parametrize(
    "by", [["region"], ["tier"], ["region", "tier"], ["tier", "region", "shop"]]
)
def test_rows_are_sums_of_shops_of_one_currency(town: Shops, by: Any) -> None:
    """Whatever they are grouped by, nothing is lost, twice, or added across currencies."""
    asked = town.asked(None, None)
    cells = compared(town, asked, ["shop", "region", "tier"], since=SINCE, asker=OWNER).rows
    rows = compared(town, asked, by, since=SINCE, asker=OWNER).rows
    assert len({(row.shop, row.region, row.tier, row.currency) for row in rows}) == len(rows)
    for row in rows:
        meant = [
            cell
            for cell in cells
            if all(getattr(cell, name) == getattr(row, name) for name in by)
            and cell.currency == row.currency
        ]
        assert row.sums == sum((cell.sums for cell in meant), Sums())
        assert set(row.shops) == {cell.shop for cell in meant}
    assert sum(row.sums.count_jobs for row in rows) == 48


def test_a_ratio_is_of_sums(town: Shops) -> None:
    """The north's is neither shop's, nor the mean of both."""
    asked = town.asked(None, None)
    (north, *_) = compared(town, asked, ["region"], since=SINCE, asker=OWNER).rows
    parts = [compared(town, {shop: asked[shop]}, ["shop"], since=SINCE, asker=OWNER).rows[0]
             for shop in ("pier", "quay")]  # fmt: skip
    worked, quoted = (
        sum(getattr(part.sums, name) for part in parts)
        for name in ("worked_minutes", "quoted_minutes")
    )
    assert north.region == "north"
    assert north.sums.ratio == worked / quoted
    mean = sum(part.sums.ratio or 0 for part in parts) / 2
    assert abs(north.sums.ratio - mean) > 0.01


def test_a_region_may_change_and_as_known_hides_it(tmp_path: Path) -> None:
    """A shop that moved is in its new region from that day on; before it was known, in the old."""
    book = busy_shop(tmp_path, "pier", "north")
    shops = shops_of([book])
    before = shops.asked(None, None)
    book.append([draft("2026-03-01", "terms_set", from_on="2026-02-01", region="south")])
    now = shops.asked(None, None)
    old = {"since": SINCE, "until": date(2026, 1, 31)}

    def regions(asked: Any, **days: Any) -> list[str | None]:
        rows = compared(shops, asked, ["region"], asker=OWNER, **(days or {"since": SINCE})).rows
        return [row.region for row in rows]

    assert regions(now) == ["south"]
    assert regions(now, **old) == ["north"]
    assert regions(before) == ["north"]


def test_too_few_are_said_to_be(tmp_path: Path) -> None:
    """Of no job nothing is judged."""
    shops = shops_of([shop_book(tmp_path, "pier")])
    (row,) = compared(shops, shops.asked(None, None), ["shop"], asker=OWNER).rows
    assert row.sums == Sums()
    assert row.sums.is_too_few_jobs
    assert row.sums.is_too_few_ratios
    assert row.sums.is_too_few_repairs


@pytest.fixture
def folder(tmp_path: Path, lockring: Run) -> Path:
    """Two shops of two currencies in `books`."""
    busy_shop(tmp_path / "books", "pier", "north")
    busy_shop(tmp_path / "books", "reef", "south", currency="GBP")
    return tmp_path


def test_the_commands_list_and_compare(folder: Path, lockring: Run) -> None:
    """As JSON, as tables, and as files."""
    code, out, err = lockring("shops", "--book", "books", "--json")
    assert (code, err) == (0, "")
    rows = json.loads(out)
    assert [(row["shop"], row["region"], row["bikes"], row["events"]) for row in rows] == [
        ("pier", "north", 4, 90), ("reef", "south", 4, 90),
    ]  # fmt: skip
    code, out, _ = lockring("shops", "--book", "books")
    assert (code, "2 books, 180 events." in out) == (0, True)
    days = ("--since", "2020-01-01", "--book", "books")
    code, out, err = lockring("compare", "--by", "region", "--by", "tier", "--json", *days)
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert len(found["rows"]) == 6
    assert {row["currency"] for row in found["rows"]} == {"EUR", "GBP"}
    assert found["rows"][0]["sums"]["is_too_few_jobs"]
    assert "chains_seen" not in found["rows"][0]["sums"]
    code, out, _ = lockring("compare", *days)
    assert code == 0
    assert "money is not added" in out
    assert "too few" in out
    assert lockring("compare", "--csv", "held.csv", *days)[0] == 0
    assert lockring("compare", "--xlsx", "held.xlsx", *days)[0] == 0
    assert lockring("shops", "--csv", "shops.csv", "--book", "books")[0] == 0
    code, _, err = lockring("compare", "--by", "tier", "--chains", *days)
    assert (code, "of no tier" in err) == (2, True)


def test_a_damaged_book_is_left_out_of_the_comparison_and_named(
    folder: Path, lockring: Run
) -> None:
    """The others are compared; exit code 1."""
    newest = max((folder / "books" / "pier" / "events").iterdir())
    newest.write_bytes(newest.read_bytes()[:-40])
    for command in ("shops", "compare"):
        code, out, err = lockring(command, "--book", "books", "--json")
        assert code == 1
        found = json.loads(out)
        if command == "compare":
            (missing,) = found.pop("not_read")
            assert (missing["book"], missing["shop"]) == ("books/pier", None)
        assert "pier" not in json.dumps(found)
        assert "Not in this answer: books/pier." in err

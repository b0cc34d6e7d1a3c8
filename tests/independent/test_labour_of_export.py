"""What the book says of minutes and money, against loops over its export that share no code."""

from __future__ import annotations

import math
import random
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from statistics import quantiles
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from ledger.asking import OWNER
from ledger.book import Book
from ledger.events import Event
from ledger.exchange.export import export_book
from ledger.figures.labour import BookLabour, labour_of
from ledger.figures.labour_shapes import LabourRow
from ledger.figures.margin import BookMargin, margin_of
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.independent.job_books import SHOP, book_events
from tests.independent.labour_of_export import KINDS, Job, Jobs, Stretch, rounded
from tests.long import times

Row = dict[str, Any]
LATE = datetime(2026, 6, 1, 12, tzinfo=UTC)


def kept(events: list[Event], folder: Path) -> Book:
    """Put stored events into a real book, as one commit."""
    book = Book.init(folder / "book", shop=SHOP, time_zone="Europe/Amsterdam")
    Log(LocalStore(book.path / "events")).commit(lambda head: events)
    return Book.open(book.path)


def exported(book: Book) -> list[str]:
    out = BytesIO()
    export_book(book, out, "cloudevents", clear=True)
    return out.getvalue().decode().splitlines()


# -- minutes ----------------------------------------------------------------------------------


def spread(pairs: list[tuple[int, int]]) -> Row:
    """Give the spread of actual over quoted, from its definition."""
    ratios = sorted(Fraction(a, q) for a, q in pairs if a and q)
    over, count = sum(r > Fraction(6, 5) for r in ratios), len(ratios)
    found: Row = {"count": count, "count_over": over}
    if not count:
        return found
    quarters = quantiles(ratios, n=4, method="inclusive") if count > 1 else ratios * 3
    tenths = quantiles(ratios, n=10, method="inclusive") if count > 1 else ratios * 9
    z, p = 1.959963984540054, over / count  # the 97.5 % point of the standard normal
    middle, reach = (
        p + z * z / (2 * count),
        z * math.sqrt(p * (1 - p) / count + z * z / (4 * count * count)),
    )
    scale = 1 + z * z / count
    found |= {"median": quarters[1], "quarter_low": quarters[0], "quarter_high": quarters[2],
              "tenth_low": tenths[0], "tenth_high": tenths[8], "share_over": p,
              "share_over_low": max((middle - reach) / scale, 0.0),
              "share_over_high": (middle + reach) / scale}  # fmt: skip
    return found


def summed(rows: list[Row | None]) -> Row:
    found: Counter[str] = Counter()
    for row in rows:
        found.update(row or {})
    return dict(found)


def own_row(jobs: Jobs, of: list[Job]) -> Row:
    """Give what a row of jobs says."""
    minutes = {kind.replace(" ", "_").replace("-", "_"): sum(j.minutes(kind) for j in of)
               for kind in KINDS}  # fmt: skip
    bench, net = sum(minutes.values()), sum(j.net("labour") for j in of)
    return {
        "count_jobs": len(of),
        "ratio": spread([(j.minutes("quoted"), j.quoted_minutes) for j in of]),
        "minutes": minutes,
        "quoted_minutes": sum(j.quoted_minutes for j in of),
        "found_later_quoted_minutes": sum(sum(j.later.values()) for j in of),
        "variances": summed([jobs.variances(j, j.quoted_minutes, worked(j)) for j in of]),
        "net_labour_minor": net,
        "effective_rate_minor": net * 60 / bench if bench else None,
        "count_found_later": sum(j.has_later or j.minutes("found later") > 0 for j in of),
    }


def worked(job: Job, task: str | None = "any") -> list[Stretch]:
    return [s for s in job.stretches if s.kind == "quoted" and task in ("any", s.task)]


def own_tasks(jobs: Jobs, of: list[Job]) -> dict[str, Row]:
    """Give what rows of tasks say."""
    tiers, found = jobs.terms.codes(), {}
    names = {name for j in of for name in (*j.quoted, *j.later, *(s.task for s in j.stretches))}
    for name in names - {None}:
        comparable = [j for j in of if not any(j.quoted[code] for code in tiers)]
        held = [j for j in of if j.quoted[name] or j.later[name] or j.minutes(task=name)]
        held = [j for j in held if not (name in tiers and j.quoted[name])]
        if not held:
            continue
        both = [j for j in comparable if j in held]
        minutes = {kind.replace(" ", "_").replace("-", "_"):
                   sum(j.minutes(kind, task=name) for j in held) for kind in KINDS}  # fmt: skip
        found[name] = {
            "count_jobs": len(held),
            "ratio": spread([(j.minutes("quoted", task=name), j.quoted[name]) for j in both]),
            "minutes": minutes,
            "quoted_minutes": sum(j.quoted[name] for j in held),
            "found_later_quoted_minutes": sum(j.later[name] for j in held),
            "variances": summed([jobs.variances(j, j.quoted[name], worked(j, name)) for j in both]),
        }
    return found


def differences(where: str, said: Any, own: Any) -> list[str]:
    """Give where what is said differs from our own; what we do not give is not compared."""
    if isinstance(own, dict):
        return [d for name in own for d in differences(f"{where}.{name}", said[name], own[name])]
    if isinstance(own, float | Fraction):
        is_same = said is not None and math.isclose(said, own, rel_tol=1e-12, abs_tol=1e-12)
    else:
        is_same = said == own
    return [] if is_same else [f"{where}: said {said}, own {own}"]


def rows_differ(where: str, said: tuple[LabourRow, ...], own: dict[Any, Row]) -> list[str]:
    by_key = {row.key: asdict(row) for row in said}
    if by_key.keys() != own.keys():
        return [f"{where}: keys {sorted(map(str, by_key))}, own {sorted(map(str, own))}"]
    return [d for key in own for d in differences(f"{where} {key}", by_key[key], own[key])]


def grouped(of: list[Job], by: Callable[[Job], Any]) -> dict[Any, list[Job]]:
    found = defaultdict(list)
    for job in of:
        found[by(job)].append(job)
    return found


def labour_differences(book: Book, labour: BookLabour, jobs: Jobs) -> list[str]:
    """Give every figure of minutes in which the two answers differ."""
    period = labour.period
    of = jobs.closed(period.since, period.until)
    keys: dict[Any, Callable[[Job], Any]] = {
        "tier": lambda j: j.tier,
        "kind": lambda j: j.kind,
        "month": lambda j: jobs.day(j.closed.at).isoformat()[:7],  # type: ignore[union-attr]  # closed ones alone
    }
    wrong = differences("all", asdict(labour.total), own_row(jobs, of))
    for by, key in keys.items():
        own = {name: own_row(jobs, some) for name, some in grouped(of, key).items()}
        wrong += rows_differ(by, labour.by(by), own)
    wrong += rows_differ("task", labour.by("task"), own_tasks(jobs, of))
    later = {
        "count_jobs": sum(j.has_later or j.minutes("found later") > 0 for j in of),
        "count_jobs_closed": len(of),
        "quoted_minutes": sum(sum(j.later.values()) for j in of),
        "minutes": sum(j.minutes("found later") for j in of),
        "net_yes_minor": sum(j.later_yes for j in of),
        "net_not_yes_minor": sum(j.later_not_yes for j in of),
    }
    wrong += differences("found later", asdict(labour.found_later), later)
    told = {(row.bike, row.job): row for row in labour.jobs()}
    assert len(told) == len(of)
    for job in of:
        row = told[job.bike, job.name]
        own = {"quoted_minutes": job.quoted_minutes, "tier": job.tier,
               "minutes": {"quoted": job.minutes("quoted"), "goodwill": job.minutes("goodwill")},
               "minutes_without_wage": job.without_wage("quoted")}  # fmt: skip
        wrong += differences(f"job {job.name}", asdict(row), own)
    return wrong


def waterfall_differences(labour: BookLabour, jobs: Jobs, some: list[Job]) -> list[str]:
    """Give where the steps of jobs do not lead from what was quoted to what came."""
    wrong = []
    for job in some:
        found = labour.waterfall(job.name, job.bike)
        net = sum(line["net_minor"] for line in job.lines)
        ends = {
            "minutes": (job.quoted_minutes, job.minutes()),
            "money": (job.net_yes, net if job.closed else job.net_yes + job.later_yes),
        }
        for name, (start, end) in ends.items():
            steps = getattr(found, name)
            changes = sum(step.change for step in steps[1:-1])
            said = (steps[0].stop, steps[-1].stop, start + changes)
            if said != (start, end, end):
                wrong.append(f"{job.name} {name}: said {said}, own {(start, end)}")
    return wrong


# -- money ------------------------------------------------------------------------------------


def margin_differences(margin: BookMargin, jobs: Jobs) -> list[str]:
    """Give every figure of money in which the two answers differ."""
    since, until = margin.period.since, margin.period.until
    of = jobs.closed(since, until)
    wrong = differences("total", asdict(margin.total), jobs.earning(of, lambda tier: True))
    tiers = {row.tier: row for row in margin.tiers}
    own = {name: jobs.earning(of, lambda tier, name=name: tier == name)
           for name in {j.tier for j in of} | {jobs.cause(j) for j in of if j.is_back}}  # fmt: skip
    if tiers.keys() != own.keys():
        return [*wrong, f"tiers {sorted(map(str, tiers))}, own {sorted(map(str, own))}"]
    for name, row in own.items():
        wrong += differences(f"tier {name}", asdict(tiers[name].earning), row)
        wrong += per_hour_differs(f"tier {name}", tiers[name].contribution_per_hour, row)
    for month in margin.months:
        some = [j for j in of if j.closed and jobs.day(j.closed.at).isoformat()[:7] == month.month]
        row = jobs.earning(some, lambda tier: True)
        wrong += differences(month.month, asdict(month.earning), row)
    assert sum(month.earning.margin_minor for month in margin.months) == margin.total.margin_minor
    return wrong + charge_differences(margin, jobs, of) + bench_differences(margin, jobs)


def per_hour_differs(where: str, said: Any, row: Row) -> list[str]:
    nets = ("net_labour_minor", "net_parts_minor", "net_consumables_minor", "net_other_minor")
    left = sum(row[name] for name in nets) - row["parts_cost_minor"]
    left -= row["wages_minor"] + row["consumables_minor"]
    if not row["bench_minutes"]:
        return [] if said is None else [f"{where}: an hour of none"]
    own = Fraction(left * 60, row["bench_minutes"])
    is_same = said is not None and math.isclose(said.value, own, rel_tol=1e-9, abs_tol=1e-9)
    return [] if is_same else [f"{where} an hour: said {said}, own {float(own)}"]


def charge_differences(margin: BookMargin, jobs: Jobs, of: list[Job]) -> list[str]:
    """Compare fixed cost not carried, the break-even charge and the lowest prices."""
    since, until, terms = margin.period.since, margin.period.until, jobs.terms
    days = [since + timedelta(days=n) for n in range((until - since).days + 1)]
    costs = [terms.last("fixed_cost_minor", day) for day in days]
    whole = sum((Fraction(c * 12) / Fraction(36525, 100) for c in costs if c is not None),
                Fraction(0))  # fmt: skip
    stretches = [s for s in jobs.every_stretch() if since <= s.day <= until]
    own = {"days": len(days), "fixed_cost_minor": rounded(whole, terms.rounding(until)),
           "carried_minor": sum(s.fixed for s in stretches),
           "days_untold": sum(cost is None for cost in costs)}  # fmt: skip
    wrong = differences("not carried", asdict(margin.not_carried), own)
    charge = own_charge(jobs, stretches, until)
    said = margin.break_even
    if (charge is None) != (said is None):
        return [*wrong, f"break-even: said {said}, own {charge}"]
    for row in margin.tiers:
        price = own_lowest(jobs, of, row.tier, charge)
        if (None if row.lowest_price is None else row.lowest_price.price_minor) != price:
            wrong.append(f"lowest price of {row.tier}: said {row.lowest_price}, own {price}")
    if charge is not None and said is not None and not math.isclose(said.charge_minor, charge):
        wrong.append(f"break-even: said {said.charge_minor}, own {float(charge)}")
    return wrong


def own_charge(jobs: Jobs, stretches: list[Stretch], day: date) -> Fraction | None:
    terms = jobs.terms
    paid = [s for s in stretches if s.wage is not None and s.minutes]
    wages = list(terms.wages(day).values())
    hours, cost = terms.sellable(day), terms.last("fixed_cost_minor", day)
    if hours is None or cost is None or not (paid or wages):
        return None
    mean = (
        Fraction(sum(s.minutes * s.wage for s in paid), sum(s.minutes for s in paid))
        if paid
        else Fraction(sum(wages), len(wages))
    )
    told = terms.last("paid_hours", day)
    a_week = Fraction(cost * 12) / (Fraction(36525, 100) / 7)
    all_of_it = mean * (hours if told is None else Fraction(told)) + a_week
    return all_of_it / hours + (terms.last("consumables_minor", day) or 0)


def own_lowest(jobs: Jobs, of: list[Job], tier: str | None, charge: Fraction | None) -> int | None:
    lines = [net for j in of if j.tier == tier for net in j.tier_lines()]
    if charge is None or not lines:
        return None
    row = jobs.earning(of, lambda name: name == tier)
    nets = ("net_labour_minor", "net_parts_minor", "net_consumables_minor", "net_other_minor")
    left = sum(row[name] for name in nets) - row["parts_cost_minor"]
    missing = charge * Fraction(row["bench_minutes"], 60) - left
    return max(math.ceil(Fraction(sum(lines), len(lines)) + missing / len(lines)), 0)


def bench_differences(margin: BookMargin, jobs: Jobs) -> list[str]:
    """Compare weeks, open work, holds, and advice that came back dearer."""
    since, until, terms = margin.period.since, margin.period.until, jobs.terms
    wrong = []
    for week in margin.capacity.weeks:
        days = [week.starts_on + timedelta(days=n) for n in range(7)]
        days = [day for day in days if since <= day <= until]
        some = [s for s in jobs.every_stretch() if s.day in days]
        charged = [s for s in some if s.kind in ("quoted", "found later")]
        hours = [h for day in days if (h := terms.sellable(day)) is not None]
        own = {"days": len(days), "bench_minutes": sum(s.minutes for s in some),
               "charged_minutes": sum(s.minutes for s in charged),
               "open_minutes": rounded(sum(hours) * Fraction(60, 7), "half even") if hours
               else None}  # fmt: skip
        wrong += differences(week.week, asdict(week), own)
    today = jobs.day(jobs.as_at)
    left = {(j.bike, j.name): minutes_left(jobs, j, today) for j in jobs.jobs if not j.closed}
    said = {(j.bike, j.job): j.minutes_left for j in margin.capacity.open_jobs}
    wrong += [] if said == left else [f"minutes left: said {said}, own {left}"]
    return wrong + held_differences(margin, jobs) + dearer_differences(margin, jobs)


def minutes_left(jobs: Jobs, job: Job, today: date) -> int:
    planned = job.quoted_minutes + sum(job.later.values())
    if not job.is_quoted:
        planned = (jobs.terms.tier(job.tier, today) or {}).get("minutes") or 0
    return max(planned - job.minutes("quoted", "found later"), 0)


def held_differences(margin: BookMargin, jobs: Jobs) -> list[str]:
    zone = jobs.zone
    midnights = (margin.period.since, margin.period.until + timedelta(days=1))
    # In UTC: two times of one zone are subtracted as the clock on the wall shows them.
    begins, ends = (
        datetime.combine(day, datetime.min.time(), zone).astimezone(UTC) for day in midnights
    )
    own: dict[str, list[timedelta]] = defaultdict(list)
    for hold in jobs.holds:
        to = hold["to"] or jobs.as_at
        inside = min(to, ends, jobs.as_at) - max(hold["from"], begins)
        if inside >= timedelta(0):
            own[hold["for"]].append(inside)
    said = {row.waiting_for: (row.count_holds, row.days) for row in margin.held.rows}
    mine = {what: (len(spans), sum(spans, timedelta(0)) / timedelta(days=1))
            for what, spans in own.items()}  # fmt: skip
    is_same = said.keys() == mine.keys() and all(
        said[what][0] == count and math.isclose(said[what][1], days, abs_tol=1e-6)
        for what, (count, days) in mine.items()
    )
    return [] if is_same else [f"held: said {said}, own {mine}"]


def dearer_differences(margin: BookMargin, jobs: Jobs) -> list[str]:
    since, until = margin.period.since, margin.period.until
    own = []
    for row in jobs.advice:
        if row["later"] is None:
            continue
        (job, charged), price = row["later"], row["advice"].data["price_minor"]
        if since <= jobs.day(job.closed.at) <= until and charged > price:
            own.append((row["advice"].at, job.name, price, charged))
    said = [(r.advised_at, r.job, r.price_minor, r.later_minor) for r in margin.dearer.rows]
    return [] if sorted(said) == sorted(own) else [f"dearer: said {said}, own {own}"]


# -- the tests --------------------------------------------------------------------------------


def hold(book: Book, as_at: datetime, known: int, since: date, until: date) -> Jobs:
    """Hold both answers equal for one period, as at one instant, as known to one seq."""
    jobs = Jobs(exported(book), as_at, known, book.settings.zone)
    labour = labour_of(book, since, until, as_at, known, asker=OWNER)
    margin = margin_of(book, since, until, as_at, known, asker=OWNER)
    assert labour_differences(book, labour, jobs) == []
    assert waterfall_differences(labour, jobs, jobs.jobs[:3]) == []
    assert margin_differences(margin, jobs) == []
    return jobs


def met(jobs: Jobs) -> Counter[str]:
    """Count what a book must have for the comparison to mean anything."""
    found: Counter[str] = Counter()
    closed = [job for job in jobs.jobs if job.closed]
    for job in closed:
        found["a come-back"] += job.is_back
        found["caused by another tier"] += job.is_back and jobs.cause(job) != job.tier
        found["unpaid minutes of it"] += job.is_back and job.minutes("come-back", "goodwill") > 0
        found["parts given away"] += job.is_back and job.given_away() > 0
        found["no tier"] += job.tier is None
        found["a tier's tasks told"] += len(job.quoted) > 2
        found["a tier's tasks untold"] += any(job.quoted[c] for c in jobs.terms.codes())
        found["found later"] += job.later_yes > 0
        found["a variance"] += jobs.variances(job, job.quoted_minutes, worked(job)) is not None
        found["minutes without wage"] += job.without_wage() > 0
        found["a part of no known cost"] += job.untold() > 0
        found["its own line charged"] += bool(job.tier_lines())
    found["open"] = sum(job.closed is None for job in jobs.jobs)
    found["held"] = len(jobs.holds)
    found["dearer"] = sum(row["later"] is not None for row in jobs.advice)
    return found


MET = {
    *("a come-back", "caused by another tier", "unpaid minutes of it", "parts given away"),
    *("no tier", "a tier's tasks told", "a tier's tasks untold", "found later", "a variance"),
    *("minutes without wage", "a part of no known cost", "its own line charged", "open"),
    *("held", "dearer"),
}


def hold_books(examples: int, folders: Any) -> Counter[str]:
    """Hold the answers equal on random books at random dates and seqs; give what was met."""
    found: Counter[str] = Counter()

    @settings(max_examples=examples, deadline=None, derandomize=True, database=None,
              phases=(Phase.generate,), suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(seed=st.integers(0, 2**32))
    def on_random_books(seed: int) -> None:
        chance = random.Random(seed)
        events = book_events(chance)
        book = kept(events, folders.mktemp("jobs"))
        whole = (LATE, len(events), date(2025, 1, 1), date(2026, 5, 31))
        found.update(met(hold(book, *whole)))
        known, days = chance.randrange(len(events) + 1), chance.randrange(400)
        since = date(2025, 1, 1) + timedelta(days=chance.randrange(150))
        as_at = datetime(2025, 6, 1, tzinfo=UTC) + timedelta(days=chance.randrange(300))
        hold(book, as_at, known, since, since + timedelta(days=days))

    on_random_books()
    return found


def test_random_books_give_what_loops_over_their_export_give(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Every figure of time and earning of random books is that of loops, to minute and cent."""
    found = hold_books(8, tmp_path_factory)
    assert {what for what in MET if not found[what]} == set()


@pytest.mark.slow
def test_many_random_books_give_what_loops_over_their_export_give(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """The same of many more books."""
    hold_books(times(60, usual=20), tmp_path_factory)

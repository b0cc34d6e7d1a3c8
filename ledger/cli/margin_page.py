"""What each tier earns for people: the finding first, the tiers under it, then what was asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli import margin_forms
from ledger.cli.labour_options import key_words
from ledger.cli.labour_page import say_front
from ledger.cli.labour_words import MoneyWords
from ledger.cli.output import say, say_table

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.cli.margin_forms import Asked
    from ledger.figures.margin import BookMargin
    from ledger.figures.margin_shapes import (
        BreakEven,
        Earning,
        JobMargin,
        MonthMargin,
        TierMargin,
        WhatIf,
        WhatIfRow,
    )

MORE = (
    "More: --months, --capacity, --held, --dearer, --jobs TIER; another price or other minutes: "
    "--what-if TIER:price=+5%,minutes=-10%; everything: --json, --xlsx."
)
NO_BREAK_EVEN = (
    "What an hour has to bring in is not known: set wages, the fixed cost and the sellable hours "
    "of a week with terms_set."
)
TITLE_OF_RATES = "What an hour earns, before fixed cost (80 %) and beside the break-even charge"


def say_margin(book: Book, found: BookMargin, asked: Asked) -> None:
    """Print what each tier earns: the finding, the tiers, and what else was asked for."""
    from ledger.cli import margin_bench

    words = MoneyWords(book.settings)
    say_front(words, found)
    if found.total.count_jobs or found.not_carried.fixed_cost_minor:
        _say_tiers(found, words)
    _say_rates(found, words)
    if asked.has("months"):
        _say_months(found, words)
    changed = margin_forms.what_if(found, asked)
    if changed is not None:
        _say_what_if(changed, words)
    if asked.has("capacity"):
        margin_bench.say_capacity(found.capacity, words, asked.limit)
    if asked.has("held"):
        margin_bench.say_held(found.held, words, asked.limit)
    if asked.has("dearer"):
        margin_bench.say_dearer(found.dearer, words, asked.limit)
    if asked.behind is not None:
        _say_jobs(found, asked, words)
    say(MORE)


# -- tiers ------------------------------------------------------------------------------------


def _say_tiers(found: BookMargin, words: MoneyWords) -> None:
    say_table(
        "What each tier earned, net of tax",
        ("tier", "!key", ">jobs", ">hours", ">charged", ">parts", ">wages", ">consumables",
         ">fixed cost", ">margin", ">margin %", ">of it caused"),
        [*(_tier(one, words) for one in found.tiers), *_whole(found, words)],
    )  # fmt: skip


def _tier(one: TierMargin, words: MoneyWords) -> tuple[str, ...]:
    return (one.label, key_words(one.tier), *_earned(one.earning, words))


def _earned(one: Earning, words: MoneyWords) -> tuple[str, ...]:
    return (
        words.whole(one.count_jobs),
        words.hours(one.bench_minutes),
        words.money(one.net_minor),
        words.money(one.parts_cost_minor),
        words.money(one.wages_minor),
        words.money(one.consumables_minor),
        words.money(one.fixed_minor),
        words.money(one.margin_minor),
        words.share(one.margin_share),
        words.money(-one.caused.minor) if one.caused.minor else "",
    )


def _whole(found: BookMargin, words: MoneyWords) -> list[tuple[str, ...]]:
    """Give the rows under the tiers: all of them, what no hour carried, and both together."""
    total, rest = found.total, found.not_carried
    over = rest.not_carried_minor
    blank = ("",) * 6
    return [
        ("all", "", *_earned(total, words)),
        ("not carried", "", *blank, words.money(over), words.money(-over), "", ""),
        ("the shop", "", *blank, words.money(total.fixed_minor + over),
         words.money(total.margin_minor - over), "", ""),
    ]  # fmt: skip


def _say_rates(found: BookMargin, words: MoneyWords) -> None:
    even = found.break_even
    say_table(
        TITLE_OF_RATES,
        ("tier", ">contribution an hour", ">earned an hour", ">break-even",
         ">lowest price", ">price in force", "in words"),
        [_rates(one, even, words) for one in found.tiers],
    )  # fmt: skip
    say(NO_BREAK_EVEN if even is None else _break_even(even, words))
    say()


def _rates(one: TierMargin, even: BreakEven | None, words: MoneyWords) -> tuple[str, ...]:
    lowest = one.lowest_price
    if one.is_too_few:
        return (one.label, "", "", "", "", "", one.verdict)
    return (
        one.label,
        words.estimate(one.contribution_per_hour),
        words.money(one.earning.earned_rate_minor),
        words.money(even.charge_minor) if even and one.earning.bench_minutes else "",
        words.money(lowest.price_minor) if lowest else "",
        words.money(lowest.price_in_force_minor) if lowest else "",
        one.verdict,
    )


def _break_even(even: BreakEven, words: MoneyWords) -> str:
    """Say what an hour has to bring in, and how that is made up."""
    wage = (
        "of the hours worked" if even.is_wage_of_stretches else "of the terms: no hour was worked"
    )
    paid = "" if even.is_paid_hours_told else ", taken to be those that can be sold"
    return (
        f"Break-even is {words.money(even.charge_minor)} for an hour that can be sold: "
        f"{words.figure(even.paid_hours)} paid hours a week{paid} at "
        f"{words.money(even.mean_wage_minor)} (the mean wage {wage}) and "
        f"{words.money(even.fixed_cost_week_minor)} fixed cost a week, over "
        f"{words.figure(even.sellable_hours)} hours, and {words.money(even.consumables_minor)} "
        "consumables an hour."
    )


# -- months, what if, jobs --------------------------------------------------------------------


def _say_months(found: BookMargin, words: MoneyWords) -> None:
    say_table(
        "By month of closing",
        ("month", ">jobs", ">hours", ">charged", ">parts", ">wages", ">consumables", ">fixed cost",
         ">margin", ">margin %", ">of it caused", ">contribution an hour"),
        [_month(one, words) for one in found.months],
    )  # fmt: skip


def _month(one: MonthMargin, words: MoneyWords) -> tuple[str, ...]:
    an_hour = words.money(one.earning.contribution_per_hour_minor)
    return (one.label, *_earned(one.earning, words), an_hour)


def _say_what_if(found: WhatIf, words: MoneyWords) -> None:
    say(found.line)
    for note in found.notes:
        say(f"- {note}")
    say()
    say_table(
        "What if",
        ("tier", ">price", ">minutes", ">margin", ">then", ">contribution an hour", ">then it is",
         ">earned an hour then"),
        [_changed(row, words) for row in found.rows],
    )  # fmt: skip


def _changed(row: WhatIfRow, words: MoneyWords) -> tuple[str, ...]:
    return (
        row.label,
        words.change(row.price_change),
        words.change(row.minutes_change),
        words.money(row.margin_minor),
        words.money(row.margin_after_minor),
        words.money(row.contribution_per_hour_minor),
        words.money(row.contribution_per_hour_after_minor),
        words.money(row.earned_rate_after_minor),
    )


def _say_jobs(found: BookMargin, asked: Asked, words: MoneyWords) -> None:
    some = margin_forms.jobs(found, asked)
    (tier,) = asked.behind or (None,)
    say_table(
        f"Jobs of {key_words(tier)}, the least margin first",
        ("!job", "!bike", "!closed", ">hours", ">charged", ">parts", ">wages", ">consumables",
         ">fixed cost", ">margin", "came back"),
        [_job(one, words) for one in some],
    )  # fmt: skip
    if asked.limit is not None and len(some) == asked.limit:
        say("--limit 0 lists every job.")
        say()


def _job(one: JobMargin, words: MoneyWords) -> tuple[str, ...]:
    caused = f"{words.money(one.caused_minor)} caused by {key_words(one.caused_tier)}"
    return (
        one.job,
        one.bike,
        words.day(one.closed_at),
        words.hours(one.bench_minutes),
        words.money(one.net_minor),
        words.money(one.parts_cost_minor),
        words.money(one.wages_minor),
        words.money(one.consumables_minor),
        words.money(one.fixed_minor),
        words.money(one.margin_minor),
        caused if one.is_come_back else "",
    )

"""One bike's faults as a timeline, whether it is getting worse, and what booking-in tells."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fault_books import (
    GULL,
    NOW,
    PADS,
    TERN,
    book_of,
    cured,
    event,
    found,
    registered,
    squeal_twice,
    visit,
    worked,
)

from ledger.asking import OWNER
from ledger.book import Book
from ledger.errors import UnknownBike
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_bike import bike_faults, booking_in
from ledger.figures.faults import faults_of
from ledger.vocabulary.caution import CAUTION


def test_a_bikes_faults_are_told_oldest_first_and_linked(tmp_path: Path) -> None:
    """The second squeal answers the first repair, 40 days later; the open chain answers nothing."""
    third = visit("2026-05-01", GULL, "j3", found("skipping", "chain"))
    history = bike_faults(
        book_of(tmp_path, registered(GULL), squeal_twice(), third), GULL, NOW, asker=OWNER
    )
    first, second, last = history.episodes
    assert [one.fault for one in history.episodes] == ["squeal", "squeal", "skipping"]
    assert (first.answers_seq, last.answers_seq) == (None, None)
    assert (second.answers_seq, second.is_come_back) == (first.found_seq, True)
    assert second.days_since_repair == pytest.approx(40, abs=0.01)
    assert (first.put_right_by, last.is_open, first.put_right_actor) == ("cleaned", True, "mia")
    assert second.story == (
        "rear brake pads, squeal: found Apr 10, 2026 (due), 40 days after it had been put right, "
        "a come-back (window 90 days or 1,000 km, whichever ends later); "
        "put right Apr 10, 2026 (cleaned)."
    )
    assert last.story == (
        "chain, skipping: found May 1, 2026 (due); carried over the end of 1 job; still open."
    )


def test_the_summary_counts_and_says_what_it_took(tmp_path: Path) -> None:
    """Found, put right, back and open, with the minutes; brakes bring the caution."""
    history = bike_faults(book_of(tmp_path, registered(GULL), squeal_twice()), GULL, asker=OWNER)
    assert history.summary == (
        "2 faults found, 2 put right, 1 came back, 0 open. "
        "What came back took 25 minutes nobody paid for."
    )
    assert history.cautions == (CAUTION,)
    assert history.observed_until is not None and history.observed_until.day == 10


def test_distance_between_repair_and_fault_is_told_where_it_is_known(tmp_path: Path) -> None:
    """300 km by the computer, read at both visits."""

    def km(day: str, figure: int) -> list[dict[str, object]]:
        shown = {"odometer": {"value": str(figure), "unit": "km"}}
        return [event(f"{day}T09:05", "distance_read", GULL, shown)]

    book = book_of(
        tmp_path, registered(GULL), squeal_twice(), km("2026-03-01", 1000), km("2026-04-10", 1300)
    )
    second = bike_faults(book, GULL, asker=OWNER).episodes[1]
    assert second.km_since_repair == pytest.approx(300, abs=2)
    assert "40 days and about 300 km after it had been put right" in second.story


def test_a_bike_without_faults_says_so(tmp_path: Path) -> None:
    """Nothing was ever found on it: no line, no caution."""
    history = bike_faults(book_of(tmp_path, registered(GULL)), GULL, asker=OWNER)
    assert (history.episodes, history.jobs, history.cautions) == ((), (), ())
    assert history.summary == "No fault was ever found on it."


def test_few_faults_are_too_few_to_call_worse(tmp_path: Path) -> None:
    """Two looks that found something tell no trend."""
    history = bike_faults(book_of(tmp_path, registered(GULL), squeal_twice()), GULL, asker=OWNER)
    assert history.getting_worse.startswith("Is it getting worse? Too few to judge")


def test_a_bike_that_fails_ever_faster_is_getting_worse(tmp_path: Path) -> None:
    """A dozen visits, each half as long after the one before: both tests say so."""
    end, visits = datetime(2026, 5, 20), []
    for place in range(13):
        day = (end - timedelta(days=1.7**place)).strftime("%Y-%m-%d")
        what = (
            found("squeal")
            if place < 12
            else ("inspected", {"position": PADS, "verdict": "within limit"})
        )
        visits.append(visit(day, GULL, f"j{place}", what))
    last = visit("2026-05-25", GULL, "last")
    there = [event("2024-01-01", "bike_registered", GULL, {})]
    history = bike_faults(book_of(tmp_path, there, *visits[::-1], last), GULL, asker=OWNER)
    assert "etting worse" in history.getting_worse


def test_one_bike_alone_is_what_the_whole_book_says_of_it(tmp_path: Path) -> None:
    """Counts, money and jobs of two bikes asked one by one add up to the book's."""
    book = book_of(tmp_path, registered(GULL, TERN), squeal_twice(), squeal_twice(TERN))
    whole, each = (
        faults_of(book, NOW, asker=OWNER),
        [bike_faults(book, tag, NOW, asker=OWNER) for tag in (GULL, TERN)],
    )
    assert whole.counts.count_come_back == sum(one.counts.count_come_back for one in each) == 2
    assert whole.unpaid == each[0].unpaid + each[1].unpaid
    assert sorted(job.job for job in whole.jobs) == sorted(
        job.job for one in each for job in one.jobs
    )


def test_joined_tags_are_one_bike_under_either_tag(tmp_path: Path) -> None:
    """Put right under one tag, found again under the other: it came back."""
    first = visit("2026-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    second = visit("2026-04-10", TERN, "j2", found("squeal"))
    ends = {"first": {"bike": GULL}, "second": {"bike": TERN}}
    link = [event("2026-04-11", "bike_linked", None, ends)]
    book = book_of(tmp_path, registered(GULL, TERN), first, second, link)
    for tag in (GULL, TERN):
        assert [one.is_come_back for one in bike_faults(book, tag, asker=OWNER).episodes] == [
            False,
            True,
        ]
        assert booking_in(book, tag).came_back[0].times == 1


def test_a_window_asked_for_holds_for_one_bike_too(tmp_path: Path) -> None:
    """40 days later is no come-back within 30 days."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    history = bike_faults(book, GULL, window=WindowAsked(30, 0), asker=OWNER)
    assert history.counts.count_come_back == 0
    assert "no come-back (window 30 days or 0 km" in history.episodes[1].story


def test_an_unknown_bike_is_refused(tmp_path: Path) -> None:
    """A tag that nobody registered."""
    book = book_of(tmp_path, registered(GULL))
    with pytest.raises(UnknownBike):
        bike_faults(book, "9ZZZZZZZ", asker=OWNER)
    with pytest.raises(UnknownBike):
        booking_in(book, "9ZZZZZZZ")


# -- links, and what somebody knows better -----------------------------------------------------


def judged(book: Book, job: str, **said: object) -> None:
    book.append([event("2026-05-01", "come_back_judged", GULL, said, job)], confirm_clock=True)


def test_a_link_tells_where_it_comes_from_and_how_to_say_otherwise(tmp_path: Path) -> None:
    """Matched by itself; the commands name bike and job."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    (job,) = bike_faults(book, GULL, asker=OWNER).jobs
    assert (job.job, job.answers, job.source) == (f"{GULL}-2", f"{GULL}-1", "matched")
    assert job.faults == ((PADS, "squeal"),)
    assert job.how_linked == (
        f"answers {GULL}-1, by itself: a fault it had put right was found again within its window"
    )
    start = f"lockring record come_back_judged --bike {GULL} --job {GULL}-2 --set is_come_back="
    assert job.say_otherwise == (f"{start}false", f"{start}true --set answers=JOB")


def test_judged_no_come_back_takes_it_out_of_all_figures(tmp_path: Path) -> None:
    """It stays listed, as judged, and costs nothing any more."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    judged(book, f"{GULL}-2", is_come_back=False)
    history = bike_faults(book, GULL, asker=OWNER)
    (job,) = history.jobs
    assert (job.is_come_back, job.source, job.faults) == (False, "judged", ())
    assert history.counts.count_come_back == 0
    assert history.unpaid.minutes == 0
    assert job.how_linked == "no come-back, as somebody judged it"


def test_judged_to_answer_a_job_counts_with_nothing_matched(tmp_path: Path) -> None:
    """A visit with no fault in common is a come-back because somebody says so."""
    first = visit("2026-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    second = visit("2026-04-10", GULL, "j2", worked(15))
    book = book_of(tmp_path, registered(GULL), first, second)
    judged(book, "j2", is_come_back=True, answers="j1")
    history = bike_faults(book, GULL, asker=OWNER)
    (job,) = history.jobs
    assert (job.answers, job.source, job.unpaid.minutes) == ("j1", "judged", 15)
    assert history.counts.count_come_back == 1


# -- booking in --------------------------------------------------------------------------------


def test_booking_in_tells_what_came_back_what_is_open_and_advice(tmp_path: Path) -> None:
    """A line each, what came back first."""
    advice = {"position": "cassette", "verdict": "watch", "urgency": "next service"}
    third = visit("2026-05-01", GULL, "j3", found("skipping", "chain"), ("advised", advice))
    told = booking_in(book_of(tmp_path, registered(GULL), squeal_twice(), third), GULL)
    assert told.lines == (
        "Came back before: rear brake pads, squeal: found again once after it was put right, "
        "within the window; last Apr 10, 2026, 40 days after the repair.",
        "Open fault: chain, skipping: open since May 1, 2026 (due), carried over the end of 1 job.",
        "Open advice: cassette: watch, advised May 1, 2026 for next service, no answer yet.",
    )
    assert (told.came_back[0].times, told.came_back[0].times_in_window) == (1, 1)


def test_what_was_found_again_after_its_window_is_not_called_a_come_back(tmp_path: Path) -> None:
    """A year later it is told all the same, as found again."""
    first = visit("2025-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    second = visit("2026-04-10", GULL, "j2", found("squeal"), cured("squeal"))
    (line,) = booking_in(book_of(tmp_path, registered(GULL), first, second), GULL).lines
    assert line.startswith("Found again before: rear brake pads, squeal: found again once")
    assert "within the window" not in line


def test_several_times_are_one_line(tmp_path: Path) -> None:
    """Three times the same fault: how often, how often within the window, and the last."""
    days = ("2025-01-01", "2026-01-01", "2026-02-01", "2026-03-01")
    visits = [
        visit(day, GULL, f"j{place}", found("squeal"), cured("squeal"))
        for place, day in enumerate(days)
    ]
    book = book_of(tmp_path, [event("2024-12-01", "bike_registered", GULL, {})], *visits)
    (line,) = booking_in(book, GULL).lines
    assert "found again 3 times after it was put right, 2 of them within the window" in line
    assert "last Mar 1, 2026, 28 days after the repair" in line


def test_a_bike_with_nothing_to_tell_says_nothing(tmp_path: Path) -> None:
    """No line, and none for what was put right and held."""
    first = visit("2026-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    assert booking_in(book_of(tmp_path, registered(GULL), first), GULL).lines == ()

"""Faults that come back as people read them: a sentence, a Pareto, the jobs, one bike's history."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.output import say, say_table
from ledger.figures.fault_words import MEASURES, FaultWords

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.cli.faults_forms import Asked
    from ledger.figures.fault_shapes import BikeFaults, ComeBackJob, FaultEpisode, Pareto
    from ledger.figures.faults import BookFaults

SAY_OTHERWISE = (
    "A link is wrong? lockring record come_back_judged --bike TAG --job JOB "
    "--set is_come_back=false; or, to name the job it answers, --set is_come_back=true "
    "--set answers=JOB."
)
MORE = "How sure this is: lockring faults --how-sure. One bike's faults: lockring faults TAG."
TITLES = {
    "fault": "fault",
    "position": "position",
    "system": "system",
    "model": "part",
    "tier": "tier",
}


def say_faults(found: BookFaults, told: Pareto, asked: Asked) -> None:
    """Print a book's faults: what came back, what that took, and what stands behind it."""
    words = found.words
    say(f"As at {words.day(found.as_at)}. {found.front}")
    for note in found.notes:
        say(f"- {note}")
    say()
    if not found.counts.count_found:
        say("Record what is found (inspected, diagnosed) and what puts it right (puts_right).")
        return
    _say_pareto(told, words, asked.limit)
    _say_jobs(found, asked.limit)
    if asked.how_sure:
        from ledger.cli.faults_behind import say_behind

        say_behind(found, asked)
    for caution in found.cautions:
        say(caution)
    if not asked.how_sure:
        say(MORE)


def _say_pareto(told: Pareto, words: FaultWords, limit: int | None) -> None:
    """Print the rows of which something came back; the others are counted."""
    back = [row for row in told.rows if row.counts.count_come_back]
    shown = back[:limit]
    say_table(
        f"What came back, by {TITLES[told.by]}, most {MEASURES[told.measure]} first",
        (TITLES[told.by], ">found", ">put right", ">came back", ">minutes", ">cost", ">share",
         ">so far", "repairs that came back"),
        (
            (
                row.label,
                words.figure(row.counts.count_found),
                words.figure(row.counts.count_put_right),
                words.figure(row.counts.count_come_back),
                words.figure(row.unpaid.minutes),
                words.cost(row.unpaid),
                f"{100 * row.share:.0f} %",
                f"{100 * row.cumulative_share:.0f} %",
                row.verdict,
            )
            for row in shown
        ),
    )  # fmt: skip
    left, none = len(back) - len(shown), len(told.rows) - len(back)
    if left:
        say(f"Not listed: {words.figure(left)} more. --limit 0 lists everything.")
    if none:
        say(f"Of {words.figure(none)} more, found but never come back, --json tells.")
    if left or none:
        say()


def _say_jobs(found: BookFaults, limit: int | None) -> None:
    words, shown = found.words, found.newest_jobs(limit)
    say_table(
        "Jobs that came back, the newest first",
        ("!job", "!bike", "!opened", "!answers", "linked", "what came back", ">minutes", ">cost"),
        [_job_row(job, words) for job in shown],
    )
    left = found.count_linked - len(shown)
    if left:
        say(f"Not listed: {words.figure(left)} more. --limit 0 lists everything.")
    if shown:
        say(SAY_OTHERWISE)
        say()


def _job_row(job: ComeBackJob, words: FaultWords) -> tuple[str, ...]:
    what = ", ".join(f"{words.place(place)} {words.fault(fault)}" for place, fault in job.faults)
    return (
        job.job,
        job.bike,
        words.day(job.opened_at) if job.opened_at else "",
        (job.answers or "") if job.is_come_back else "nothing",
        job.source,
        what or "no fault found again",
        words.figure(job.unpaid.minutes),
        words.cost(job.unpaid),
    )


# -- one bike ---------------------------------------------------------------------------------


def say_bike(book: Book, found: BikeFaults, *, for_owner: bool) -> None:
    """Print one bike's faults, oldest first, and what followed what."""
    words = FaultWords(book.settings, book.vocabulary)
    say(f"Bike {found.bike} as at {words.day(found.as_at)}. {found.summary}")
    if found.episodes:
        say(found.getting_worse)
    say()
    for one in found.episodes:
        say(f"- {one.story}{_by_whom(one, for_owner=for_owner)}")
    if found.episodes:
        say()
    for job in found.jobs:
        say(f"Job {job.job}, {words.day(job.opened_at) if job.opened_at else 'not opened'}: "
            f"{job.how_linked}; {words.took(job.unpaid)}.")  # fmt: skip
        say(f"  To say otherwise: {'; or '.join(job.say_otherwise)}")
    for caution in found.cautions:
        say(caution)


def _by_whom(one: FaultEpisode, *, for_owner: bool) -> str:
    if not for_owner or one.put_right_actor is None:
        return ""
    return f" By {one.put_right_actor}."

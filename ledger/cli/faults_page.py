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
    say(f"{_when(words.day(found.as_at), found.tables.known_seq, asked)}. {found.front}")
    for note in found.notes:
        say(f"- {note}")
    say()
    if not found.counts.count_found:
        say("Record what is found (inspected, diagnosed) and what puts it right (puts_right).")
        return
    _say_pareto(told, words, asked.limit)
    _say_jobs(found, asked.limit)
    _say_behind(found, asked)
    for caution in found.cautions:
        say(caution)
    if not asked.how_sure:
        say(MORE)


def _when(day: str, known_seq: int, asked: Asked) -> str:
    """Say as at when, and, where that was asked, as known to which event."""
    return f"As at {day}, as known to event {known_seq}" if asked.is_as_known else f"As at {day}"


def _say_behind(found: BookFaults, asked: Asked) -> None:
    """Print what stands behind the front, as far as it is asked for."""
    from ledger.cli.faults_behind import say_behind, say_mechanics

    if asked.how_sure:
        say_behind(found, asked)
    elif asked.for_owner:
        say_mechanics(found)


def _say_pareto(told: Pareto, words: FaultWords, limit: int | None) -> None:
    """Print the rows of which something came back; the others are counted."""
    back = [row for row in told.rows if row.counts.count_come_back]
    shown = back[:limit]
    say_table(
        f"What came back, by {TITLES[told.by]}, most {MEASURES[told.measure]} first",
        (TITLES[told.by], ">found", ">put right", ">did not hold", ">come-backs", ">minutes",
         ">cost", ">share", ">so far", "repairs that came back"),
        (
            (
                row.label,
                words.figure(row.counts.count_found),
                words.figure(row.counts.count_put_right),
                words.figure(row.counts.count_did_not_hold),
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
    counted_at = words.counted_at(told.by)
    if counted_at:
        say(counted_at)
    if left or none or counted_at:
        say()


def _say_jobs(found: BookFaults, limit: int | None) -> None:
    words, shown = found.words, found.newest_jobs(limit)
    others = "" if all(job.is_come_back for job in shown) else ", or were judged not to"
    say_table(
        f"Jobs that came back{others}, the newest first",
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
        what or job.remark,
        words.figure(job.unpaid.minutes),
        words.cost(job.unpaid),
    )


# -- one bike ---------------------------------------------------------------------------------


def say_bike(book: Book, found: BikeFaults, asked: Asked) -> None:
    """Print one bike's faults, oldest first, and what followed what."""
    words = FaultWords(book.settings, book.vocabulary)
    when = _when(words.day(found.as_at), found.as_known, asked)
    say(f"Bike {found.bike} {when[:1].lower()}{when[1:]}. {found.summary}")
    if found.episodes:
        say(found.getting_worse)
    say()
    for one in found.episodes:
        say(f"- {one.story}{_by_whom(one, for_owner=asked.for_owner)}")
    if found.episodes:
        say()
    for job in found.jobs:
        say(f"Job {job.job}, {words.day(job.opened_at) if job.opened_at else 'not opened'}: "
            f"{job.how_linked}; {_took(job, words)}.")  # fmt: skip
        say(f"  To say otherwise: {'; or '.join(job.say_otherwise)}")
    for caution in found.cautions:
        say(caution)


def _took(job: ComeBackJob, words: FaultWords) -> str:
    """Give what a job took; of one judged no come-back what was found again in it."""
    if not job.is_come_back:
        return job.remark.partition(": ")[2]
    return words.took(job.unpaid)


def _by_whom(one: FaultEpisode, *, for_owner: bool) -> str:
    if not for_owner or one.put_right_actor is None:
        return ""
    return f" By {one.put_right_actor}."

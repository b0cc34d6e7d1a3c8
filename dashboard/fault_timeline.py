"""One bike's faults as HTML: each from found to put right, the newest first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from dashboard import fault_panels as panels
from dashboard import markup
from dashboard.fault_address import Asked
from dashboard.fault_lanes import lane_of, state_of
from dashboard.fault_panels import kept
from dashboard.markup import capital, text
from ledger.figures.fault_bike import found_again
from ledger.figures.fault_shapes import BikeFaults, CameBack, ComeBackJob, FaultEpisode
from ledger.figures.fault_words import FaultWords

AGAIN = {"came back": ("due", "came back"), "found again, later": ("watch", "found again")}
"""The shape and the word of a fault that was found again."""
LEGEND = (
    '<p class="lk-legend"><span><i class="lk-faultmark"></i>from found to put right</span>'
    '<span><i class="lk-heldmark"></i>how long a repair held</span>'
    f"<span>{markup.marked('due', 'came back')}</span>"
    f"<span>{markup.marked('watch', 'found again after its window')}</span></p>"
)


def title(found: BikeFaults) -> str:
    """Give what a bike's history of faults says."""
    counts = found.counts
    if not counts.count_found:
        return "No fault on record"
    back = Counter(lane_of(one) for one in found.episodes if one.is_come_back)
    if not back:
        return "Nothing that was put right is known to have come back"
    (most, count), *others = back.most_common()
    times = "once" if count == 1 else f"{count} times"
    said = f"{most} came back {times} after it was put right"
    return f"{said}; so did {len(others)} more" if others else said


def stories(found: BikeFaults) -> str:
    """Give each fault in a line, the newest first, come-backs and what is open marked."""
    items = "".join(_story(one) for one in reversed(found.episodes))
    return f'<ul class="lk-matters lk-stories">{items}</ul>' if items else ""


def _story(one: FaultEpisode) -> str:
    what, _, rest = one.story.partition(": ")
    return (
        f'<li>{_mark(one)}<span class="lk-what">{text(capital(what))}</span>'
        f'<span class="lk-why">{text(capital(rest))}</span></li>'
    )


def _mark(one: FaultEpisode) -> str:
    """Give an episode's shape and words: that it was found again, or else what became of it."""
    if state_of(one) in AGAIN:
        kind, word = AGAIN[state_of(one)]
        return markup.marked(kind, word, *(["open"] if one.is_open else []))
    if one.is_open:
        return markup.marked("open", "open")
    gone = one.put_right_at is None
    return markup.marked("not checked", "gone") if gone else markup.marked("within", "put right")


def summary(found: BikeFaults) -> str:
    """Give a bike's faults in a sentence, and whether it is getting worse."""
    worse = f'<p class="lk-note">{text(found.getting_worse)}</p>' if found.episodes else ""
    return f'<p class="lk-note">{text(found.summary)}</p>{worse}'


def linked(jobs: Sequence[ComeBackJob], asked: Asked, words: FaultWords) -> str:
    """Give the jobs of a bike that answer earlier ones, and how to say otherwise."""
    if not jobs:
        return ""
    return markup.section("Its jobs that came back", panels.jobs(jobs, asked, words))


# -- at booking-in, on the bike's own page ----------------------------------------------------


def at_booking_in(found: BikeFaults, words: FaultWords, where: str) -> str:
    """Give what came back on a bike before, and whether it is getting worse; nothing for none.

    What is open on it, faults and advice, stands with the answer already.
    """
    if not found.episodes:
        return ""
    again = found_again(found.episodes, words)
    items = "".join(f"<li>{text(_came_back(one))}</li>" for one in again)
    nothing = "<p>Nothing put right on it is known to have come back.</p>"
    listed = f'<ul class="lk-conditions">{items}</ul>' if again else nothing
    link = f'<a href="{text(where)}" target="_self">Its faults, one by one</a>'
    return (
        '<section class="lk-bench" aria-label="What came back before">'
        f"{listed}<p>{text(kept(found.getting_worse))}</p>"
        f'<p class="lk-onward">{link}</p></section>'
    )


def _came_back(one: CameBack) -> str:
    said = "Came back" if one.times_in_window else "Found again"
    return f"{said} before: {one.line}"

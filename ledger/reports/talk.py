"""What was said between workshop and keeper: advice, answers, prices, handing back."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from ledger import money
from ledger.queries import TimelineEntry
from ledger.reports.shapes import Advice, HandedBack
from ledger.reports.words import Data, PageWords, capital
from ledger.reports.work import gravity

ANSWERS = {
    "yes": "yes",
    "no": "no",
    "later": "later",
    "no reply": "no reply, which is not a yes",
    None: "not answered, which is not a yes",
}


OTHER = "other"
"""A task that says nothing of what was done."""


@dataclass
class _Quotes:
    """The quotes of one visit that still stand, and the last answer to each line."""

    lines: dict[str, tuple[str, Data]] = field(default_factory=dict)
    """Line -> quote and the line."""
    answers: dict[tuple[str, str], str] = field(default_factory=dict)
    """By quote and line: a yes to a version that was replaced is a yes to nothing."""
    currency: str | None = None

    @classmethod
    def of(cls, visit: Iterable[TimelineEntry]) -> _Quotes:
        found = cls()
        for entry in visit:
            if entry.kind == "quote_given":
                found._given(entry.data)
            elif entry.kind == "quote_answered":
                found._answered(entry.data)
        return found

    def _given(self, data: Data) -> None:
        gone = data.get("replaces")
        kept = {line: told for line, told in self.lines.items() if told[0] != gone}
        self.lines = kept | {line["line"]: (data["quote"], line) for line in data["lines"]}
        self.currency = data["currency"]

    def _answered(self, data: Data) -> None:
        self.answers |= {(data["quote"], one["line"]): one["answer"] for one in data["answers"]}

    def answered(self, *answers: str | None) -> Iterator[tuple[Data, str | None]]:
        """Give the standing lines that were answered so; None: not at all."""
        for line, (quote, data) in self.lines.items():
            answer = self.answers.get((quote, line))
            if answer in answers:
                yield data, answer


def advice(
    visit: Sequence[TimelineEntry], life: Iterable[TimelineEntry], words: PageWords
) -> tuple[Advice, ...]:
    """Give what was advised and what was offered without a yes, the gravest first.

    An answer counts whenever it came; no reply is not a yes.
    """
    answers = {
        entry.data["advice"]: entry.data["answer"]
        for entry in life
        if entry.kind == "advice_answered"
    }
    rows = [
        Advice(
            what=capital(words.place(entry.data)),
            said=words.said(entry.data["urgency"], words.text(entry.data, "advice")),
            answer=ANSWERS[answers.get(entry.id)],
            verdict=entry.data["verdict"],
        )
        for entry in visit
        if entry.kind == "advised"
    ]
    rows.sort(key=lambda row: gravity(row.verdict))
    return (*rows, *_offered(visit, words))


def _offered(visit: Iterable[TimelineEntry], words: PageWords) -> Iterator[Advice]:
    for line, answer in _Quotes.of(visit).answered("no", "later", "no reply", None):
        what, of = line_words(line, words), line.get("position")
        place = words.label("positions", of)
        said = "quoted, not done without a yes"
        yield Advice(capital(place or what), words.said(what if place else "", said),
                     ANSWERS[answer], "")  # fmt: skip


def line_words(line: Data, words: PageWords) -> str:
    """Give what a line of a quote or a bill is for."""
    code = line["code"]
    if line["line_type"] != "labour":
        return str(code)
    lists = ("tiers", "tasks")
    named = next((name for name in lists if code in getattr(words.vocabulary, name)), "tasks")
    return words.label(named, code)


# -- prices --------------------------------------------------------------------------------------


def price(visit: Sequence[TimelineEntry], payers: Collection[str], words: PageWords) -> str:
    """Give the one sum that was told: charged, else agreed to; nothing where none was.

    Only lines of these payers, or of nobody in particular, are summed.
    """
    closed = next((entry.data for entry in visit if entry.kind == "job_closed"), None)
    quotes = _Quotes.of(visit)
    if closed is not None and closed.get("lines"):
        return _sum("Charged", closed["lines"], closed.get("currency"), payers, words)
    agreed = [line for line, _ in quotes.answered("yes")]
    if closed is None and agreed:
        return _sum("Agreed so far", agreed, quotes.currency, payers, words)
    return ""


def _sum(
    name: str, lines: Sequence[Data], currency: str | None, payers: Collection[str],
    words: PageWords,
) -> str:  # fmt: skip
    own = [line for line in lines if line.get("payer") is None or line["payer"] in payers]
    total = sum(line["net_minor"] + _tax(line) for line in own)
    code, locale = currency or words.settings.currency, words.settings.locale
    said = f"{name}: {money.written(total, code, locale)} with tax"
    return said if len(own) == len(lines) else f"{said}; other payers' lines are not in it"


def _tax(line: Data) -> int:
    told = line.get("tax_minor")
    return money.tax_minor(line["net_minor"], line["tax_rate"]) if told is None else int(told)


def unbilled(visit: Iterable[TimelineEntry], words: PageWords) -> tuple[str, ...]:
    """Give what was done without charge, each once."""
    rows: dict[str, None] = {}
    for entry in visit:
        if entry.kind == "goodwill_given":
            rows |= {_goodwill(entry.data, words): None}
        elif entry.kind == "job_closed":
            lines = [line for line in entry.data.get("lines", ()) if line.get("is_goodwill")]
            rows |= {_given_line(line, words): None for line in lines}
    return tuple(rows)


def _goodwill(data: Data, words: PageWords) -> str:
    task, note = data.get("task"), words.text(data, "note").rstrip(".")
    what = (
        words.label("tasks", task) if task != OTHER or not note else "",
        words.label("positions", data.get("position")),
        note,
    )
    return ", ".join(part for part in what if part) or "work or parts"


def _given_line(line: Data, words: PageWords) -> str:
    place = words.label("positions", line.get("position"))
    return ", ".join(part for part in (line_words(line, words), place) if part)


# -- handing back --------------------------------------------------------------------------------


def handed_back(visit: Iterable[TimelineEntry], words: PageWords) -> HandedBack | None:
    """Give how the bike was released, the last time it was in the visit; None where it was not."""
    last = next((e for e in reversed([*visit]) if e.kind == "released"), None)
    if last is None:
        return None
    data = last.data
    why = words.text(data, "why_not_ridden")
    return HandedBack(
        day=words.day(last.occurred_at),
        ride="test ridden" if data["is_test_ridden"] else f"not test ridden, {why}",
        rechecked=words.positions(data.get("rechecked", ())),
        warnings=tuple(
            f"{words.label('positions', one['position'])}: {words.text(one, 'warning')}"
            for one in data.get("warnings", ())
        ),
    )


def not_torqued(visit: Iterable[TimelineEntry], words: PageWords) -> tuple[str, ...]:
    """Give what was disturbed and not torqued by the time the visit ended."""
    closed = (entry.data for entry in visit if entry.kind == "job_closed")
    return tuple(
        words.label("positions", code) for data in closed for code in data.get("disturbed", ())
    )

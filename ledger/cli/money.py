"""The stages of a walk that are about money: the quote, its answer, and the bill."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ledger import quotes
from ledger.bench import walk
from ledger.bench.walk import Step
from ledger.bench.walked import short_code
from ledger.cli.output import say
from ledger.cli.prompts import Back, Skip, Undo, read_line
from ledger.cli.quote_lines import usual_tax
from ledger.cli.service import Service
from ledger.errors import Refused
from ledger.money import words
from ledger.quotes import QuotedLine

if TYPE_CHECKING:
    from ledger.events.job import Line

Charge = dict[str, Any]


def quote(service: Service, step: Step, is_forward: bool) -> bool:
    """Ask for lines until one is empty, then record them as one quote."""
    say("  Lines of the quote, one after another; Enter alone ends them.")
    code = short_code("Q")
    lines = _lines(service, code)
    if not lines:
        say("  Left out.")
        return True
    total = sum(line["net_minor"] for line in lines)
    say(f"  {len(lines)} line{'s' * (len(lines) > 1)}, {money(service, total)} before tax.")
    currency = service.book.settings.currency
    service.save_form(
        step.asks,
        lambda data: [
            service.draft(step.kind, {"quote": code, "currency": currency, "lines": lines, **data})
        ],
        defaults={},
    )
    return True


def _lines(service: Service, code: str) -> list[Charge]:
    defaults = {"tax_rate": _usual_tax(service)}
    lines: list[Charge] = []
    while True:
        try:
            read, typed = service.asker.form(walk.LINE, defaults)
        except Skip:
            return lines
        defaults = {"tax_rate": typed.get("tax_rate", "")}
        lines.append({"line": f"{code}.{len(lines) + 1}", **read})


def _usual_tax(service: Service) -> str:
    rate = usual_tax(service.book)
    return f"{Decimal(rate) * 100:f}".rstrip("0").rstrip(".") + " %" if rate else ""


def money(service: Service, minor: int) -> str:
    """Give an amount of money as the book's people write it."""
    return words(minor, service.book.settings)


def line_words(service: Service, line: Line) -> str:
    """Give one line of a quote or bill in a few words."""
    task = service.book.vocabulary.tasks.get(line.code) if line.line_type == "labour" else None
    where = f", {service.position(line.position)}" if line.position else ""
    return f"{task.label if task else line.code}{where}: {money(service, line.net_minor)}"


def _quoted(service: Service) -> list[QuotedLine]:
    """Give every line of this job's standing quotes, with the last answer."""
    return quotes.standing_lines(quotes.of_events(service.of_job(), service.job))


def answer(service: Service, step: Step, is_forward: bool) -> bool:
    """Ask for the rider's answer to every line that has none, saving each at once."""
    lines = _quoted(service)

    def one(quoted: QuotedLine, is_forward: bool) -> bool:
        before = quoted.answer
        if is_forward and before in ("yes", "no"):
            return False
        say(f"  {line_words(service, quoted.line)}" + (f" (so far: {before})" if before else ""))
        _answer_line(service, step, quoted)
        return True

    return service.go_through(lines, one, 0 if is_forward else max(len(lines) - 1, 0))


def _answer_line(service: Service, step: Step, quoted: QuotedLine) -> None:
    def draft(data: dict[str, Any]) -> list[dict[str, Any]]:
        answered = [{"line": quoted.line.line, "answer": data["answer"]}]
        service.how = data["how"]
        told = {"quote": quoted.quote, "answers": answered, "how": data["how"]}
        return [service.draft(step.kind, told)]

    try:
        service.save_form(step.asks, draft, defaults={"how": service.how})
    except Skip:
        say("  No answer yet.")


def close(service: Service, step: Step, is_forward: bool) -> bool:
    """Charge what was agreed, quote what comes on top or give it away, and end the job."""
    say("  Charged: every line answered with yes.")
    agreed = [quoted for quoted in _quoted(service) if quoted.is_agreed]
    for quoted in agreed:
        say(f"    {line_words(service, quoted.line)}")
    further, given = _further(service)
    lines = [_charged(service, quoted) for quoted in [*agreed, *further]] + given
    if read_line("Close the job (yes, no)").casefold() not in ("y", "yes"):
        say("  The job stays open.")
        return True
    currency = {"currency": service.book.settings.currency} if lines else {}
    service.save_form(
        step.asks,
        lambda data: [service.draft(step.kind, {"lines": lines, **currency, **data})],
        defaults={},
    )
    service.is_closed = True
    return True


def _further(service: Service) -> tuple[list[QuotedLine], list[Charge]]:
    """Ask for work nobody was asked about: quoted now and agreed, or goodwill at nil."""
    say("  Further lines, one after another; Enter alone ends them.")
    code = short_code("Q")
    lines = _lines(service, code)
    if not lines:
        return [], []
    say("  Nobody was asked about these. Without a yes they are goodwill, at nil.")
    if read_line("Did the keeper say yes to them (yes, no)").casefold() not in ("y", "yes"):
        return [], [_given_away(line) for line in lines]
    if not _quote_and_yes(service, code, lines):
        return [], []
    return [quoted for quoted in _quoted(service) if quoted.quote == code], []


def _given_away(line: Charge) -> Charge:
    return {**line, "net_minor": 0, "is_goodwill": True}


def _quote_and_yes(service: Service, code: str, lines: Sequence[Charge]) -> bool:
    """Record the quote and the yes together, asking how the yes came; says whether it was done."""
    currency = service.book.settings.currency
    told = {"quote": code, "form": "fixed", "currency": currency, "lines": list(lines)}
    said = [{"line": line["line"], "answer": "yes"} for line in lines]

    def drafts(data: dict[str, Any]) -> list[dict[str, Any]]:
        answered = {"quote": code, "answers": said, "how": data["how"]}
        return [
            service.draft("quote_given", {**told, "is_found_later": True}),
            service.draft("quote_answered", answered),
        ]

    how = tuple(ask for ask in walk.ANSWER.asks if ask.field == "how")
    try:
        service.save_form(how, drafts, defaults={"how": service.how})
    except (Skip, Back, Undo, Refused):
        say("  Left out.")
        return False
    return True


def _charged(service: Service, quoted: QuotedLine) -> Charge:
    """Give the line that charges an agreed one; of a price `up to`, ask what it came to."""
    most = quoted.line.net_minor
    if quoted.form != "up to" or quoted.line.line_type != "labour" or most <= 0:
        return quotes.charged(quoted)
    ask = walk.Ask("net_minor", f"{line_words(service, quoted.line)} at most; came to", "money")
    while True:
        read, _ = service.asker.form((ask,), {})
        if read.get("net_minor", most) <= most:
            return quotes.charged(quoted, read.get("net_minor"))
        say(f"  At most {money(service, most)} was agreed; for more, ask the keeper first.")

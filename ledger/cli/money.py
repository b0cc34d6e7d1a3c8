"""The stages of a walk that are about money: the quote, its answer, and the bill."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ledger.cli import walk
from ledger.cli.output import say
from ledger.cli.prompts import Skip
from ledger.cli.service import Service, short_code
from ledger.cli.walk import Step
from ledger.money import words

if TYPE_CHECKING:
    from ledger.events.job import Line


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


def _lines(service: Service, code: str) -> list[dict[str, Any]]:
    defaults = {"tax_rate": _usual_tax(service)}
    lines: list[dict[str, Any]] = []
    while True:
        try:
            read, typed = service.asker.form(walk.LINE, defaults)
        except Skip:
            return lines
        defaults = {"tax_rate": typed.get("tax_rate", "")}
        lines.append({"line": f"{code}.{len(lines) + 1}", **read})


def _usual_tax(service: Service) -> str:
    rates = [e.data.tax_rate for e in service.book.book_events() if e.kind == "terms_set"]
    known = [rate for rate in rates if rate is not None]
    return f"{Decimal(known[-1]) * 100:f}".rstrip("0").rstrip(".") + " %" if known else ""


def money(service: Service, minor: int) -> str:
    """Give an amount of money as the book's people write it."""
    return words(minor, service.book.settings)


def line_words(service: Service, line: Line) -> str:
    """Give one line of a quote or bill in a few words."""
    task = service.book.vocabulary.tasks.get(line.code) if line.line_type == "labour" else None
    where = f", {service.position(line.position)}" if line.position else ""
    return f"{task.label if task else line.code}{where}: {money(service, line.net_minor)}"


def _lines_answered(service: Service) -> list[tuple[str, Line, str | None]]:
    """Give (quote, line, last answer) of every line quoted in this job."""
    events = service.of_job()
    answers = {
        (event.data.quote, answer.line): answer.answer
        for event in events
        if event.kind == "quote_answered"
        for answer in event.data.answers
    }
    return [
        (event.data.quote, line, answers.get((event.data.quote, line.line)))
        for event in events
        if event.kind == "quote_given"
        for line in event.data.lines
    ]


def answer(service: Service, step: Step, is_forward: bool) -> bool:
    """Ask for the rider's answer to every line that has none, saving each at once."""
    lines = _lines_answered(service)

    def one(quoted: tuple[str, Line, str | None], is_forward: bool) -> bool:
        code, line, before = quoted
        if is_forward and before in ("yes", "no"):
            return False
        say(f"  {line_words(service, line)}" + (f" (so far: {before})" if before else ""))
        _answer_line(service, step, code, line.line)
        return True

    return service.go_through(lines, one, 0 if is_forward else max(len(lines) - 1, 0))


def _answer_line(service: Service, step: Step, code: str, line: str) -> None:
    def draft(data: dict[str, Any]) -> list[dict[str, Any]]:
        answered = [{"line": line, "answer": data["answer"]}]
        service.how = data["how"]
        return [service.draft(step.kind, {"quote": code, "answers": answered, "how": data["how"]})]

    try:
        service.save_form(step.asks, draft, defaults={"how": service.how})
    except Skip:
        say("  No answer yet.")


def close(service: Service, step: Step, is_forward: bool) -> bool:
    """Charge what was agreed and what came on top, and end the job."""
    from ledger.cli.prompts import read_line

    say("  Charged: every line answered with yes.")
    lines = [
        {**line.model_dump(mode="json", exclude_none=True, exclude={"description"}),
         "quote_line": line.line}
        for _, line, said in _lines_answered(service)
        if said == "yes"
    ]  # fmt: skip
    for _, line, said in _lines_answered(service):
        if said == "yes":
            say(f"    {line_words(service, line)}")
    say("  Further lines, one after another; Enter alone ends them.")
    lines += _lines(service, short_code("C"))
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

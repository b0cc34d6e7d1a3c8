"""The relation of what was charged when jobs were closed."""

from __future__ import annotations

from lives import event_id, literal
from shelf import rows_of

LINE = {"line": "1", "line_type": "part", "code": "chain 11", "net_minor": 3200}
OPENED = (0, "job_opened", {})
CLOSED = (2, "job_closed", {"currency": "EUR", "lines": [{**LINE, "position": "chain"}]})


def test_a_closed_job_has_its_lines() -> None:
    """The typed lines are those of the closing, with what the columns name."""
    (row,) = rows_of("job_bills", literal(OPENED, CLOSED))
    assert row["currency"] == "EUR"
    assert [(line["code"], line["position"], line["net"]) for line in row["lines"]] == [
        ("chain 11", "chain", 3200)
    ]


def test_a_struck_closing_is_no_bill() -> None:
    """What was struck was not charged."""
    strike = (3, "event_struck", {"target": event_id(2), "reason": "other bike"})
    assert rows_of("job_bills", literal(OPENED, CLOSED, strike)) == []

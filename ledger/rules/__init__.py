"""What may be recorded: named pure functions from (state, event, facts) to problems.

Everything wrong with a commit is found at once; one refused event keeps all of it out. The
rules with what each refuses or warns of stand in DEVELOPERS.md under "Rules".
"""

from ledger.rules.check import RULES, check_after, check_book, check_event, check_timeline
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, Rule, name_event

__all__ = [
    "RULES",
    "BookFacts",
    "Finding",
    "Rule",
    "check_after",
    "check_book",
    "check_event",
    "check_timeline",
    "name_event",
]

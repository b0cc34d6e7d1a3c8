"""How the analysis says that figures cannot be fitted, and what would be right."""

from __future__ import annotations

from ledger.errors import LedgerError


class CannotFit(LedgerError):
    """Figures that no model can be fitted to: where they stand, what is wrong, what is right."""

    def __init__(self, where: str, field: str, wrong: str, right: str) -> None:
        self.where = where
        self.field = field
        self.wrong = wrong
        self.right = right
        super().__init__(f"{where}: {field}: {wrong}. {right}")

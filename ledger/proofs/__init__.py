"""Proofs about a book: receipts that anybody can check without it, and the check of it all."""

from ledger.proofs.check import check
from ledger.proofs.documents import Receipt, ReceiptOfEvent, ReceiptOfGrowth
from ledger.proofs.make import Receipts, signed_root

__all__ = ["Receipt", "ReceiptOfEvent", "ReceiptOfGrowth", "Receipts", "check", "signed_root"]

"""The figures of a book: read through its relations, worked out by `ledger.analysis`."""

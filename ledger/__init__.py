"""Lockring: the service-history ledger of a bicycle workshop."""

"""Backups of a book, kept in a folder or on an object store, and what is made of them again."""

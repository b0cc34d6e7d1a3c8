"""Figures from plain arrays: wear, lives, chains. Nothing here knows a book, SQL or plots."""

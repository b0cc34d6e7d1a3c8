"""The pages over a book."""

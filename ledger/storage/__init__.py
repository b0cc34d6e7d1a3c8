"""The book on disk: Parquet files, the commit protocol and the Merkle tree over the events."""

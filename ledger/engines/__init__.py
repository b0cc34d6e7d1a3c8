"""What runs the relations: DuckDB over a book's Parquet files."""

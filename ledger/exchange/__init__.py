"""How facts come in and go out: CloudEvents lines, spreadsheets, CSV and Parquet."""

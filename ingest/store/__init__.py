"""One door to DuckDB."""

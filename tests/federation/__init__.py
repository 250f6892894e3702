"""The lake and its roll-up, on DuckDB and on Spark."""

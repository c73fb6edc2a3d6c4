"""Recordings as scan tools and loggers export them: text tables, Parquet, MDF 4."""

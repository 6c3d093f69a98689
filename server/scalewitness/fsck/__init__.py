"""Checking every store against the log's entries: log, rows, standings."""

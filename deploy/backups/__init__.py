"""Backups with point-in-time recovery, for Debian's PostgreSQL and pgBackRest.

Uses the standard library alone and `psql`, so that a database's host needs nothing else of the
project. `deploy/BACKUPS.md` says what to do with it.
"""

"""Mutation testing of the rules: ``./deploy/mutants``; see `tests/MUTANTS.md`.

Mutants are made by Cosmic Ray. Each runs in a process of its own, forked from one that has
collected the tests already, with the one changed function in place of the right one: no file
is touched, and starting costs nothing.
"""

NOT_A_VERDICT = ("OperationalError", "ConnectionError: Error", "AdminShutdown")
"""A test that fails so found no server: the harness broke."""

"""What runs in the process that reads a stranger's file; it knows no settings and no database."""

import os
import resource
import sys
from typing import Final

import msgspec

from scalewitness.domain.tables.files import read_table
from scalewitness.domain.tables.sheets import Unreadable

MOST_MEMORY: Final = 600_000_000
"""Bytes of address space; the largest list that is taken needs a third (our judgement)."""
MOST_SECONDS: Final = 15
LARGEST_TABLE: Final = 24_000_000
"""Bytes of what comes out, which every look at the list holds several times over: 10,000 lines of
forty cells are half of that (our judgement). A small file may unpack to very much."""
UNREADABLE: Final = 3
"""The exit status where the output says why the file is no list."""


def main() -> None:
    """A file on the standard input becomes a table on the output."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    os.nice(5)
    try:
        table = msgspec.json.encode(read_table(sys.stdin.buffer.read()))
        if len(table) > LARGEST_TABLE:
            raise Unreadable("It holds too much to be looked through at once. Split it.")
    except Unreadable as fault:
        sys.stdout.write(str(fault))
        sys.exit(UNREADABLE)
    sys.stdout.buffer.write(table)

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
UNREADABLE: Final = 3
"""The exit status where the output says why the file is no list."""


def main() -> None:
    """A file on the standard input becomes a table on the output."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    os.nice(5)
    try:
        table = read_table(sys.stdin.buffer.read())
    except Unreadable as fault:
        sys.stdout.write(str(fault))
        sys.exit(UNREADABLE)
    sys.stdout.buffer.write(msgspec.json.encode(table))

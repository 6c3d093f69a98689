"""What the last release was made of, for the next to fit beside it.

    python -m stack.released --write    at a release: notes what is in it

`tests/house/test_migrations.py` holds everything since to it.
"""

import json
import sys
from typing import Final

import msgspec

from scalewitness import __version__
from scalewitness.domain.translog.leaf import Leaf, StampedLeaf
from stack.local import ROOT

FILE: Final = ROOT / "deploy" / "released.json"
ENTRIES_READ: Final = tuple(one.__struct_config__.tag for one in (Leaf, StampedLeaf))
"""Versions of entries that this release reads."""


class Released(msgspec.Struct, frozen=True):
    """``releases``: all there were, the last at the end. ``migrations``: those that it has, as
    app.name. ``entries_read``: the versions of entries that it reads."""

    releases: tuple[str, ...]
    migrations: frozenset[str]
    entries_read: tuple[int, ...]


def read() -> Released:
    """The last release."""
    return msgspec.json.decode(FILE.read_bytes(), type=Released)


def version_of(leaf: bytes) -> int:
    """Of an entry, by its bytes."""
    return int(json.loads(leaf)["v"])


def write() -> None:
    """Note this release, once it is one."""
    releases = read().releases if FILE.exists() else ()
    apps = sorted((ROOT / "server" / "scalewitness").glob("*/migrations/[0-9]*.py"))
    one = {
        "releases": [*(old for old in releases if old != __version__), __version__],
        "entries_read": ENTRIES_READ,
        "migrations": [f"{path.parents[1].name}.{path.stem}" for path in apps],
    }
    FILE.write_text(json.dumps(one, indent=1) + "\n")


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit(__doc__)
    write()

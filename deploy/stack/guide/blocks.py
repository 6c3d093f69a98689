"""The blocks of a guide that are typed, as they stand in it.

A block is typed if a line above it says so: ``<!-- typed: NAME -->``, or in its place the other
words that somebody looks for.
"""

import re
from collections.abc import Mapping
from pathlib import Path

TYPED, IN_CONTAINERS = "typed", "in containers"


def blocks_of(guide: Path, words: str = TYPED) -> dict[str, str]:
    """By name, in the guide's order."""
    block = rf"^<!-- {words}: ([a-z-]+) -->\n```sh\n(.*?)^```$"
    return dict(re.findall(block, guide.read_text(), re.MULTILINE | re.DOTALL))


def filled_in(block: str, values: Mapping[str, str]) -> str:
    """The block with the reader's own values in place of its examples.

    Raises:
        KeyError: the block has no line for one of them.
    """
    for name, value in values.items():
        line = re.compile(rf"^{name}=(?:'[^']*'|\S*)", re.MULTILINE)
        if not line.search(block):
            raise KeyError(name)
        block = line.sub(f"{name}={value}", block)
    return block

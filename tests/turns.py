"""Of many alike, an ordinary run asks some, others with each seed of pytest-randomly's; with
``--all`` every one."""

from collections.abc import Iterator
from itertools import count

import pytest


def turns(config: pytest.Config, share: int) -> Iterator[bool]:
    """Without end: whose turn it is, one in ``share``."""
    seed = int(config.getoption("randomly_seed", 0))
    every = 1 if config.getoption("--all") else share
    return ((seed + number) % every == 0 for number in count())

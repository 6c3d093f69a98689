"""How the C library shares out memory among a process's threads."""

import ctypes
import os
from typing import Final

AT_MOST: Final = 2
"""As many as make the threads of a process wait little for one another: Python lets one of them
run at a time (our judgement)."""
_M_ARENA_MAX: Final = -8
"""From glibc's ``malloc.h``."""


def share_few_arenas() -> bool:
    """Have all threads of this process, and of those it forks, take memory from few places.

    glibc gives each of many threads an arena of its own, up to eight for each core. What one thread
    frees there is of no use to the others, so that a process of a hundred threads grows for hours
    while it holds nothing more. `MALLOC_ARENA_MAX`, where an operator set it, goes before this.

    Returns whether it was done: other C libraries than glibc have no arenas.
    """
    if "MALLOC_ARENA_MAX" in os.environ:
        return False
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    return mallopt is not None and bool(mallopt(_M_ARENA_MAX, AT_MOST))

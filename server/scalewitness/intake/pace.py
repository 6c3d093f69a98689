"""How many items are taken at a time, so that nobody waits long for the log.

How long the log is held for a stretch depends on the machine and on whatever else it has to do. So
the next stretch is as long as the last ones let expect.
"""

MOST, FEWEST = 250, 25
"""Items of a stretch. Fewer take almost as long, as half of that does not depend on how many there
are (measured, of calls)."""
WANTED = 0.08
"""Seconds for which a stretch is to hold the log: well below a tenth of a second, which nobody who
waits notices (our judgement)."""
FORGOTTEN = 0.9
"""What is left of an earlier, slower pace with each stretch (our judgement)."""


class Pace:
    """Of one process. Threads may note at the same time: the last one counts."""

    def __init__(self) -> None:
        self._each = 0.0

    def stretch(self) -> int:
        """Items to take next."""
        if self._each * MOST <= WANTED:
            return MOST
        return max(FEWEST, int(WANTED / self._each))

    def note(self, items: int, held: float) -> None:
        """So many ``items`` held the log for so many seconds."""
        if items >= FEWEST:
            self._each = max(FORGOTTEN * self._each, held / items)


PACE = Pace()

"""Ctrl-C and SIGTERM, heard where they break nothing: between two steps, and while waiting.

An exchange with the server and a write to the store are finished first. Who asks a second time
does not wait for that.
"""

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Interrupts:
    """Whether somebody asked for the end, and whether all that goes on is waiting."""

    def __init__(self) -> None:
        self._asked = False
        self._waiting = False

    def hear(self, number: int, frame: FrameType | None) -> None:
        """The handler of a signal."""
        if self._waiting or self._asked:
            raise KeyboardInterrupt
        self._asked = True

    def look(self) -> None:
        """Between two steps.

        Raises:
            KeyboardInterrupt: somebody asked for the end.
        """
        if self._asked:
            raise KeyboardInterrupt

    def wait(self, begins: bool) -> None:
        """From here on nothing goes on but waiting; or, where it no more ``begins``, something
        does that the end would break."""
        self._waiting = begins
        if begins:
            self.look()

    @contextmanager
    def waiting(self) -> Iterator[None]:
        self.wait(True)
        try:
            yield
        finally:
            self.wait(False)

    def sleep(self, seconds: float) -> None:
        with self.waiting():
            time.sleep(seconds)


@contextmanager
def heard_between_steps() -> Iterator[Interrupts]:
    """SIGTERM as well as Ctrl-C: what a script starts in its background ignores SIGINT, as shells
    have it (POSIX, Shell Command Language, 2.11), and goes on ignoring it."""
    made = Interrupts()
    numbers = [signal.SIGTERM]
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        numbers.append(signal.SIGINT)
    before = {number: signal.signal(number, made.hear) for number in numbers}
    try:
        yield made
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)

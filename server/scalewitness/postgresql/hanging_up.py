"""How long a commit is waited for.

Where no standby answers, PostgreSQL waits with a COMMIT for as long as it takes. The thread that
sent it would wait as long; soon all threads would, and nobody could even read. So the line is hung
up on. PostgreSQL goes on waiting, with the log's lock, and others are told that it is taken.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from socket import AF_INET, SHUT_RDWR, SOCK_STREAM, socket
from threading import Lock, Thread
from time import monotonic, sleep

A_MOMENT = 0.25
"""Seconds between two looks at the lines."""


class Lines:
    """Of one process; one thread looks after all of them."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._due: dict[socket, float] = {}
        self._is_watched = False

    @contextmanager
    def hung_up_after(self, seconds: float, line: int) -> Iterator[None]:
        """Shut the socket of this number if the block takes longer: whoever reads from it then is
        told that it broke. 0: never."""
        if not seconds:
            yield
            return
        # A number of our own for it: the other may be closed, and then be another line's.
        held = socket(AF_INET, SOCK_STREAM, fileno=os.dup(line))
        with self._guard:
            self._due[held] = monotonic() + seconds
            if not self._is_watched:
                self._is_watched = True
                Thread(target=self._watch, name="commits", daemon=True).start()
        try:
            yield
        finally:
            with self._guard:
                del self._due[held]
            held.close()

    def _watch(self) -> None:
        while True:
            sleep(A_MOMENT)
            with self._guard:
                for line, due in self._due.items():
                    if due < monotonic():
                        with suppress(OSError):  # it is broken already
                            line.shutdown(SHUT_RDWR)


LINES = Lines()
os.register_at_fork(after_in_child=LINES.__init__)  # type: ignore[misc]  # no thread is forked

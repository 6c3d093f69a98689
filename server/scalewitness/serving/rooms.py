"""How many may be served at once, and how many may wait for a place."""

from collections import defaultdict, deque
from threading import Event, Lock
from typing import Final

from scalewitness.feed import at_once

READERS: Final = 4
"""At once. A page is mostly work for the processor, of which one process can do no more than
one at a time; four keep it busy while some wait for the database (our judgement)."""
WAITING_READERS: Final = 8
ASKING_FEED: Final = 2
"""Who asks the feed with a wait while all its places are taken; they are answered at once."""
WATCHER: Final = 1
"""Connection of the thread that watches for all who wait."""
SPARE: Final = 16
"""Threads that no room may use: many, as each waits its turn for the processor between those
who are served, and whoever is turned away is to be told at once (our judgement)."""

WRITING: Final = 2
"""Connections to the database for those who write: one in their turn, one who is about to be (our
judgement). Who waits for their turn has none."""


def least_threads(waiters: int) -> int:
    """Of a process with so many places for those who wait for a change (``FEED_WAITERS``)."""
    return SPARE + waiters + ASKING_FEED + READERS + WAITING_READERS + 1


LEAST_CONNECTIONS: Final = READERS + at_once.LOOKS + WATCHER + WRITING
"""To the database, of a process, however many wait for a change."""


class Room:
    """``places`` for whoever is served; ``chairs`` for whoever waits, in order
    of arrival."""

    def __init__(self, places: int, chairs: int) -> None:
        self._free, self._chairs = places, chairs
        self._line: deque[Event] = deque()
        self._guard = Lock()

    def enter(self, timeout: float) -> bool:
        """Whether there was a place within so many seconds; it is then to be left again."""
        called = Event()
        with self._guard:
            if self._free:
                self._free -= 1
                return True
            if len(self._line) >= self._chairs:
                return False
            self._line.append(called)
        return called.wait(timeout) or not self._given_up(called)

    def leave(self) -> None:
        """Give the place to the next in line."""
        with self._guard:
            if self._line:
                self._line.popleft().set()
            else:
                self._free += 1

    def _given_up(self, called: Event) -> bool:
        """Leave the line; False where the place has come after all."""
        with self._guard:
            if called.is_set():
                return False
            self._line.remove(called)
            return True


class RoomEach:
    """A room with one place and one chair for everyone who has a name."""

    def __init__(self) -> None:
        self._rooms: dict[str, Room] = {}
        self._users: defaultdict[str, int] = defaultdict(int)
        self._guard = Lock()

    def enter(self, name: str, timeout: float) -> bool:
        """As :meth:`Room.enter`."""
        with self._guard:
            room = self._rooms.setdefault(name, Room(places=1, chairs=1))
            self._users[name] += 1
        entered = room.enter(timeout)
        if not entered:
            self._forget(name)
        return entered

    def leave(self, name: str) -> None:
        self._rooms[name].leave()
        self._forget(name)

    def _forget(self, name: str) -> None:
        with self._guard:
            self._users[name] -= 1
            if not self._users[name]:
                del self._users[name], self._rooms[name]

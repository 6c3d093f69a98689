"""Clients that push all the time and send again what they have no answer for, as keepers' do.

They remember what was accepted and where, so that it can be looked for afterwards.
"""

import http.client
import json
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple
from urllib.parse import urlsplit

import psycopg

GIVES_UP_AFTER: Final = 20.0
"""Seconds without an answer after which a client sends again (the command's own is 30)."""
PAUSE: Final = 0.05
"""Seconds between two pushes of one client."""
LONGEST_PAUSE: Final = 1.0
"""Seconds, whatever Retry-After says: so that the end of a fault is seen at once."""
TAKEN: Final = {"accepted", "duplicate"}


class Sender(NamedTuple):
    """What one client sends, batch after batch, and with which headers."""

    headers: Mapping[str, str]
    batches: Iterator[list[dict[str, Any]]]


class Pushing:
    """The clients, as threads. Use as a context manager: leaving it waits until each has an answer
    for what it sent."""

    def __init__(self, url: str, senders: Sequence[Sender]) -> None:
        parts = urlsplit(url)
        self._host, self._port = parts.hostname or "", parts.port
        self._ends, self._gives_up = threading.Event(), threading.Event()
        self._guard = threading.Lock()
        self.positions: dict[str, int] = {}
        """Of each fact that was accepted, by its id."""
        self.answers: Counter[str] = Counter()
        """How often which status was answered; ``lost`` where no answer came."""
        self.faults: list[str] = []
        """Answers that no client expects: another status than 200, 429 or 503, a 503 without
        Retry-After, a position that is not the one told before."""
        self.longest = 0.0
        """Seconds that a client went on without an answer that its batch was taken."""
        self._threads = [threading.Thread(target=self._send, args=(one,)) for one in senders]

    def __enter__(self) -> "Pushing":
        for one in self._threads:
            one.start()
        return self

    def __exit__(self, *failure: object) -> None:
        self._ends.set()
        for one in self._threads:
            one.join()

    def give_up(self) -> None:
        """End without an answer for what was sent last."""
        self._gives_up.set()
        self._ends.set()

    def wait_for(self, more: int, within: float = 60.0) -> None:
        """Until so many more facts were accepted.

        Raises:
            TimeoutError: they were not, within so many seconds.
        """
        until, wanted = time.monotonic() + within, len(self.positions) + more
        while len(self.positions) < wanted:
            if time.monotonic() > until:
                raise TimeoutError(f"{len(self.positions)} of {wanted} accepted: {self.answers}")
            time.sleep(PAUSE)

    def _send(self, sender: Sender) -> None:
        for batch in sender.batches:
            body, began = json.dumps({"items": batch}).encode(), time.monotonic()
            while not self._pushed(batch, body, sender.headers):
                if self._gives_up.is_set():
                    return
                if self._ends.is_set() and time.monotonic() - began > 2 * GIVES_UP_AFTER:
                    self.faults.append("a batch was never taken")
                    return
            with self._guard:
                self.longest = max(self.longest, time.monotonic() - began)
            if self._ends.wait(PAUSE):
                return

    def _pushed(self, batch: list[dict[str, Any]], body: bytes, headers: Mapping[str, str]) -> bool:
        """Whether it was taken; else it is to be sent again."""
        line = http.client.HTTPConnection(self._host, self._port, timeout=GIVES_UP_AFTER)
        try:
            line.request("POST", "/api/v1/push", body, dict(headers))
            answer = line.getresponse()
            status, again, content = answer.status, answer.headers["Retry-After"], answer.read()
        except (OSError, http.client.HTTPException):
            self._count("lost")
            time.sleep(LONGEST_PAUSE)
            return False
        finally:
            line.close()
        self._count(str(status))
        if status == 200:
            self._note(batch, json.loads(content)["items"])
            return True
        fenced = b":problem:fenced" in content  # until its operator opens it: nobody knows when
        if status not in {429, 503} or (status == 503 and not again and not fenced):
            self.faults.append(f"{status} {content[:200]!r}")
        time.sleep(min(LONGEST_PAUSE, float(again or 1)))
        return False

    def _note(self, batch: list[dict[str, Any]], items: list[dict[str, Any]]) -> None:
        for sent, outcome in zip(batch, items, strict=True):
            position = outcome.get("position")
            if outcome["status"] not in TAKEN or position is None:
                self.faults.append(f"{outcome}")
            elif self.positions.setdefault(sent["id"], position) != position:
                self.faults.append(f"{sent['id']} stood at another position before")

    def _count(self, answer: str) -> None:
        with self._guard:
            self.answers[answer] += 1


def misplaced(owner: str, positions: Mapping[str, int]) -> list[str]:
    """Of facts that were accepted, those that the log does not hold where its clients were told;
    and any that it holds more than once."""
    with psycopg.connect(owner) as connection:
        rows = connection.execute("SELECT fact::text, position FROM ledger_entry").fetchall()
    held: dict[str, int] = dict(rows)
    lost = [one for one, position in positions.items() if held.get(one) != position]
    return lost + [one for one, count in Counter(fact for fact, _ in rows).items() if count > 1]

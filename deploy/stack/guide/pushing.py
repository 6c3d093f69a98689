"""A keeper's client that goes on pushing, also while the record is upgraded under it."""

import json
import socket
import ssl
import time
from collections import Counter
from dataclasses import dataclass, field
from http.client import HTTPException, HTTPSConnection
from threading import Event, Thread
from typing import Any

from stack.facts import fact
from stack.ready import LOOPBACK

PAUSE = 0.1
"""Seconds between two pushes."""


@dataclass
class Pusher:
    """Sends one fact after the other about an animal, each until it is taken."""

    host: str
    token: str
    animal: str
    context: ssl.SSLContext
    accepted: dict[str, int] = field(default_factory=dict)
    """Position in the log by id."""
    answers: Counter[str] = field(default_factory=Counter)
    sent: dict[str, dict[str, Any]] = field(default_factory=dict)

    def start(self) -> None:
        self._ended = Event()
        self._thread = Thread(target=self._go_on, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Returns once the last one is taken."""
        self._ended.set()
        self._thread.join(timeout=120)

    def lost_or_doubled(self) -> list[str]:
        """Whose position is not what it was when they were accepted, asked by sending all again."""
        ids = list(self.accepted)
        found: dict[str, int] = {}
        for first in range(0, len(ids), 200):
            _, outcomes = self._ask([self.sent[one] for one in ids[first : first + 200]])
            found |= {
                one["id"]: one["position"] for one in outcomes if one["status"] == "duplicate"
            }
        return [one for one in ids if found.get(one) != self.accepted[one]]

    def _go_on(self) -> None:
        while not self._ended.is_set():
            meal = {"noted": {"type": "meal", "taken": True}}
            item = fact("husbandry_noted", self.animal, meal)
            self.sent[item["id"]] = item
            self._until_taken(item)
            time.sleep(PAUSE)

    def _until_taken(self, item: dict[str, Any]) -> None:
        while True:
            status, outcomes = self._ask([item])
            self.answers[status] += 1
            if outcomes:
                self.accepted[item["id"]] = outcomes[0]["position"]
                return
            time.sleep(1)

    def _ask(self, items: list[dict[str, Any]]) -> tuple[str, list[dict[str, Any]]]:
        """The answer in short, and the outcomes if it is one."""
        connection = HTTPSConnection(self.host, timeout=60, context=self.context)
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        try:
            # Its name leads nowhere from here.
            line = socket.create_connection((LOOPBACK, connection.port), timeout=60)
            connection.sock = self.context.wrap_socket(line, server_hostname=self.host)
            connection.request("POST", "/api/v1/push", json.dumps({"items": items}), headers)
            answer = connection.getresponse()
            content = answer.read()
            if answer.status == 200:
                return "200", json.loads(content)["items"]
            again = ", come again" if answer.getheader("Retry-After") else ""
            return f"{answer.status}{again}", []
        except (OSError, HTTPException) as fault:
            return type(fault).__name__, []
        finally:
            connection.close()

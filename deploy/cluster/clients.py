"""Who uses the cluster while it is being broken: keepers who push, and somebody who looks.

A client keeps what nobody answered to be accepted, and sends the same again. It notes what it was
answered, and when, so that the log can be held to it afterwards.
"""

import threading
import time
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import httpx

from stack.facts import fact, fresh_id

PASSWORD = "a long one for trial only"  # noqa: S105  of a database that is thrown away
ANSWERS_WITHIN = 15.0
"""Seconds; then it is unknown what became of a push."""
PAUSE = 0.1
"""Seconds between two pushes, and after a failure."""
ACCEPTED = frozenset({"accepted", "duplicate"})


def signed_up(url: str, number: int) -> str:
    """The address of a new keeper, to be confirmed yet."""
    email = f"keeper{number}@keepers.example"
    keeper = {"name": f"Keeper {number}", "email": email, "password": PASSWORD}
    httpx.post(f"{url}/api/v1/keepers", json=keeper, timeout=60).raise_for_status()
    return email


class Pusher(threading.Thread):
    """A keeper's device that weighs one animal over and over. ``accepted``: positions by id;
    ``when``: at what times (monotonic) something was; ``heard``: what else was answered."""

    def __init__(self, urls: Sequence[str], email: str, number: int) -> None:
        super().__init__(name=email, daemon=True)
        self._urls, self._turn = list(urls), number
        self.accepted: dict[str, int] = {}
        self.when: list[float] = []
        self.heard: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.open: str | None = None
        self._over = threading.Event()
        device = {"email": email, "password": PASSWORD, "name": "phone"}
        answer = httpx.post(f"{urls[0]}/api/v1/devices", json=device, timeout=60)
        self._headers = {"Authorization": f"Bearer {answer.raise_for_status().json()['token']}"}
        self.animal = self._registered()

    def stop(self) -> None:
        """After what is being sent."""
        self._over.set()

    def run(self) -> None:
        while not self._over.is_set():
            noted = {"noted": {"type": "weight", "grams": "100"}}
            self._until_accepted(fact("husbandry_noted", self.animal, noted))
            time.sleep(PAUSE)

    def _registered(self) -> str:
        collection, animal = fresh_id(), fresh_id()
        room = {"id": collection, "name": "Room"}
        self._post("collections", room).raise_for_status()
        body = {"collection": collection, "species": "python_regius"}
        item = fact("animal_registered", animal, body)
        (done,) = self._post("push", {"items": [item]}).raise_for_status().json()["items"]
        self.accepted[item["id"]] = done["position"]
        return animal

    def _until_accepted(self, item: dict[str, Any]) -> None:
        self.open = item["id"]
        while True:
            answered = self._pushed(item)
            if answered is None:
                break
            self.heard[answered] += 1
            if self._over.is_set():
                return
            self._turn += 1  # another host may know better
            time.sleep(PAUSE)
        self.open = None

    def _pushed(self, item: dict[str, Any]) -> str | None:
        """None where it is accepted, else what was said."""
        try:
            answer = self._post("push", {"items": [item]})
        except httpx.HTTPError as fault:
            return type(fault).__name__
        if answer.status_code != 200:
            try:
                return f"{answer.status_code} {answer.json().get('code')}"
            except ValueError:
                return str(answer.status_code)
        (outcome,) = answer.json()["items"]
        if outcome["status"] not in ACCEPTED:
            self.wrong.append(f"{item['id']} was {outcome['status']}: {outcome.get('problem')}")
            return str(outcome["status"])
        if outcome["status"] == "duplicate":
            self.heard["duplicate, and so accepted"] += 1
        self.accepted[item["id"]] = outcome["position"]
        self.when.append(time.monotonic())
        return None

    def _post(self, path: str, body: dict[str, Any]) -> httpx.Response:
        url = self._urls[self._turn % len(self._urls)]
        return httpx.post(
            f"{url}/api/v1/{path}", json=body, headers=self._headers, timeout=ANSWERS_WITHIN
        )


class Looker(threading.Thread):
    """Asks every host for its checkpoint, on and on. ``seen``: the notes; ``when``: at what times
    any was given."""

    def __init__(self, urls: Sequence[str]) -> None:
        super().__init__(name="looker", daemon=True)
        self._urls = list(urls)
        self.seen: set[str] = set()
        self.when: list[float] = []
        self._over = threading.Event()

    def stop(self) -> None:
        self._over.set()

    def run(self) -> None:
        while not self._over.wait(0.2):
            for url in self._urls:
                try:
                    answer = httpx.get(f"{url}/log/checkpoint", timeout=3)
                except httpx.HTTPError:
                    continue
                if answer.status_code == 200:
                    self.seen.add(answer.text.partition("\n\n")[0])
                    self.when.append(time.monotonic())


def longest_gap(when: Sequence[float], since: float, until: float) -> float:
    """The longest time within these moments in which nothing was."""
    times = [since, *(one for one in sorted(when) if since < one < until), until]
    return max(later - earlier for earlier, later in pairwise(times))

"""A keeper's connection to a server's REST API.

Every request may be repeated: facts carry ids of their own. So a lost connection is simply
tried again, and a server that asks for patience gets it.
"""

import sys
import time
from collections.abc import Iterator, Sequence
from typing import Any

import httpx

from scalewitness_cli.devicekey import DeviceKey

PATIENCE = 60.0
"""Seconds to keep trying a server that does not answer."""
PAUSE = 0.5

Json = Any


class Stopped(Exception):
    """Something that ends the run, in words for whoever started it."""


class Refusal(Exception):
    """The record's refusal: status, stable code and the problem details as sent."""

    def __init__(self, method: str, path: str, answer: httpx.Response) -> None:
        self.status = answer.status_code
        self.problem: dict[str, Json] = _problem(answer)
        self.code: str = self.problem.get("code", "")
        detail = self.problem.get("detail") or answer.text[:300]
        super().__init__(f"{method} {path}: {self.status} {self.code}: {detail}")

    @property
    def pointers(self) -> list[str]:
        return [error.get("pointer", "") for error in self.problem.get("errors", [])]


class Api:
    """The API at ``url`` as one device sees it; without a token, as anyone does."""

    def __init__(self, url: str, token: str | None = None) -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self.url = url.rstrip("/")
        self._client = httpx.Client(
            base_url=f"{self.url}/api/v1/", headers=headers, timeout=30, trust_env=False
        )

    def get(self, path: str, **params: str) -> Json:
        return self._json("GET", path, params=params)

    def post(self, path: str, content: Json) -> Json:
        return self._json("POST", path, json=content)

    def delete(self, path: str) -> None:
        self._send("DELETE", path)

    def edit(self, path: str, version: int, fields: Json) -> Json:
        """Change a record that is still at this version."""
        return self._json("PATCH", path, json=fields, headers={"If-Match": f'"v{version}"'})

    def known(self, path: str, **params: str) -> Json | None:
        """What is there, or None when the answer is 404."""
        try:
            return self.get(path, **params)
        except Refusal as refusal:
            if refusal.status == 404:
                return None
            raise

    def all_animals(self) -> Iterator[Json]:
        """Every animal this keeper may see, page after page."""
        cursor: str | None = None
        while True:
            page = self.get("animals", limit="100", **({"cursor": cursor} if cursor else {}))
            yield from page["items"]
            cursor = page["next"]
            if not cursor:
                return

    def push(self, items: Sequence[Json]) -> list[Json]:
        """Send facts, signed or not, in one request; returns the outcomes in order.

        Raises:
            Stopped: one of them was refused.
        """
        outcomes: list[Json] = self.post("push", {"items": list(items)})["items"]
        for item, outcome in zip(items, outcomes, strict=True):
            if outcome["status"] == "refused":
                problem = outcome["problem"]
                where = ", ".join(error["pointer"] for error in problem.get("errors", []))
                raise Stopped(
                    f"The record refused {item['kind']} {item['id']}: {problem['code']}: "
                    f"{problem['detail']} {where}\n  {item}"
                )
        return outcomes

    def enrol(self, key: DeviceKey, id: str, at: str) -> None:
        """Give this device the key; from then on the server takes what it signs."""
        self.post(f"devices/{key.device}/key", key.enrolment(id, at))

    def _json(self, method: str, path: str, **options: Json) -> Json:
        return self._send(method, path, **options).json()

    def _send(self, method: str, path: str, **options: Json) -> httpx.Response:
        deadline = time.monotonic() + PATIENCE
        while True:
            answer = self._attempt(method, path, deadline, options)
            if answer is None:
                time.sleep(PAUSE)
            elif answer.status_code == 429:
                _wait_as_asked(answer)
            elif answer.is_success:
                return answer
            else:
                raise Refusal(method, path, answer)

    def _attempt(
        self, method: str, path: str, deadline: float, options: dict[str, Json]
    ) -> httpx.Response | None:
        """The answer; None when there was none and there is time to try again."""
        try:
            return self._client.request(method, path, **options)
        except httpx.TransportError as problem:
            if time.monotonic() > deadline:
                raise Stopped(f"{self.url} does not answer: {problem}") from problem
            return None


def _wait_as_asked(answer: httpx.Response) -> None:
    seconds = int(answer.headers.get("Retry-After", "1"))
    sys.stderr.write(f"  (the server asks for {seconds} s of patience)\n")
    time.sleep(seconds)


def _problem(answer: httpx.Response) -> dict[str, Json]:
    try:
        content = answer.json()
    except ValueError:
        return {}
    return content if isinstance(content, dict) else {}

"""A keeper's connection to a server's REST API.

Every request may be repeated: facts carry ids of their own. So a lost connection or a server in
trouble is tried again, ever more rarely and never in step with others, and a server that asks
for a retry gets it.
"""

import random
import ssl
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from email.utils import parsedate_to_datetime
from functools import cache
from itertools import count
from typing import Any

import httpx

from scalewitness.domain.clocks import span_in_words
from scalewitness_cli.clock import Compared, read_clock
from scalewitness_cli.devicekey import DeviceKey

Json = Any
PROBLEM = "application/problem+json"

SECONDS, PUSH_SECONDS = 30, 180
"""To wait for an answer; a push of 500 checks keeps a server busy."""
UNCONFIRMED = "address_unconfirmed"
"""The keeper's address: until they follow the link in a letter nothing is taken from them."""
STANDSTILL = frozenset({"fenced", "log_contradicted", UNCONFIRMED})
"""Codes of a server that takes nothing until a person has seen to it."""


class Stopped(Exception):
    """Something that ends the run, in words for whoever started it."""


class Unreachable(Stopped):
    """No answer, or none from a record in working order: try again later; ``after`` so many
    seconds, where the server says."""

    after: float | None = None


class Faulty(Unreachable):
    """The server fails at what it is sent, each time: perhaps at one thing in it."""


class Closed(Unreachable):
    """The record can be read and takes nothing until a person has seen to it; ``code`` says
    who."""

    def __init__(self, text: str, code: str = "") -> None:
        super().__init__(text)
        self.code = code


class Later(Unreachable):
    """The server is in order and asks for a longer wait than the retry limit allows."""

    def __init__(self, text: str, after: float) -> None:
        super().__init__(text)
        self.after = after


@cache
def authorities() -> ssl.SSLContext:
    """Those httpx trusts; reading them takes longer than most requests."""
    return httpx.create_ssl_context(trust_env=False)


def to_whoever_waits(text: str) -> None:
    sys.stderr.write(text)


@dataclass(frozen=True, slots=True)
class RetryLimit:
    """How long to try: ``seconds`` in all, ``asked`` at most where the server names the wait.

    The waits between double from ``first`` to ``longest`` and are drawn between half and all
    of that, so that many clients of a server that comes back do not fall on it at once.
    """

    seconds: float = 60.0
    asked: float = 120.0
    first: float = 0.5
    longest: float = 30.0
    sleep: Callable[[float], None] = time.sleep
    tell: Callable[[str], object] = to_whoever_waits
    draw: Callable[[], float] = random.random
    now: Callable[[], float] = time.monotonic

    def wait(self, attempt: int) -> float:
        """Seconds before the try after ``attempt``, counted from 0."""
        most: float = min(self.longest, self.first * 2.0**attempt)
        return most * (0.5 + self.draw() / 2)


class Refusal(Exception):
    """The record's refusal: status, stable code and the problem details as sent."""

    def __init__(self, method: str, path: str, answer: httpx.Response) -> None:
        self.status = answer.status_code
        self.problem: dict[str, Json] = _problem(answer)
        self.code: str = self.problem.get("code", "")
        detail = self.problem.get("detail") or answer.text[:300]
        super().__init__(f"{method} {path}: {self.status} {self.code}: {detail}")


class Api:
    """The API at ``url`` as one device sees it; without a token, as anyone does. ``compared``:
    the clocks, at its last answer."""

    def __init__(
        self, url: str, token: str | None = None, retrying: RetryLimit | None = None
    ) -> None:
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self.url = url.rstrip("/")
        self.compared: Compared | None = None
        self._retrying = retrying or RetryLimit()
        self._client = httpx.Client(
            base_url=f"{self.url}/api/v1/",
            headers=headers,
            timeout=SECONDS,
            trust_env=False,
            verify=authorities(),
        )

    def __enter__(self) -> "Api":
        return self

    def __exit__(self, *trouble: object) -> None:
        self._client.close()

    def get(self, path: str, **params: str) -> Json:
        return self._json("GET", path, params=params)

    def at_once(self, path: str, **params: str) -> Json | None:
        """What there is to get, asked for a single time; None: it could not be had."""
        answer = self._attempt("GET", path, {"params": params})
        if isinstance(answer, httpx.RequestError) or not answer.is_success:
            return None
        with suppress(ValueError):
            return answer.json()
        return None

    def kept_back(self, path: str, waiting: Callable[[bool], None], **params: str) -> Json:
        """What the server may keep back for a while; ``waiting`` is told when nothing goes on but
        that, and when no more."""

        def follow(step: str, _: Json) -> None:
            if step.startswith("http11.receive_response_headers."):
                waiting(step.endswith(".started"))

        return self._json("GET", path, params=params, extensions={"trace": follow})

    def post(self, path: str, content: Json) -> Json:
        return self._json("POST", path, json=content)

    def put(self, path: str, data: bytes, media: str) -> None:
        self._send("PUT", path, content=data, headers={"Content-Type": media})

    def file(self, path: str) -> bytes:
        """What is there, as it is."""
        return self._send("GET", path).content

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

    def have_vouched(self, fact: str) -> None:
        """Have the log sign a checkpoint that covers a fact of this keeper's, if it will."""
        with suppress(Refusal, Unreachable):
            self._send("GET", f"receipts/{fact}")

    def each(self, path: str, **params: str) -> Iterator[Json]:
        """The items of a list, page after page."""
        while True:
            page = self.get(path, **params)
            yield from page["items"]
            if not page.get("next"):
                return
            params["cursor"] = page["next"]

    def all_animals(self) -> Iterator[Json]:
        """Every animal this keeper may see."""
        return self.each("animals", limit="100")

    def outcomes(self, items: Sequence[Json], *, patient: bool = True) -> list[Json]:
        """Send items in one push; what became of each, in order.

        Raises:
            Faulty: the server fails at them; unless ``patient``, after one try.
        """
        # A timeout here would only have the server asked again for work it is still doing.
        content = {"items": list(items)}
        found = self._json("POST", "push", patient, json=content, timeout=PUSH_SECONDS)
        found = found.get("items") if isinstance(found, dict) else None
        if not isinstance(found, list) or len(found) != len(items):
            raise Unreachable(f"{self.url} answers something that is not an answer to a push.")
        return found

    def push(self, items: Sequence[Json]) -> list[Json]:
        """Send facts, signed or not, in one request; returns the outcomes in order.

        Raises:
            Stopped: one of them was refused.
        """
        outcomes = self.outcomes(items)
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

    def _json(self, method: str, path: str, patient: bool = True, **options: Json) -> Json:
        answer = self._send(method, path, patient, **options)
        try:
            return answer.json()
        except ValueError:
            # The page of a network that wants a sign-in first, most likely.
            raise Unreachable(f"{self.url} answers, but not as a record does.") from None

    def _send(
        self, method: str, path: str, patient: bool = True, **options: Json
    ) -> httpx.Response:
        began = self._retrying.now()
        deadline = began + (self._retrying.seconds if patient else 0.0)
        for attempt in count():
            answer = self._attempt(method, path, options)
            if isinstance(answer, httpx.Response):
                self.compared = _compared(answer) or self.compared
                if answer.is_success:
                    return answer
                if not _passing(answer):
                    raise _refused(self.url, method, path, answer)
            self._pause(answer, attempt, began, deadline)
        raise AssertionError  # count() does not end

    def _attempt(
        self, method: str, path: str, options: dict[str, Json]
    ) -> httpx.Response | httpx.RequestError:
        try:
            return self._client.request(method, path, **options)
        except httpx.RequestError as problem:
            return problem

    def _pause(
        self,
        answer: httpx.Response | httpx.RequestError,
        attempt: int,
        began: float,
        deadline: float,
    ) -> None:
        """Wait before the next try.

        Raises:
            Unreachable: there is no time left for one.
        """
        now = self._retrying.now()
        asked = _asked(answer) if isinstance(answer, httpx.Response) else None
        if asked is not None and now + asked <= began + self._retrying.asked:
            self._retrying.tell(f"  (the server asks for a retry after {asked:.0f} s)\n")
            self._retrying.sleep(asked)
            return
        if asked is not None and isinstance(answer, httpx.Response):
            raise Later(_later(self.url, answer, asked), asked)
        wait = self._retrying.wait(attempt)
        if now + wait > deadline:
            fails = isinstance(answer, httpx.Response) and answer.status_code == 500
            raise (Faulty if fails else Unreachable)(_silence(self.url, answer))
        self._retrying.sleep(wait)


def _passing(answer: httpx.Response) -> bool:
    """Whether the same request may well succeed a little later."""
    if _problem(answer).get("code") in STANDSTILL:
        return False
    return answer.status_code in {408, 429, 500, 502, 503, 504}


def _refused(url: str, method: str, path: str, answer: httpx.Response) -> Exception:
    refusal = Refusal(method, path, answer)
    if refusal.code in STANDSTILL:
        return Closed(refusal.problem.get("detail", refusal.code), refusal.code)
    if answer.status_code >= 500:
        return Unreachable(f"{url} accepts nothing for now: {refusal.problem.get('detail', '')}")
    if answer.is_redirect or not refusal.code:
        return Unreachable(f"{url} answers {answer.status_code}, but not as a record does.")
    return refusal


def _asked(answer: httpx.Response) -> float | None:
    """Seconds the server asks to wait (RFC 9110, 10.2.3: a number or a date)."""
    text = answer.headers.get("Retry-After", "")
    if text.isascii() and text.isdigit():
        return float(text)
    if not text:
        return 1.0 if answer.status_code == 429 else None
    try:
        return max(0.0, parsedate_to_datetime(text).timestamp() - time.time())
    except ValueError:
        return None


def _silence(url: str, answer: httpx.Response | httpx.RequestError) -> str:
    if isinstance(answer, httpx.RequestError):
        return f"{url} does not answer: {answer}"
    return f"{url} is in trouble: {answer.status_code}"


def _later(url: str, answer: httpx.Response, asked: float) -> str:
    detail = _problem(answer).get("detail") or f"It says {answer.status_code}."
    wait = span_in_words(timedelta(seconds=max(1.0, asked)))
    return f"{url} asks to come back in {wait}. {detail}"


def _compared(answer: httpx.Response) -> Compared | None:
    """The clocks, by an answer of the record itself, fresh."""
    is_ours = answer.headers.get("Content-Type", "").startswith(("application/json", PROBLEM))
    text = answer.headers.get("Date", "")
    if not is_ours or not text or "Age" in answer.headers:
        return None
    try:
        return Compared(parsedate_to_datetime(text).timestamp(), read_clock())
    except ValueError:
        return None


def _problem(answer: httpx.Response) -> dict[str, Json]:
    try:
        content = answer.json()
    except ValueError:
        return {}
    return content if isinstance(content, dict) else {}

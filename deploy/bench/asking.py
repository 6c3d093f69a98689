"""A client that measures as people wait: from the moment it connects, a line for each request."""

import asyncio
import json
import os
import socket
import struct
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

RESET = struct.pack("ii", 1, 0)
"""Of `SO_LINGER`: a line is cut as when its process was killed with things unread."""
AGE = 60.0
"""Seconds after which even this client gives up."""


@dataclass(frozen=True)
class Request:
    """``may_wait``: it asked to, so its age says nothing."""

    kind: str
    method: str
    path: str
    headers: Sequence[str] = ()
    body: object = None
    may_wait: bool = False

    def bytes(self, host: str) -> bytes:
        content = b"" if self.body is None else json.dumps(self.body).encode()
        lines = [f"{self.method} {self.path} HTTP/1.1", f"Host: {host}", "Connection: close"]
        if content:
            lines += ["Content-Type: application/json", f"Content-Length: {len(content)}"]
        return "\r\n".join([*lines, *self.headers, "", ""]).encode() + content


@dataclass(frozen=True)
class Answer:
    """An answer. ``status`` 0: there was none; ``age``: seconds since connecting."""

    request: Request
    status: int
    age: float
    retry_after: bool


def go_first() -> None:
    """Clients have machines of their own, and do not wait for the server's processor; but only
    where the system lets this process go first."""
    with suppress(PermissionError):
        os.nice(-15)


async def ask(url: str, request: Request) -> Answer:
    parts = urlsplit(url)
    began = time.perf_counter()
    try:
        head = await asyncio.wait_for(_head(parts, request), AGE)
    except (OSError, TimeoutError):
        head = b""
    words = head.split(maxsplit=2)
    status = int(words[1]) if len(words) > 1 else 0
    again = b"\r\nretry-after:" in head.lower()
    return Answer(request, status, time.perf_counter() - began, again)


async def _head(parts: Any, request: Request) -> bytes:
    """The answer, read to its end; what comes before its content."""
    reader, writer = await asyncio.open_connection(parts.hostname, parts.port)
    try:
        writer.write(request.bytes(parts.netloc))
        answer = await reader.read(-1)
        return answer.partition(b"\r\n\r\n")[0]
    finally:
        writer.close()


async def hang_up(url: str, request: Request, after: float) -> None:
    """Ask, and be killed before the answer is there."""
    parts = urlsplit(url)
    try:
        _, writer = await asyncio.open_connection(parts.hostname, parts.port)
    except OSError:
        return
    writer.write(request.bytes(parts.netloc))
    await asyncio.sleep(after)
    line = writer.get_extra_info("socket")
    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
    writer.close()


def codes(answers: Sequence[Answer]) -> str:
    found = sorted(Counter(one.status for one in answers).items())
    return ", ".join(f"{count} × {status or 'no answer'}" for status, count in found)


def oldest(answers: Sequence[Answer]) -> float:
    """Seconds, among those that did not ask to wait."""
    return max((one.age for one in answers if not one.request.may_wait), default=0.0)


def percentile(answers: Sequence[Answer], of_hundred: int) -> float:
    ages = sorted(one.age for one in answers if not one.request.may_wait)
    return ages[min(len(ages) - 1, len(ages) * of_hundred // 100)] if ages else 0.0

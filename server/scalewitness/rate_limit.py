"""The rate limit: how often something was attempted lately, and from where.

Counted for all processes together in the queue server; while that is away, in each process for
itself, so that there is a limit at any time.
"""

from collections.abc import Callable
from contextlib import suppress
from functools import cache
from ipaddress import IPv6Address, IPv6Network, ip_address
from threading import Lock
from time import monotonic
from typing import Any, Final, TypeVar

import structlog
from django.conf import settings
from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from django.http import HttpRequest
from redis import Redis
from redis.exceptions import RedisError

log = structlog.get_logger()
T = TypeVar("T")

LEFT_ALONE: Final = 5.0
"""Seconds for which a server that did not answer is not asked again: else everyone would wait
for it in turn (our judgement)."""
NETWORK_BITS: Final = 64
"""Of an IPv6 address: what one customer is given at least (RFC 6177), who else could be counted
anew under each of them."""


def address_of(request: HttpRequest) -> str:
    """Where a request came from, as the first proxy of ours saw it (``TRUSTED_PROXIES``).
    Whatever the caller wrote before that into X-Forwarded-For makes no difference."""
    proxies: int = settings.TRUSTED_PROXIES
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
    seen = str(request.META.get("REMOTE_ADDR", ""))
    if proxies and forwarded != [""]:
        seen = forwarded[-min(proxies, len(forwarded))].strip()
    return _network(seen)


def _network(seen: str) -> str:
    for candidate in (seen, seen.rpartition(":")[0].strip("[]")):  # some proxies add the port
        with suppress(ValueError):
            address = ip_address(candidate)
            if isinstance(address, IPv6Address):
                return str(IPv6Network((address, NETWORK_BITS), strict=False).network_address)
            return str(address)
    return "unknown"


def one_too_many(key: str, most: int, seconds: int) -> bool:
    """Counts one more attempt; whether that is more than ``most``."""
    return attempts(key, seconds) > most


def attempts(key: str, seconds: int, by: int = 1) -> int:
    """How many there are with this one, or with these. They are counted anew ``seconds`` after
    the first."""
    return in_queue_server(
        lambda server: _add(server, key, seconds, by), lambda: _add_here(key, seconds, by)
    )


def take_back(key: str, seconds: int, by: int = 1) -> None:
    """One try, or so many, counted under these ``seconds``, was none."""
    attempts(key, seconds, -by)


def forget(*keys: str) -> None:
    """Count these from nothing again; what was noted is not any more."""
    in_queue_server(lambda server: server.delete(*keys), lambda: _here.delete_many(keys))


def note(key: str, seconds: int) -> None:
    in_queue_server(
        lambda server: server.set(key, 1, ex=seconds), lambda: _here.set(key, 1, seconds)
    )


def noted(key: str) -> bool:
    """Whether it was noted, less than its seconds ago."""
    return bool(in_queue_server(lambda server: server.exists(key), lambda: _here.has_key(key)))


class Cache(RedisCache):
    """Django's, for what allauth counts: in each process for itself while the server is away."""

    def add(self, *about: Any, **more: Any) -> Any:
        return in_queue_server(
            lambda _: super(Cache, self).add(*about, **more), _local("add", about, more)
        )

    def get(self, *about: Any, **more: Any) -> Any:
        return in_queue_server(
            lambda _: super(Cache, self).get(*about, **more), _local("get", about, more)
        )

    def set(self, *about: Any, **more: Any) -> Any:
        return in_queue_server(
            lambda _: super(Cache, self).set(*about, **more), _local("set", about, more)
        )

    def delete(self, *about: Any, **more: Any) -> Any:
        return in_queue_server(
            lambda _: super(Cache, self).delete(*about, **more), _local("delete", about, more)
        )


# --- there, or else here ----------------------------------------------------------------


class _Server:
    """When the queue server was found to be away."""

    away_until = 0.0


_here = LocMemCache("rate_limit", {"OPTIONS": {"MAX_ENTRIES": 50_000}})
_counting = Lock()


def in_queue_server(there: Callable[[Redis], T], here: Callable[[], T]) -> T:
    """What the queue server says, or this process for itself."""
    if _is_mine_to_ask():
        try:
            answer = there(_server(settings.REDIS_URL))
            _Server.away_until = 0.0
            return answer
        except RedisError as away:
            _Server.away_until = monotonic() + LEFT_ALONE
            log.warning("tries_counted_here", error=type(away).__name__)
    return here()


def _is_mine_to_ask() -> bool:
    """Once a server that was away may be back, one finds out; the others go on without it."""
    with _counting:
        known_away, now = _Server.away_until, monotonic()
        if known_away and now >= known_away:
            _Server.away_until = now + LEFT_ALONE
        return now >= known_away


def is_answered() -> bool:
    """Whether the queue server answers; after it did not, as that was found a moment ago."""
    return bool(in_queue_server(lambda server: server.ping(), lambda: False))


def _local(name: str, about: Any, more: Any) -> Callable[[], Any]:
    return lambda: getattr(_here, name)(*about, **more)


def _add(server: Redis, key: str, seconds: int, by: int) -> int:
    with server.pipeline() as both:  # sent together; nothing comes between
        both.set(key, 0, ex=seconds, nx=True)
        both.incrby(key, by)
        _, count = both.execute()
    return int(count)


def _add_here(key: str, seconds: int, by: int) -> int:
    with _counting:
        _here.add(key, 0, seconds)
        return _here.incr(key, by)


@cache
def _server(url: str) -> Redis:
    return Redis.from_url(url, **settings.QUEUE_SERVER_TIMEOUTS)

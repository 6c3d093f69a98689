"""How often something was tried lately, counted for all processes together in the queue server."""

from functools import cache

import structlog
from django.conf import settings
from redis import Redis
from redis.backoff import NoBackoff
from redis.exceptions import RedisError
from redis.retry import Retry

log = structlog.get_logger()

PATIENCE = 2.0
"""Seconds to wait for the server; whoever asks can do without (our judgement)."""


def one_too_many(scope: str, key: str, most: int, seconds: int) -> bool:
    """Counts one more try; whether that is more than ``most``. While the server is away nothing
    is counted, and nothing is too much (our judgement: a link that will not open costs more than
    a guess at it, which is hopeless)."""
    try:
        return tries(key, seconds) > most
    except RedisError as away:
        log.warning("throttle_skipped", scope=scope, error=type(away).__name__)
        return False


def tries(key: str, seconds: int) -> int:
    """How many there are with this one. They are counted anew ``seconds`` after the first.

    Raises:
        redis.exceptions.RedisError: the server is away.
    """
    with _server(settings.REDIS_URL).pipeline() as both:  # sent together; nothing comes between
        both.set(key, 0, ex=seconds, nx=True)
        both.incr(key)
        _, count = both.execute()
    return int(count)


@cache
def _server(url: str) -> Redis:
    # One more attempt at once, as a connection that was idle for long may have been closed.
    patience = {"socket_connect_timeout": PATIENCE, "socket_timeout": PATIENCE}
    return Redis.from_url(url, retry=Retry(NoBackoff(), 1), **patience)

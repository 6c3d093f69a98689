"""Whether this process lives, and whether it can take work."""

import structlog
from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from psycopg_pool import PoolTimeout
from redis import Redis
from redis.exceptions import RedisError

from scalewitness.ledger.queries.fence import standing_fence

log = structlog.get_logger()

PATIENCE = 2.0
"""Seconds to wait for the queue server."""


@require_safe
@never_cache
def live(request: HttpRequest) -> JsonResponse:
    """The process answers; nothing else is asked."""
    return JsonResponse({"status": "ok"})


@require_safe
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    """503 while the database or the broker cannot be reached. A fenced log is told of, and no
    reason to send readers elsewhere."""
    parts = {"database": _database(), "broker": _broker()}
    status = 200 if set(parts.values()) == {"ok"} else 503
    return JsonResponse(parts | {"log": _log()}, status=status)


def _log() -> str:
    try:
        return "ok" if standing_fence() is None else "fenced"
    except (DatabaseError, PoolTimeout):
        return "unknown"


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except (DatabaseError, PoolTimeout) as down:
        log.warning("database_unreachable", error=type(down).__name__)
        return "unreachable"
    return "ok"


def _broker() -> str:
    try:
        with Redis.from_url(
            settings.CELERY_BROKER_URL,
            socket_connect_timeout=PATIENCE,
            socket_timeout=PATIENCE,
        ) as broker:
            broker.ping()
    except RedisError as down:
        log.warning("broker_unreachable", error=type(down).__name__)
        return "unreachable"
    return "ok"

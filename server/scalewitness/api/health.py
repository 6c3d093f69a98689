"""Whether this process lives, and whether it can take work."""

import structlog
from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from psycopg_pool import PoolTimeout

from scalewitness import __version__
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.rate_limit import is_answered
from scalewitness.replica import is_configured, lag

log = structlog.get_logger()


@require_safe
@never_cache
def live(request: HttpRequest) -> JsonResponse:
    """The process answers, and of which release it is; nothing else is asked."""
    return JsonResponse({"status": "ok", "release": __version__})


@require_safe
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    """503 while the database cannot be reached. A fenced log, a queue server that is away and a
    replica that cannot be read from are told of, and no reason to send readers elsewhere: without
    a queue server letters are late, and nothing else; without a replica the database is read."""
    database = _database()
    parts = {
        "release": __version__,
        "database": database,
        "broker": "ok" if is_answered() else "unreachable",
        "log": _log() if database == "ok" else "unknown",
    }
    if is_configured():
        parts["replica"] = _replica() if database == "ok" else "unknown"
    return JsonResponse(parts, status=200 if database == "ok" else 503)


def _log() -> str:
    try:
        return "ok" if standing_fence() is None else "fenced"
    except (DatabaseError, PoolTimeout):
        return "unknown"


def _replica() -> str:
    try:
        found = lag()
    except (DatabaseError, PoolTimeout):
        return "unknown"
    if found is None:
        return "unreachable"
    return "behind" if found.seconds > settings.DATABASE_REPLICA_WAIT else "ok"


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except (DatabaseError, PoolTimeout) as down:
        log.warning("database_unreachable", error=type(down).__name__)
        return "unreachable"
    return "ok"

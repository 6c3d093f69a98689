"""Numbers for the operator, in the Prometheus text format; nothing about anyone."""

from hmac import compare_digest

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

from scalewitness.api.gauges import Gauges
from scalewitness.monitoring import measures
from scalewitness.rate_limit import address_of


def metrics(request: HttpRequest) -> HttpResponseBase:
    """`GET /metrics`, for whoever has the operator's token; to anybody else, and under any method,
    it is not there."""
    if not _is_operator(request.headers.get("Authorization", "")):
        raise Http404
    answer = _numbers(request)
    # So that the operator sees what their proxies tell of who asks, and who can forge it.
    forwarded = request.headers.get("X-Forwarded-For", "")
    answer.headers["X-Counted-By"] = address_of(request)
    answer.headers["X-Forwarded-Addresses"] = str(len(forwarded.split(",")) if forwarded else 0)
    return answer


def _is_operator(authorization: str) -> bool:
    scheme, _, token = authorization.partition(" ")
    expected = settings.METRICS_TOKEN.encode()
    right = compare_digest(token.strip().encode(), expected)
    return bool(expected) and right and scheme.lower() == "bearer"


@require_safe
@never_cache
def _numbers(request: HttpRequest) -> HttpResponse:
    measures.note_process()
    counted, looked = measures.registry(), CollectorRegistry()
    looked.register(Gauges(timezone.now()))
    text = generate_latest(counted) + generate_latest(looked)
    return HttpResponse(text, content_type=CONTENT_TYPE_PLAIN_0_0_4)

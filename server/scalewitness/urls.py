"""Where everything is. The API and the pages each answer for their own mistakes."""

import sys

from django.http import HttpRequest, HttpResponseBase
from django.urls import include, path
from django.views import defaults

from scalewitness.api import problems
from scalewitness.api.health import live, ready
from scalewitness.api.log.tiles import checkpoint, tile
from scalewitness.api.metrics import metrics
from scalewitness.pages import errors
from scalewitness.serving.busy import PASSING, come_again

urlpatterns = [
    path("api/v1/", include("scalewitness.api.urls")),
    path("health/live", live, name="live"),
    path("health/ready", ready, name="ready"),
    path("metrics", metrics, name="metrics"),
    path("log/checkpoint", checkpoint, name="log-checkpoint"),
    path("log/tile/<path:path>", tile, name="log-tile"),
    path("accounts/", include("scalewitness.pages.accounts.urls")),
    path("", include("scalewitness.pages.urls")),
]

handler400 = "scalewitness.urls.bad_request"
handler404 = "scalewitness.urls.not_found"
handler500 = "scalewitness.urls.server_error"


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """Refused before any view: a wrong Host, too many fields."""
    answer = problems.bad_request if _is_api(request) else defaults.bad_request
    return answer(request, exception)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """An address that leads nowhere."""
    answer = problems.not_found if _is_api(request) else errors.not_found
    return answer(request, exception)


def server_error(request: HttpRequest) -> HttpResponseBase:
    """A surprise; what was not committed was not recorded. What is held up before a view has
    begun, or after it, as when a session is read or saved, comes here too."""
    fault = sys.exc_info()[1]
    if isinstance(fault, PASSING):
        return come_again(request.path, problems.passing(fault, request.method))
    answer = problems.server_error if _is_api(request) else errors.server_error
    return answer(request)


def _is_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")

"""While the log is fenced, pages can be read, say so, and take nothing."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils.functional import SimpleLazyObject

from scalewitness.ledger.queries.fence import standing_fence

READING = {"GET", "HEAD", "OPTIONS"}
HARMLESS = {
    "account_login", "mfa_authenticate", "account_logout", "revoke_device", "sign_out",
    "add_device",
}  # fmt: skip
"""Names of addresses that may be posted to all the same."""
API = "/api/"
"""Below it the API answers for itself."""
RETRY_SECONDS = 600


class OnlyReadWhileFenced:
    """Middleware: whatever would change something is answered by a page that says why not."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *view: Any) -> HttpResponse | None:
        name = request.resolver_match.view_name if request.resolver_match else ""
        if request.method in READING or request.path.startswith(API) or name in HARMLESS:
            return None
        if standing_fence() is None:
            return None
        answer = render(request, "errors/fenced.html", status=503)
        answer.headers["Retry-After"] = str(RETRY_SECONDS)
        return answer


def fence(request: HttpRequest) -> dict[str, Any]:
    """Context of every page, asked for only where it is shown."""
    return {"fenced": SimpleLazyObject(lambda: standing_fence() is not None)}

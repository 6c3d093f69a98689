"""What is said when there is nothing to show, or when we failed."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """The same page for what does not exist and for what one may not see."""
    return render(request, "errors/not_found.html", status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    """Rendered without the request: whatever failed may fail again there."""
    return HttpResponse(render_to_string("errors/server_error.html"), status=500)


def busy(seconds: int) -> HttpResponse:
    """There is too much to do; it can be tried again after so many seconds."""
    return _again("errors/busy.html", seconds)


def outcome_unknown(seconds: int) -> HttpResponse:
    """Nobody can tell yet whether something was recorded; after so many seconds it can be."""
    return _again("errors/outcome_unknown.html", seconds)


def _again(template: str, seconds: int) -> HttpResponse:
    page = HttpResponse(render_to_string(template), status=503)
    page.headers["Retry-After"] = str(seconds)
    return page


def forbidden(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form came back without its token, usually because it lay open too long."""
    return render(request, "errors/stale_form.html", status=403)

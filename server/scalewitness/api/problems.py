"""Every refusal as RFC 9457 problem details, with a stable code."""

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Annotated, Any

import structlog
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponseBase, JsonResponse
from msgspec import Meta, Struct
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from scalewitness.domain.errors import (
    Busy,
    Malformed,
    NotFound,
    OutcomeUnknown,
    Refused,
    TooLarge,
)
from scalewitness.postgresql import CommitUnknown

log = structlog.get_logger()

View = Callable[..., HttpResponseBase]

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
MEDIA_TYPE = "application/problem+json"


class Place(Struct, frozen=True):
    """Where in the input the fault lies (``pointer``: RFC 6901)."""

    detail: str
    pointer: str


class Problem(Struct, frozen=True):
    """RFC 9457 problem details. ``code`` is stable; some codes bring members of their own,
    such as ``changed`` with ``standing_moved`` or ``parameter`` with ``malformed``."""

    type: str
    title: str
    status: Annotated[int, Meta(ge=400, le=599)]
    detail: str
    code: str
    errors: tuple[Place, ...] = ()


def as_problem(exc: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler. None lets a true surprise become a 500."""
    if isinstance(exc, Http404):
        exc = NotFound()
    if isinstance(exc, RequestDataTooBig):
        exc = TooLarge()
    if isinstance(exc, OperationalError):
        exc = passing(exc, context["request"].method)
    if isinstance(exc, PermissionDenied):
        exc = exceptions.PermissionDenied()
    headers: dict[str, str] = {}
    if isinstance(exc, Refused):
        problem = exc.as_problem()
        headers |= _when_again(exc)
    elif isinstance(exc, exceptions.APIException):
        problem, headers = _from_framework(exc)
    else:
        return None
    if problem["status"] == 401:
        headers.setdefault("WWW-Authenticate", "Bearer")
    set_rollback()
    return Response(problem, problem["status"], headers=headers, content_type=MEDIA_TYPE)


def passing(fault: Exception, method: str | None) -> Refused:
    """What somebody is told where the database could not be asked, where somebody held up what was
    asked for, or where nobody knows what it came to; a little later it may well be possible. Who
    only read sent nothing that could be recorded."""
    unknown = isinstance(fault, CommitUnknown) and method not in SAFE
    log.warning(
        "outcome_unknown" if unknown else "held_up", error=type(fault.__cause__ or fault).__name__
    )
    if isinstance(fault, Busy):
        return fault
    return OutcomeUnknown() if unknown else Busy()


def _when_again(refused: Refused) -> dict[str, str]:
    """When it may be tried again, where that is known."""
    seconds = getattr(refused, "retry_after", None)
    return {} if seconds is None else {"Retry-After": str(seconds)}


def _from_framework(exc: exceptions.APIException) -> tuple[dict[str, Any], dict[str, str]]:
    headers: dict[str, str] = {}
    if (challenge := getattr(exc, "auth_header", None)) is not None:
        headers["WWW-Authenticate"] = challenge
    if (wait := getattr(exc, "wait", None)) is not None:
        headers["Retry-After"] = str(int(wait) + 1)
    code = str(getattr(exc, "default_code", "error"))
    problem = {
        "type": f"urn:scalewitness:problem:{code}",
        "title": HTTPStatus(exc.status_code).phrase,
        "status": exc.status_code,
        "detail": str(exc.detail),
        "code": code,
    }
    return problem, headers


def bad_request(request: HttpRequest, exception: Exception) -> JsonResponse:
    """For requests that are refused before any view sees them."""
    return as_answer(Malformed("The request could not be read."))


def not_found(request: HttpRequest, exception: Exception) -> JsonResponse:
    """For addresses under the API that lead nowhere."""
    return as_answer(NotFound("There is no such address."))


def as_answer(refused: Refused) -> JsonResponse:
    """A refusal by a plain view."""
    answer = _answer(refused.as_problem())
    for name, value in _when_again(refused).items():
        answer.headers[name] = value
    return answer


def safe_only(view: View) -> View:
    """A plain view that answers GET and HEAD; anything else is refused as a problem."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.method in {"GET", "HEAD"}:
            return view(request, *args, **kwargs)
        problem, _ = _from_framework(exceptions.MethodNotAllowed(str(request.method)))
        answer = _answer(problem)
        answer.headers["Allow"] = "GET, HEAD"
        return answer

    return guarded


def server_error(request: HttpRequest) -> JsonResponse:
    return _answer(
        {
            "type": "urn:scalewitness:problem:server_error",
            "title": "Something went wrong on our side",
            "status": 500,
            "detail": "What was sent may or may not be recorded. Sending the same again is safe.",
            "code": "server_error",
        }
    )


def _answer(problem: dict[str, Any]) -> JsonResponse:
    return JsonResponse(problem, status=problem["status"], content_type=MEDIA_TYPE)

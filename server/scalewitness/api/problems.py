"""Every refusal as RFC 9457 problem details, with a stable code."""

from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from scalewitness.domain.errors import NotFound, Refused, TooLarge

MEDIA_TYPE = "application/problem+json"


def as_problem(exc: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler. None lets a true surprise become a 500."""
    if isinstance(exc, Http404):
        exc = NotFound()
    if isinstance(exc, RequestDataTooBig):
        exc = TooLarge()
    if isinstance(exc, PermissionDenied):
        exc = exceptions.PermissionDenied()
    if isinstance(exc, Refused):
        problem, headers = exc.as_problem(), {}
    elif isinstance(exc, exceptions.APIException):
        problem, headers = _from_framework(exc)
    else:
        return None
    set_rollback()
    return Response(problem, problem["status"], headers=headers, content_type=MEDIA_TYPE)


def _from_framework(exc: exceptions.APIException) -> tuple[dict[str, Any], dict[str, str]]:
    headers: dict[str, str] = {}
    if (challenge := getattr(exc, "auth_header", None)) is not None:
        headers["WWW-Authenticate"] = challenge
    if (wait := getattr(exc, "wait", None)) is not None:
        headers["Retry-After"] = str(int(wait) + 1)
    code = str(getattr(exc, "default_code", "error"))
    problem = {
        "type": f"urn:scalewitness:problem:{code}",
        "title": str(exc.default_detail).rstrip("."),
        "status": exc.status_code,
        "detail": str(exc.detail),
        "code": code,
    }
    return problem, headers


def not_found(request: HttpRequest, exception: Exception) -> JsonResponse:
    """For addresses under the API that lead nowhere."""
    problem = NotFound("There is no such address.").as_problem()
    return JsonResponse(problem, status=404, content_type=MEDIA_TYPE)


def server_error(request: HttpRequest) -> JsonResponse:
    problem = {
        "type": "urn:scalewitness:problem:server_error",
        "title": "Something went wrong on our side",
        "status": 500,
        "detail": "Nothing was recorded. Sending the same again is safe.",
        "code": "server_error",
    }
    return JsonResponse(problem, status=500, content_type=MEDIA_TYPE)

"""The document to fetch, and the document to read."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from scalewitness.api.openapi.document import document
from scalewitness.api.problems import safe_only

MEDIA_TYPE = "application/vnd.oai.openapi+json; charset=utf-8"


@safe_only
def schema(request: HttpRequest) -> HttpResponse:
    """`GET /api/v1/schema`."""
    return HttpResponse(document(), content_type=MEDIA_TYPE)


@safe_only
def docs(request: HttpRequest) -> HttpResponse:
    """`GET /api/v1/docs`: to read and try out, from our own files, under the same content policy
    as every page."""
    return render(request, "api/docs.html")

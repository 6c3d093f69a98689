"""The seller's later steps, which differ in nothing but their kind."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.reading import body_of
from scalewitness.api.submission import Bare, begin


def take_step(request: Request, kind: str, sale: UUID) -> Response:
    """Hand on a step of the sale in the path."""
    sent = body_of(request, Bare)
    return begin(request, sent).submit(
        kind, sale, texts=sent.texts, location=reverse("api:sale", args=[sale])
    )

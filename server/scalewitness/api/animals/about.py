"""Facts about an animal that differ in nothing but their kind."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.reading import body_of
from scalewitness.api.submission import Fact, begin


def submit_about(request: Request, kind: str, animal: UUID) -> Response:
    """Hand on a fact about the animal in the path."""
    sent = body_of(request, Fact[dict[str, Any]])
    return begin(request, sent).submit(
        kind,
        animal,
        body=sent.body,
        texts=sent.texts,
        location=reverse("api:animal", args=[animal]),
    )

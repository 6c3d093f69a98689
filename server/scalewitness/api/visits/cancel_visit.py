"""The host calls a visit off."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin


@operation("Cancel a visit", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def cancel_visit(request: Request, id: UUID) -> Response:
    """The guest's sight of the animals ends at once; calls already made stay."""
    sent = body_of(request, Bare)
    fact = begin(request, sent)
    return fact.submit(
        "visit_cancelled", id, texts=sent.texts, location=reverse("api:visit", args=[id])
    )

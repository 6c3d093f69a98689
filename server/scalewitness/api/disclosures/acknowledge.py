"""A buyer with an account has read a disclosure."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin


@operation("Acknowledge a disclosure", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def acknowledge(request: Request, id: UUID) -> Response:
    """Says that it was read; it accepts nothing and gives nothing up."""
    sent = body_of(request, Bare)
    fact = begin(request, sent)
    return fact.submit(
        "disclosure_acknowledged",
        id,
        texts=sent.texts,
        location=reverse("api:disclosure", args=[id]),
    )

"""A pairing is no longer planned."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin


@operation("Drop a pairing", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def drop_pairing(request: Request, id: UUID) -> Response:
    """For the keepers and partners of either animal."""
    sent = body_of(request, Bare)
    fact = begin(request, sent)
    return fact.submit("pairing_dropped", id, texts=sent.texts, location=reverse("api:pairings"))

"""The keeper of the other animal agrees to a pairing."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin


@operation("Agree to a pairing", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def agree_to_pairing(request: Request, id: UUID) -> Response:
    """For whoever holds or is a partner in the collection of one of the two and sees both. A
    pairing of two keepers' animals counts as agreed once both did, or planned it."""
    sent = body_of(request, Bare)
    fact = begin(request, sent)
    return fact.submit("pairing_agreed", id, texts=sent.texts, location=reverse("api:pairings"))

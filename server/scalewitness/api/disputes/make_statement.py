"""What a party has to say of a dispute."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin


@operation("Make a statement", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def make_statement(request: Request, id: UUID) -> Response:
    """For the animal's keepers, the seller and the buyer, until the finding. Text:
    `statement`."""
    sent = body_of(request, Bare)
    return begin(request, sent).submit(
        "statement_made", id, texts=sent.texts, location=reverse("api:dispute", args=[id])
    )

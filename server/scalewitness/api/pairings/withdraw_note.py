"""What a note of a pairing says was not so."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.breeding.queries.notes import note_of


@operation(
    "Withdraw a note of a pairing", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True
)
def withdraw_note(request: Request, id: UUID) -> Response:
    """For whoever noted it. Once they hold neither of the two any more: for whoever does."""
    sent = body_of(request, Bare)
    fact, found = begin(request, sent), note_of(id)
    return fact.submit(
        "season_note_withdrawn",
        fact.about(id, found.pairing_id if found else None),
        body={"noted": str(id)},
        location=reverse("api:pairings"),
    )

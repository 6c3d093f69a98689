"""Ending a grant before its time."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import collection_of_grant
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.people.queries import grant_of


@operation("Revoke a grant", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def revoke_grant(request: Request, id: UUID) -> Response:
    """Whoever gave it ends it; whoever holds it may give it back."""
    sent = body_of(request, Bare)
    fact = begin(request, sent)
    return fact.submit(
        "grant_revoked",
        fact.about(id, collection_of_grant(grant_of(id), fact.actor.keeper)),
        body={"grant": str(id)},
        texts=sent.texts,
        location=reverse("api:grants"),
    )

"""Somebody who confirmed a call states it no longer."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.calls.queries.made import call_of


@operation(
    "Withdraw what you stated of a call",
    takes=Bare,
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def withdraw_witness(request: Request, id: UUID) -> Response:
    """For whoever stated that they read its document or saw the young, also once they no longer
    see the animal. Both stay visible; what others said of the call stands. Text: `note`."""
    sent, keeper = body_of(request, Bare), keeper_of(request).pk
    fact, found = begin(request, sent), call_of(id)
    spoke = found is not None and any(one.by == keeper for one in found.attestations.all())
    return fact.submit(
        "witness_withdrawn",
        fact.about(id, found.animal_id if found and spoke else None),
        body={"call": str(id)},
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )

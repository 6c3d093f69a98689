"""The examiner takes a call back."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.calls.queries.made import call_of


@operation("Withdraw a call", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def withdraw_call(request: Request, id: UUID) -> Response:
    """For whoever sent it, also after the visit. The call stays visible and no longer
    counts. Text: `note`."""
    sent = body_of(request, Bare)
    fact, found = begin(request, sent), call_of(id)
    own = found is not None and found.by == fact.actor.keeper
    return fact.submit(
        "call_withdrawn",
        fact.about(id, found.animal_id if found and own else None),
        body={"call": str(id)},
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )

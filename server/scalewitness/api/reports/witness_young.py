"""Somebody without a share in it saw the eggs, slugs or young too."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.calls.object_to_call import animal_seen
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotAllowed


@operation(
    "State that you saw the eggs or young of a call",
    takes=Bare,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def witness_young(request: Request, id: UUID) -> Response:
    """For whoever sees the animal whole and has no share in it, nor keeps animals with the
    sender."""
    sent = body_of(request, Bare)
    fact, found = begin(request, sent), call_of(id)
    return fact.submit(
        "witness_stated",
        fact.about(id, animal_seen(found, keeper_of(request).pk, fact.now)),
        body={"call": str(id)},
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )

"""Somebody without a share in it saw the eggs, slugs or young too, or those registered."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.calls.object_to_call import animal_seen
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare, begin
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import Id


class YoungSeen(Sent, frozen=True, kw_only=True):
    """``young``: you did not see them with her; you saw this one, which is registered as hers."""

    young: Id | None = None


class Witnessed(Bare, frozen=True, kw_only=True):
    """As a rule the path says it all."""

    body: YoungSeen = YoungSeen()  # type: ignore[assignment]


@operation(
    "State that you saw the eggs or young of a call",
    takes=Witnessed,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def witness_young(request: Request, id: UUID) -> Response:
    """For whoever sees the animal whole and has no share in it, nor keeps animals with the
    sender."""
    sent = body_of(request, Witnessed)
    fact, found = begin(request, sent), call_of(id)
    return fact.submit(
        "witness_stated",
        fact.about(id, animal_seen(found, keeper_of(request).pk, fact.now)),
        body={"call": str(id), **({"young": sent.body.young} if sent.body.young else {})},
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )

"""Someone else disputes a call."""

from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin, filled
from scalewitness.calls.models import Call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.errors import NotAllowed


class ObjectionBody(Sent, frozen=True, kw_only=True):
    """What is wrong with the call; the path says which."""

    ground: Literal["wrong_animal", "wrong_reading", "wrong_method", "not_blind", "other"]


@operation(
    "Object to a call",
    takes=Fact[ObjectionBody],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def object_to_call(request: Request, id: UUID) -> Response:
    """An objection is an entry beside the call; it changes no standing. Text: `note`."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact, found = begin(request, sent), call_of(id)
    return fact.submit(
        "call_objected",
        fact.about(id, animal_seen(found, keeper_of(request).pk, fact.now)),
        body=filled(sent.body, call=str(id)),
        texts=sent.texts,
        location=reverse("api:call", args=[id]),
    )


def animal_seen(call: Call | None, keeper: UUID, now: datetime) -> UUID | None:
    """The animal of the call, if the keeper sees it whole."""
    if call is None:
        return None
    seen = sights_of(keeper, [call.animal_id], now).get(call.animal_id) == "all"
    return call.animal_id if seen else None

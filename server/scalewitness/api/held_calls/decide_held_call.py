"""The host admits a late call, or a late note without one, or does not."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import is_steward
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin, filled
from scalewitness.calls.queries.held import to_decide


class DecisionBody(Sent, frozen=True, kw_only=True):
    """Whether the call enters the record."""

    admitted: bool


@operation(
    "Decide on a held call",
    takes=Fact[DecisionBody],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def decide_held_call(request: Request, id: UUID) -> Response:
    """An admitted call enters the log as its examiner's, flagged as late; so does a note. Text:
    `note`."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact, found = begin(request, sent), to_decide(id, timezone.now())
    own = found is not None and is_steward(fact.actor.keeper, found.animal.collection, fact.now)
    animal = fact.about(id, found.animal_id if found and own else None)
    return fact.submit(
        "late_call_decided",
        animal,
        body=filled(sent.body, held=str(id)),
        texts=sent.texts,
        location=reverse("api:calls", args=[animal]),
    )

"""An examiner's determination of one animal's sex on one occasion."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, FactAnswer, begin
from scalewitness.domain.errors import NotAllowed, UnusualDepth
from scalewitness.domain.facts import CallMade


@operation(
    "Make a call",
    takes=Fact[CallMade],
    gives={**ANSWERS, 202: FactAnswer},
    refuses=(*FACT_REFUSALS, NotAllowed, UnusualDepth),
    keyed=True,
)
def make_call(request: Request, id: UUID) -> Response:
    """The answer names the position and nothing of what the record now says. A guest's call
    that comes more than 14 days after the visit is held (202) for the host's decision."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact = begin(request, sent)
    return fact.submit(
        "call_made",
        id,
        body=sent.body,
        texts=sent.texts,
        location=reverse("api:call", args=[fact.id]),
    )

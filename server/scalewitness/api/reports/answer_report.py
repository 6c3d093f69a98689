"""Whom a report names confirms or denies it."""

from typing import Any, Literal
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin, filled
from scalewitness.calls.queries.reports import reported_of
from scalewitness.domain.errors import NotAllowed


class AnswerBody(Sent, frozen=True, kw_only=True):
    """Whether you made the call; the path says which."""

    answer: Literal["confirmed", "denied"]


@operation(
    "Answer a report in your name",
    takes=Fact[AnswerBody],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def answer_report(request: Request, id: UUID) -> Response:
    """You made the call, or you did not; the last answer counts. Text: `note`."""
    sent = body_of(request, Fact[dict[str, Any]])
    fact = begin(request, sent)
    yours = {call.pk: call.animal_id for call in reported_of(keeper_of(request).pk, fact.now)}
    return fact.submit(
        "report_answered",
        fact.about(id, yours.get(id)),
        body=filled(sent.body, call=str(id)),
        texts=sent.texts,
        location=reverse("api:reports"),
    )

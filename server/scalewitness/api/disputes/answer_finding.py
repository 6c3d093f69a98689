"""Whether somebody else agrees to a finding."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin
from scalewitness.domain.facts import FindingAnswered


@operation(
    "Answer a finding",
    takes=Fact[FindingAnswered],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def answer_finding(request: Request, id: UUID) -> Response:
    """For the other side of the sale, and for the arbiter named. Whoever agrees repeats
    `would_set_aside` as `set_aside`. A no can still become a yes."""
    sent = body_of(request, Fact[dict[str, Any]])
    return begin(request, sent).submit(
        "finding_answered",
        id,
        body=sent.body,
        texts=sent.texts,
        location=reverse("api:dispute", args=[id]),
    )

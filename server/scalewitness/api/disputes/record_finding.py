"""The outcome that closes a dispute."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact, begin
from scalewitness.domain.errors import NotAllowed
from scalewitness.domain.facts import FindingRecorded


@operation(
    "Record a finding",
    takes=Fact[FindingRecorded],
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, NotAllowed),
    keyed=True,
)
def record_finding(request: Request, id: UUID) -> Response:
    """A call is set aside only against a later blind check by someone without an interest;
    it stays visible. A call by someone without an interest goes under `proposed`: it is set
    aside once the other side, or the arbiter named, agrees. Text: `reasons`."""
    sent = body_of(request, Fact[dict[str, Any]])
    return begin(request, sent).submit(
        "finding_recorded",
        id,
        body=sent.body,
        texts=sent.texts,
        location=reverse("api:dispute", args=[id]),
    )

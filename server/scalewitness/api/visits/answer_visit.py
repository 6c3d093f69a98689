"""The guest accepts or declines."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Signable, begin


class VisitAnswer(Signable, frozen=True, kw_only=True):
    """The guest's answer to an invitation."""

    accepted: bool


@operation(
    "Answer an invitation", takes=VisitAnswer, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True
)
def answer_visit(request: Request, id: UUID) -> Response:
    """Accepting gives sight of the animals from the visit's opening to its end."""
    sent = body_of(request, VisitAnswer)
    kind = "visit_accepted" if sent.accepted else "visit_declined"
    return begin(request, sent).submit(kind, id, location=reverse("api:visit", args=[id]))

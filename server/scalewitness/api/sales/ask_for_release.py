"""A payment that was recorded by mistake, or paid back."""

from typing import Literal
from uuid import UUID

from django.urls import reverse
from msgspec import field
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, Texts, begin


class ReleaseWanted(IdAndTime, frozen=True, kw_only=True):
    """``why``: what became of the payment."""

    why: Literal["recorded_by_mistake", "paid_back"]
    texts: Texts = field(default_factory=dict)


@operation(
    "Ask for a release", takes=ReleaseWanted, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True
)
def ask_for_release(request: Request, id: UUID) -> Response:
    """Of a paid sale that is not handed over, once in seven days. The buyer is sent a link; the
    sale is over once they agree, and never by their silence. Text: `note`."""
    sent = body_of(request, ReleaseWanted)
    return begin(request, sent).submit(
        "release_asked",
        id,
        body={"why": sent.why},
        texts=sent.texts,
        flat=("body",),
        location=reverse("api:sale", args=[id]),
    )

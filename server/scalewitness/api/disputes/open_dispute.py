"""A party objects to an animal's standing."""

from typing import Any

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, FactAbout, begin
from scalewitness.domain.facts import DisputeOpened


@operation(
    "Open a dispute",
    takes=FactAbout[DisputeOpened],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def open_dispute(request: Request) -> Response:
    """`about` is the new dispute's id, made by the client. For the animal's keeper and
    partners, and for a buyer about what they were sold. Text: `note`."""
    sent = body_of(request, FactAbout[dict[str, Any]])
    return begin(request, sent).submit(
        "dispute_opened",
        sent.about,
        body=sent.body,
        texts=sent.texts,
        location=reverse("api:dispute", args=[sent.about]),
    )

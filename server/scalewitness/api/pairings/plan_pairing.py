"""Two animals meant to be put together."""

from typing import Any

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, FactAbout, begin
from scalewitness.domain.facts import PairingPlanned


@operation(
    "Plan a pairing",
    takes=FactAbout[PairingPlanned],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def plan_pairing(request: Request) -> Response:
    """`about` is the new pairing's id, made by the client. For whoever holds or is a partner in
    one of the two and sees the other whole. The keepers of both hear when a verified sex that
    it rests on falls, is reversed or is restored."""
    sent = body_of(request, FactAbout[dict[str, Any]])
    return begin(request, sent).submit(
        "pairing_planned", sent.about, body=sent.body, location=reverse("api:pairings")
    )
